"""Stores that are heated by the racks of their display cases, by hand."""

import polars as pl
import pytest

from screener import climate
from screener.strategies import REGISTRY
from tests.engine_cases import STATIONS, accounts, filled, in_sequence

STORE = {"building_type": "supermarket", "floor_area_m2": 4000.0, "station": STATIONS["Chicago"]}
RACKS = STORE | {"heating_source": "reclaimed"}
WINTER_H = 240


@pytest.fixture(scope="module")
def hours() -> pl.DataFrame:
    return climate.hours([STATIONS["Chicago"]]).head(WINTER_H)


@pytest.mark.parametrize("metres", [20.0, 200.0])
def test_heat_costs_the_racks_higher_head_pressure_and_resistance_heat_where_they_are_short(hours, metres):
    """Open cases of 700 W/m: 70 % compressors of COP 2.3 give 0.7 x 3.3 x 0.75 of it as heat. Racks float 8 K above outdoors, at
    21 degC or more, and are held at 38 degC: so many kelvin more over the lift from -12 degC."""
    site = RACKS | {"open_case_length_m": metres, "door_case_length_m": 0.0}
    worked = in_sequence(filled([site]), hours, "temperature_only")
    heat, outdoor = pl.col("temperature_only.heating_w"), pl.col("outdoor_c")
    electricity = metres * 700.0
    gives = electricity * 0.7 * 3.3 * 0.75
    floats = pl.max_horizontal(outdoor + 8.0, 21.0)
    reclaimed = pl.min_horizontal(heat, gives)
    penalty = reclaimed / gives * 0.7 * electricity * ((38.0 - floats) / (floats + 12.0)).clip(0.0)
    due = worked.select(due=penalty + heat - reclaimed)["due"]
    got = worked["temperature_only.heating_electricity_w"]
    assert (got - due).abs().max() < 1e-6 * got.max()
    assert worked["temperature_only.heating_fuel_w"].max() == 0
    short = worked.filter(heat > gives).height
    assert (short > 50) == (metres < 100)


def test_heat_is_all_that_changes(hours):
    """Balances are those of any heating; a store with racks for heat takes a third of the energy that resistance asks for."""
    totals, _ = accounts(filled([RACKS, STORE | {"heating_source": "electric"}]), hours)
    rows = totals.filter(pl.col("unavailable").is_null() & pl.col("strategy").is_in([*REGISTRY]))
    for column in ("compressor_kwh", "water_removed_kg", "hours_above_limit"):
        pairs = rows.pivot(on="site_id", index="strategy", values=column).drop_nulls()
        assert pairs["s0000"].to_list() == pytest.approx(pairs["s0001"].to_list()), column
    today = rows.filter(pl.col("strategy") == "temperature_only")["heating_electricity_kwh"]
    assert 0.1 * today[1] < today[0] < 0.4 * today[1]


def test_racks_that_heat_have_the_less_for_reheat():
    """A store that overcools in the damp of summer nights and is heated by its racks: never more heat of them than they have."""
    cold = RACKS | {"station": STATIONS["Seattle"], "open_case_length_m": 15.0, "door_case_length_m": 0.0}
    cold |= {"humidity_limit_dew_point_c": 4.0, "current_strategy": "overcool_reclaimed_reheat"}
    name = "overcool_reclaimed_reheat"
    worked = in_sequence(filled([cold]), climate.hours([STATIONS["Seattle"]]).head(1200), name).filter("damp")
    gives = 15.0 * 700.0 * 0.7 * 3.3 * 0.75
    both = worked[f"{name}.heating_w"].clip(upper_bound=gives) + worked[f"{name}.damp.reclaimed_w"]
    assert both.max() <= gives * (1 + 1e-9)
    assert worked[f"{name}.damp.reclaimed_w"].max() > 0
    bought = worked[f"{name}.damp.short_w"]
    assert (bought > 0).sum() > 20
    assert (worked[f"{name}.reheat_electricity_w"] >= bought - 1e-6).all()
