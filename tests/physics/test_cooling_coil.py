"""The coil against its own rating, against both of its laws solved in plain Python, and against hand-checkable limits."""

from typing import NamedTuple

import polars as pl
import psychrolib
import pytest

from screener.contracts.hour import COIL
from screener.formula import col, plain
from screener.physics import cooling_coil, part_load_moisture
from screener.worksheet import Worksheet
from tests.physics.coils import SEA_LEVEL, converged, default_coil, humidity, rated, run, states

WEATHERS = [-5, 5, 15, 25, 35, 45]
INDOOR = states(list(range(18, 29)), [0.3, 0.4, 0.5, 0.6, 0.7, 0.8], WEATHERS)
HOT_AND_HUMID = states(list(range(24, 33)), [0.6, 0.7, 0.8], WEATHERS)  # much outdoor air of a humid climate
COILS = {
    "shipped defaults": default_coil(),
    "damp coil": rated(10_000, 3.0, 0.70, 0.47, 390.0),
    "dry coil": rated(10_000, 4.0, 0.80, 0.55, 300.0),
    "on the mountain": rated(10_000, 3.2238, 0.75, 0.5, 386.7, pressure_pa=83_500.0),
}


def rating_point() -> pl.DataFrame:
    """26.7/19.4 degC wet-bulb indoors, 35 degC outdoors [AHRI 210/240, 340/360]."""
    w = psychrolib.GetHumRatioFromTWetBulb(26.7, 19.4, SEA_LEVEL)
    return pl.DataFrame({"t": [26.7], "w": [w], "outdoor": [35.0]})


@pytest.mark.parametrize(
    ("capacity", "cop", "shr", "supply", "fan"),
    [(10_000, 3.2238, 0.75, 0.5, 386.7), (10_000, 3.0, 0.70, 0.47, 390.0), (50_000, 4.0, 0.80, 2.75, 1500.0)],
)
def test_rating_point_reproduces_the_rating(capacity, cop, shr, supply, fan):
    """Net capacity, efficiency and sensible heat ratio."""
    at = run(rated(capacity, cop, shr, supply, fan), rating_point()).row(0, named=True)
    assert at["total_w"] - fan == pytest.approx(capacity, rel=1e-4)
    assert capacity / (at["power_w"] + fan) == pytest.approx(cop, rel=1e-4)
    assert (at["sensible_w"] - fan) / (at["total_w"] - fan) == pytest.approx(shr, abs=1e-4)


def test_the_least_ratio_of_saturated_air():
    """By psychrolib: from 26.7/19.4 degC wet-bulb down to each dew point from 1 to 15 degC, heat over heat and water's heat; the
    lowest is that of 1 degC, 0.59 before the fan. Of a fan of 40 W per kW net, 0.59 x 1.04 - 0.04."""
    w = psychrolib.GetHumRatioFromTWetBulb(26.7, 19.4, SEA_LEVEL)
    entering, ratios = psychrolib.GetMoistAirEnthalpy(26.7, w), []
    for tenth in range(10, 151):
        at = psychrolib.GetSatHumRatio(tenth / 10, SEA_LEVEL)
        warmed = psychrolib.GetMoistAirEnthalpy(26.7, at)
        saturated = psychrolib.GetMoistAirEnthalpy(tenth / 10, at)
        ratios.append((warmed - saturated) / (entering - saturated))
    assert min(ratios) == ratios[0] == pytest.approx(0.592, abs=1e-3)
    assert plain(cooling_coil.least_ratio(0.04)) == pytest.approx(ratios[0] * 1.04 - 0.04, abs=1e-3)


@pytest.mark.parametrize(
    ("shr", "l_s_kw", "fan_w_l_s"), [(0.58, 50, 0.773), (0.6, 100, 0), (0.72, 50, 0.773), (0.78, 60, 2)]
)
def test_what_can_be_rated_comes_back(shr, l_s_kw, fan_w_l_s):
    sheet = Worksheet()
    cooling_coil.returned(sheet, 3.2, shr, l_s_kw, fan_w_l_s)
    back = sheet.of_one()
    assert back["bypass"] > 0.02
    assert (back["returned_ratio"], back["returned_capacity"]) == (pytest.approx(shr, abs=1e-9), pytest.approx(1))


def test_air_that_cannot_carry_the_duty_is_not_hidden():
    """0.85 at 50 L/s per kW: all the air saturated at the apparatus dew point holds 3 % less than the rated duty."""
    sheet = Worksheet()
    cooling_coil.returned(sheet, 3.2, 0.85, 50.0, 0.773)
    back = sheet.of_one()
    assert back["bypass"] == 0
    assert back["returned_ratio"] < 0.78
    assert back["returned_capacity"] < 0.98


class Worst(NamedTuple):
    adp_k: float
    duty: float  # relative
    water_kg_kg: float


def worst(site: pl.DataFrame, at: pl.DataFrame) -> Worst:
    """Largest errors over `at` against the converged solution."""
    rating = site.row(0, named=True)
    found = []
    for r in run(site, at).iter_rows(named=True):
        adp, duty, water = converged(rating, r["t"], r["w"], r["outdoor"])
        found.append((abs(r["adp_c"] - adp), abs(r["total_j_kg"] / duty - 1), abs(r["moisture_kg_kg"] - water)))
    return Worst(*(max(errors) for errors in zip(*found, strict=True)))


@pytest.mark.parametrize("name", COILS)
def test_one_newton_step_over_indoor_air(name):
    """18-28 degC, 30-80 %, outdoors -5 to 45 degC: within 0.01 K of apparatus dew point and 0.1 % of duty."""
    errors = worst(COILS[name], INDOOR)
    print(f"{name}: {errors}")
    assert errors.adp_k < 0.01
    assert errors.duty < 1e-3
    assert errors.water_kg_kg < 1e-5


@pytest.mark.parametrize("name", COILS)
def test_one_newton_step_over_hot_and_humid_air(name):
    """24-32 degC at 60-80 %, a mixture with much outdoor air: no worse."""
    errors = worst(COILS[name], HOT_AND_HUMID)
    print(f"{name}: {errors}")
    assert errors.adp_k < 0.01
    assert errors.duty < 1e-3


def test_balance_of_the_coil():
    """Sensible heat and the vapour's, at its entering temperature, make up what the air loses, condensate aside."""
    site = default_coil()
    for r in run(site, INDOOR).iter_rows(named=True):
        m = site["supply_kg_s"][0]
        vapour = r["moisture_kg_s"] * (2_501_000 + 1860 * r["t"])
        assert r["sensible_w"] + vapour == pytest.approx(r["total_w"], rel=1e-12)
        leaving_w = r["w"] - r["moisture_kg_kg"]
        leaving_c = r["t"] - r["sensible_j_kg"] / (1006 + 1860 * leaving_w)
        lost = psychrolib.GetMoistAirEnthalpy(r["t"], r["w"]) - psychrolib.GetMoistAirEnthalpy(leaving_c, leaving_w)
        assert m * lost == pytest.approx(r["total_w"], rel=0.005)


def test_power_is_a_fraction_of_carnot():
    """Written out once more in plain Python: 4 K below the apparatus dew point, 10 K above outdoors, both times load, and
    never condensing below 32 degC."""
    site = default_coil()
    rating = site.row(0, named=True)
    gross, compressor = 10_000 + rating["fan_w"], 10_000 / 3.2238 - rating["fan_w"]

    def carnot(adp: float, outdoor: float, load: float) -> float:
        evaporating = adp - 4 * load
        return (evaporating + 273.15) / (max(outdoor + 10 * load, 32) - evaporating)

    fraction = gross / compressor / carnot(rating["rated_adp_c"], 35, 1)
    for r in run(site, INDOOR).iter_rows(named=True):
        load = r["total_w"] / gross
        expected = r["total_w"] / (fraction * carnot(r["adp_c"], r["outdoor"], load))
        assert r["power_w"] == pytest.approx(expected, rel=1e-6)


def test_moisture_slope_is_that_of_the_converged_coil():
    """Central difference of the converged solution, at every indoor state whose coil is wet and not at its frost limit.

    Within 2.5 % of the air that meets the coil, at worst 6 % of the slope itself (28 degC, 80 %, 45 degC outdoors).
    """
    site, step = default_coil(), 2e-5
    rating = site.row(0, named=True)
    compared = 0
    for r in run(site, INDOOR).iter_rows(named=True):
        at = [converged(rating, r["t"], r["w"] + d, r["outdoor"]) for d in (-step, step)]
        if min(water for _, _, water in at) > 1e-5 and min(adp for adp, _, _ in at) > 1.1:
            slope = rating["supply_kg_s"] * (at[1][2] - at[0][2]) / (2 * step)
            assert r["moisture_slope"] == pytest.approx(slope, abs=0.025 * rating["supply_kg_s"] * rating["contact"])
            compared += 1
    assert compared > 200


def test_rough_coil_is_near_the_coil():
    """The first guess by tangents: within 12 % of the sensible duty and 0.6 g/kg over 20-26 degC, 40-60 %."""
    site = default_coil()
    at = states([20, 22, 24, 26], [0.4, 0.5, 0.6], [15, 25, 35])
    sheet = Worksheet()
    cooling_coil.rough(sheet, COIL, col("t"), col("w"), col("outdoor"))
    rough = sheet.apply(site.lazy().join(at.lazy(), how="cross")).collect()
    exact = run(site, at)
    assert (rough["sensible_w"] / exact["sensible_w"] - 1).abs().max() < 0.12
    assert ((rough["moisture_kg_s"].clip(0) - exact["moisture_kg_s"]) / site["supply_kg_s"][0]).abs().max() < 6e-4


def test_dry_coil():
    """Desert air: no water, all duty sensible, dry air cooled in proportion to the bypass factor."""
    site = default_coil()
    r = run(site, pl.DataFrame({"t": [24.0], "w": [0.003], "outdoor": [35.0]})).row(0, named=True)
    assert r["dry"]
    assert r["moisture_kg_s"] == 0
    assert r["moisture_slope"] == 0
    assert r["total_w"] == r["sensible_w"]
    assert r["adp_c"] > psychrolib.GetTDewPointFromHumRatio(24, 0.003, SEA_LEVEL)
    expected = site["contact"][0] * (1006 + 1860 * 0.003) * (24 - r["adp_c"])
    assert r["sensible_j_kg"] == pytest.approx(expected, rel=1e-12)


def test_frost_limit():
    """Cool air and cold weather would freeze the coil: it is held at 1 degC, and the duty is the air's down to there."""
    site = default_coil()
    w = humidity(12, 0.6)
    r = run(site, pl.DataFrame({"t": [12.0], "w": [w], "outdoor": [0.0]})).row(0, named=True)
    assert r["adp_c"] == 1.0
    surface = psychrolib.GetMoistAirEnthalpy(1, psychrolib.GetSatHumRatio(1, SEA_LEVEL))
    duty = site["contact"][0] * (psychrolib.GetMoistAirEnthalpy(12, w) - surface)
    assert r["total_j_kg"] == pytest.approx(duty, rel=5e-3)


def test_a_coil_never_heats():
    r = run(default_coil(), pl.DataFrame({"t": [-5.0, 0.5], "w": [0.001, 0.002], "outdoor": [-5.0, 0.0]}))
    assert r["sensible_w"].min() >= 0
    assert r["moisture_kg_s"].to_list() == [0, 0]


def test_colder_and_weaker_on_the_mountain():
    """The same volume of air weighs less there: the coil runs colder and does less, by less than the air is lighter."""
    sea, mountain = (run(COILS[n], rating_point()).row(0, named=True) for n in ("shipped defaults", "on the mountain"))
    assert mountain["adp_c"] < sea["adp_c"]
    assert 83_500 / SEA_LEVEL < mountain["total_w"] / sea["total_w"] < 1


def test_part_load():
    """AHRI 210/240: nothing at rest, full power at full run, 1/(1 - Cd/2) of half power at half run."""
    full, cd = 1000.0, 0.23
    unit = part_load_moisture.PartLoad(*part_load_moisture.chords("none"), fan=1.0)
    power = [plain(unit.power_w(full, x, cd)) for x in (0.0, 0.5, 1.0)]
    assert power == pytest.approx([0, 500 / (1 - 0.115), 1000])


def test_warmer_condenser_costs_more():
    """Carnot by hand: 6 degC to 32 and to 38 degC, half of it."""
    cop = [plain(cooling_coil.carnot_cop(0.5, 10.0, 15.0, 1.0, floor)) for floor in (32.0, 38.0)]
    assert cop == pytest.approx([0.5 * 279.15 / 26, 0.5 * 279.15 / 32])
