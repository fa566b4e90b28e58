"""The wheel alone: its hours worked out once more from what a wheel is defined by, and what an engineer expects of it."""

import polars as pl
import pytest

from screener import climate, engine
from screener.errors import ResultsError
from screener.strategies import REGISTRY
from screener.strategies.ventilation_heat_recovery import KEPT, NAME
from tests.engine_cases import STATIONS, accounts, filled, in_sequence, random_rows

STORE = {"building_type": "retail", "floor_area_m2": 3000.0}
CP = 1006.0 + 1860.0 * 0.010
TODAY = ("temperature_only", *(kept.NAME for kept in KEPT))
TOLERANCE = 1e-9


@pytest.fixture(scope="module")
def worked() -> pl.DataFrame:
    """Some days of four months at sites of all types and every control that the wheel goes with."""
    rows = [row | {"current_strategy": TODAY[i % len(TODAY)]} for i, row in enumerate(random_rows(24, seed=14))]
    rows = [row | {"exhaust_share": (0.0, 0.3, 0.6, 1.0)[i % 4]} for i, row in enumerate(rows)]
    rows += [STORE | {"station": STATIONS[name]} for name in ("Fairbanks", "Chicago", "Houston")]
    hours = climate.hours(sorted(STATIONS.values()))
    numbered = hours.with_columns(number=pl.int_range(pl.len()).over("weather_id", "month"))
    some = numbered.filter(pl.col("month").is_in([1, 4, 7, 10]) & (pl.col("number") < 48)).drop("number")
    return in_sequence(filled(rows), some, NAME)


def behind(frame: pl.DataFrame) -> tuple[pl.Expr, pl.Expr, pl.Expr]:
    """Ventilation air [kg/s], and its temperature and humidity ratio as it enters the space, by the definition of the wheel's
    effectiveness: of the outdoor air's difference from the exhaust, which is air of the space as the hour leaves it."""
    c = pl.col
    turns = c(f"{NAME}.wheel.turns") * c("exhaust_share")
    air = c("ventilation_kg_s") * c("ventilation_share") * c("open")
    t = c("outdoor_c") + 0.75 * turns * (c("hour.space_c") - c("outdoor_c"))
    w = c("outdoor_humidity_ratio") + 0.70 * turns * (c("hour.humidity_ratio") - c("outdoor_humidity_ratio"))
    return air, t, w


def leaks() -> pl.Expr:
    c = pl.col
    air = c("ventilation_kg_s") * c("ventilation_share") * c("open")
    hoods = c("hood_exhaust_kg_s") * c("process_moisture_share") * c("open") - air
    own = pl.when(c("open") > 0).then(c("infiltration_open_kg_s")).otherwise(c("infiltration_closed_kg_s"))
    return pl.max_horizontal(own, hoods)


def term(frame: pl.DataFrame, name: str) -> pl.Expr:
    return pl.col(f"hour.{name}") if f"hour.{name}" in frame.columns else pl.lit(0.0)


def worst(frame: pl.DataFrame, terms: list[pl.Expr], least: float) -> float:
    size = pl.max_horizontal([t.abs() for t in terms] + [pl.lit(least)])
    return frame.select((pl.sum_horizontal(terms).abs() / size).max()).item()


def test_the_hours_drawn_are_hard_enough(worked):
    """The wheel cools, heats at part of its speed, is slowed down by frost, and stands still; damp hours of each control."""
    turns = worked[f"{NAME}.wheel.turns"]
    assert turns.min() == 0
    assert turns.max() == 1
    assert turns.is_between(0.01, 0.99).sum() > 100
    assert worked.filter((pl.col("outdoor_c") < -12) & (pl.col("open") == 1) & (turns > 0)).height > 20
    assert (worked[f"{NAME}.wheel.cools"] * worked["open"]).sum() > 100
    for today in TODAY:
        assert worked.filter("damp", pl.col("current_strategy") == today).height > 2, today


def test_moisture_balance_closes(worked):
    c, (air, _, w_air) = pl.col, behind(worked)
    w = c("hour.humidity_ratio")
    cases = c("case_kg_s") * ((w - 0.0025) / (0.01027 - 0.0025)).clip(0.0, 1.2)
    terms = [
        c("people_kg_s") * c("people_share") * c("open"),
        c("process_kg_s") * c("process_moisture_share") * c("open"),
        air * (w_air - w),
        leaks() * (c("outdoor_humidity_ratio") - w),
        c("moisture_storage_kg_s") * (c("last_humidity_ratio") - w),
        -cases,
        *(-term(worked, name) for name in ("coil_kg_s", "condenses_kg_s", "device_kg_s")),
    ]
    assert worst(worked, terms, 1e-6) < TOLERANCE


def test_heat_balance_closes(worked):
    """The fan in the outdoor air presses it through the wheel: 0.275 W per L/s warm it."""
    c, (air, t_air, _) = pl.col, behind(worked)
    t = c("hour.space_c")
    mass = c("mass_storage_w_k") * c("surface_w_k") / (c("mass_storage_w_k") + c("surface_w_k"))
    terms = [
        c("gain_closed_w") * (1 - c("open")),
        c("people_w") * c("people_share") * c("open"),
        c("lights_w") * c("lights_share") * c("open"),
        c("equipment_w") * c("equipment_share") * c("open"),
        c("fan_w") * c("open") * (c("supply_fan") == "continuous"),
        0.275 * air / c("air_density_kg_m3") * 1000,
        c("aperture_m2") * c("irradiance_w_m2"),
        air * CP * (t_air - t),
        (leaks() * CP + c("envelope_w_k")) * (c("outdoor_c") - t),
        c("air_storage_w_k") * (c("last_c") - t),
        mass * (c("last_mass_c") - t),
        -c("case_sensible_w"),
        *(term(worked, name) for name in ("reheat_w", "device_heat_w", "heating_w")),
        *(-term(worked, name) for name in ("coil_sensible_w", "unmet_cooling_w")),
    ]
    assert worst(worked, terms, 1.0) < TOLERANCE


def test_the_wheel_never_heats_more_than_is_wanted_nor_frosts(worked):
    c = pl.col
    heats = worked.filter((c(f"{NAME}.wheel.turns") > 0) & (c(f"{NAME}.wheel.cools") == 0) & (c("exhaust_share") > 0))
    assert heats.height > 100
    over = heats["sensible_at_heating_w"] - heats["ventilation_warmed_w"]
    assert (over < 1e-6 * heats["envelope_w_k"] + 1e-3).all()
    at_frost = c("heating_setpoint_c") + 12.0
    assert heats.select(
        (c(f"{NAME}.wheel.turns") * (c("heating_setpoint_c") - c("outdoor_c")) <= at_frost + 1e-9).all()
    ).item()


def test_an_hour_without_a_wheel_is_an_hour_of_today(worked):
    """Exhaust of none: the same hour as today's control beside the wheel's fans."""
    sites = [STORE | {"exhaust_share": 0.0, "current_strategy": today, "open_case_length_m": 30.0} for today in TODAY]
    frame = filled(sites)
    hours = climate.hours([STATIONS["Miami"]]).head(200)
    mine = in_sequence(frame, hours, NAME)
    for number, today in enumerate(TODAY):
        one = in_sequence(frame.slice(number, 1), hours, today)
        got = mine.filter(pl.col("site_id") == f"s{number:04}")
        apart = (got["hour.humidity_ratio"] - one["hour.humidity_ratio"]).abs().max()
        assert apart < 2e-4, today  # the fan's heat is there
        assert got["damp"].sum() > 20


def by_site(totals: pl.DataFrame, strategy: str, column: str) -> list[float]:
    return totals.filter(pl.col("strategy") == strategy).sort("site_id")[column].to_list()


def test_it_saves_fuel_in_the_cold_and_drying_in_the_damp():
    """Chicago: heating falls by a quarter and more. Miami: water falls by a fifth and more, and the compressor runs less for it;
    wheels save in every climate against none [McDowell, Emmerich 2005]."""
    kept = {"current_strategy": "overcool_electric_reheat"}
    sites = filled([STORE | kept | {"station": STATIONS[name]} for name in ("Chicago", "Miami")])
    totals, _ = accounts(sites)
    columns = ("heating_fuel_kwh", "compressor_kwh", "water_removed_kg", "electricity_kwh", "fuel_kwh")
    today = {column: by_site(totals, "overcool_electric_reheat", column) for column in columns}
    wheel = {column: by_site(totals, NAME, column) for column in columns}
    assert wheel["heating_fuel_kwh"][0] < 0.75 * today["heating_fuel_kwh"][0]
    assert wheel["water_removed_kg"][1] < 0.8 * today["water_removed_kg"][1]
    assert wheel["compressor_kwh"][1] < 0.95 * today["compressor_kwh"][1]
    total = [[c["electricity_kwh"][i] + c["fuel_kwh"][i] for c in (today, wheel)] for i in (0, 1)]
    assert all(with_it < without for without, with_it in total)


def test_more_exhaust_saves_more():
    sites = filled([STORE | {"station": STATIONS["Chicago"], "exhaust_share": x} for x in (0.2, 0.5, 0.8)])
    totals, _ = accounts(sites)
    fuel = by_site(totals, NAME, "heating_fuel_kwh")
    assert fuel == sorted(fuel, reverse=True)
    both = by_site(totals, "outdoor_air_dehumidifier_with_recovery", "heating_fuel_kwh")
    assert both == sorted(both, reverse=True)


def test_who_cannot_have_it():
    rows = [
        {"exhaust_share": 0.0},
        {"outdoor_air_l_s": 0.0},
        {"current_strategy": "desiccant_fuel_regenerated"},
        {"current_strategy": "temperature_only"},
    ]
    totals, _ = accounts(filled([STORE | row for row in rows]), climate.hours([STATIONS["Miami"]]).head(48))
    told = by_site(totals, NAME, "unavailable")
    assert ["exhaust" in (told[0] or ""), "outdoor air" in (told[1] or ""), "today" in (told[2] or "")] == [True] * 3
    assert told[3] is None
    assert "exhaust" in by_site(totals, "outdoor_air_dehumidifier_with_recovery", "unavailable")[0]


def test_it_is_laid_out_alone():
    with pytest.raises(ResultsError, match="lay it out alone"):
        engine.plan([NAME, "temperature_only"])
    assert NAME in REGISTRY
