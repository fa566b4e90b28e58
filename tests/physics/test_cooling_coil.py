"""The coil against its own rating, a converged solution, and the unitary test suite."""

from pathlib import Path

import polars as pl
import psychrolib
import pytest

from screener.hour import COIL
from screener.physics import cooling_coil
from tests.physics.coils import SEA_LEVEL, default_coil, rated, run

psychrolib.SetUnitSystem(psychrolib.SI)
SUITE = pl.read_csv(Path(__file__).parent / "unitary_suite.csv", comment_prefix="#")
STATES = pl.DataFrame({"t": [18.0, 21.0, 24.0, 27.0, 30.0]}).join(
    pl.DataFrame({"w": [0.004, 0.006, 0.008, 0.010, 0.012, 0.015]}).join(
        pl.DataFrame({"outdoor": [5.0, 20.0, 35.0, 45.0]}), how="cross"
    ),
    how="cross",
)


def test_rating_point_reproduces_the_rating():
    """At 26.7/19.4 degC wet-bulb and 35 degC outdoors [AHRI 210/240] duty, sensible share and power are the rating's."""
    site = default_coil()
    w = psychrolib.GetHumRatioFromTWetBulb(26.7, 19.4, SEA_LEVEL)
    at = run(site, pl.DataFrame({"t": [26.7], "w": [w], "outdoor": [35.0]})).row(0, named=True)
    fan = site["fan_w"][0]
    assert at["total_w"] - fan == pytest.approx(10_000, rel=1e-4)
    assert (at["sensible_w"] - fan) / (at["total_w"] - fan) == pytest.approx(
        0.75, rel=4e-3
    )  # cp at the surface, not at entry
    assert 10_000 / (at["power_w"] + fan) == pytest.approx(3.2238, rel=1e-4)


def converged(site: dict, t: float, w: float, outdoor: float) -> tuple[float, float]:
    """Apparatus dew point and duty per kg by bisection on both laws, with psychrolib: wet, or dry if that is drier."""

    def compressor(adp: float) -> float:
        return site["duty_j_kg"] * (1 + 0.025 * (adp - site["rated_adp_c"]) - 0.006 * (outdoor - 35))

    def wet(adp: float) -> float:
        saturated = psychrolib.GetMoistAirEnthalpy(adp, psychrolib.GetSatHumRatio(adp, SEA_LEVEL))
        return site["contact"] * (psychrolib.GetMoistAirEnthalpy(t, w) - saturated)

    def dry(adp: float) -> float:
        return site["contact"] * (1006 + 1860 * w) * (t - adp)

    for coil in (wet, dry):
        low, high = -20.0, 40.0
        for _ in range(80):
            middle = (low + high) / 2
            low, high = (middle, high) if coil(middle) > compressor(middle) else (low, middle)
        adp = max(low, cooling_coil.COLDEST_ADP_C)
        if coil is dry or psychrolib.GetSatHumRatio(adp, SEA_LEVEL) < w:
            return adp, coil(adp)
    raise AssertionError


def test_one_newton_step_is_enough():
    """Against bisection with psychrolib: within 0.05 K of apparatus dew point and 0.3 % of duty in every state."""
    site = default_coil()
    worked = run(site, STATES)
    rating = site.row(0, named=True)
    assert worked["dry"].sum() >= 5
    for r in worked.iter_rows(named=True):
        adp, duty = converged(rating, r["t"], r["w"], r["outdoor"])
        assert r["adp_c"] == pytest.approx(adp, abs=0.05), (r["t"], r["w"], r["outdoor"])
        assert r["total_j_kg"] == pytest.approx(duty, rel=3e-3), (r["t"], r["w"], r["outdoor"])


def test_slope_is_that_of_a_small_difference():
    site, step = default_coil(), 1e-5
    wet = STATES.filter(pl.col("w") >= 0.010)
    here, there = run(site, wet), run(site, wet.with_columns(w=pl.col("w") + step))
    difference = (there["moisture_kg_s"] - here["moisture_kg_s"]) / step
    assert (difference / here["moisture_slope"] - 1).abs().max() < 0.03


def test_dry_air_gives_no_water_and_cold_coils_do_not_freeze():
    worked = run(default_coil(), pl.DataFrame({"t": [24.0, 12.0], "w": [0.001, 0.006], "outdoor": [35.0, 5.0]}))
    assert worked["moisture_kg_s"][0] == 0
    assert worked["moisture_slope"][0] == 0
    assert worked["adp_c"].min() >= cooling_coil.COLDEST_ADP_C


def test_part_load():
    """AHRI 210/240: nothing at rest, full power at full run, 1/(1 - Cd/2) of half power at half run."""
    full, cd = pl.lit(1000.0), pl.lit(0.23)
    power = [pl.select(cooling_coil.part_load_power(full, pl.lit(x), cd)).item() for x in (0.0, 0.5, 1.0)]
    assert power == pytest.approx([0, 500 / (1 - 0.115), 1000])


@pytest.fixture(scope="module")
def suite_unit() -> pl.DataFrame:
    """The suite's unit, calibrated at its rating point alone; the sensible share that gives its 13.8 degC."""
    low, high = 0.70, 0.90
    for _ in range(40):
        share = (low + high) / 2
        unit = rated(7852.0, 7852 / (1858 + 230), share, 0.425, 230.0)
        low, high = (share, high) if unit["rated_adp_c"][0] < 13.8 else (low, share)
    return unit


def steady(unit: pl.DataFrame, case: dict) -> tuple[float, float]:
    """COP and zone humidity at which coil, fan and loads are in balance; the humidity by bisection."""

    def at(w: float) -> tuple[float, float, dict]:
        r = run(unit, pl.DataFrame({"t": [case["set_c"]], "w": [w], "outdoor": [case["outdoor_c"]]})).row(0, named=True)
        runs = case["sensible_w"] / (r["sensible_w"] - 230)
        return runs * (r["total_w"] - r["sensible_w"]) - case["latent_w"], runs, r

    low, high = 0.003, 0.025
    for _ in range(40):
        w = (low + high) / 2
        excess, runs, r = at(w)
        # with no latent load the zone dries until the coil is just dry
        low, high = (low, w) if excess > 1e-6 else (w, high)
    plf = 1 - 0.229 * (1 - runs)
    power = (r["power_w"] + 108 + 230) * runs / plf
    return (case["sensible_w"] + case["latent_w"]) / power, w


def test_unitary_suite(suite_unit, capsys):
    """All 14 cases, the table printed with -s. The suite's compressor rating is without its outdoor fan (108 W)."""
    rows = []
    for case in SUITE.iter_rows(named=True):
        cop, w = steady(suite_unit, case)
        rows.append((case["case"], cop / case["cop"] - 1, w / case["humidity_ratio"] - 1))
    with capsys.disabled():
        print("\ncase  COP error  humidity error")
        for name, a, b in rows:
            print(f"{name}  {a:+.1%}      {b:+.1%}")
    assert max(abs(a) for _, a, _ in rows) < 0.07
    assert max(abs(b) for _, _, b in rows) < 0.07


def test_warmer_condenser_costs_more():
    cop = [
        pl.select(cooling_coil.carnot_cop(pl.lit(0.5), pl.lit(10.0), pl.lit(15.0), pl.lit(1.0), floor)).item()
        for floor in (32.0, 38.0)
    ]
    assert cop[0] > cop[1]
    assert COIL.contact.meta.output_name() == "contact"
