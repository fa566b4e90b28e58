"""Enthalpy wheel, desiccant wheel and refrigeration heat: published ranges, and figures worked by hand."""

import polars as pl
import pytest

from screener.formula import plain
from screener.physics import desiccant, enthalpy_wheel, refrigeration


def value(expr: pl.Expr) -> float:
    return plain(expr)


def test_wheel_by_hand():
    """32 degC against 24 degC at 0.75: 26 degC."""
    assert value(enthalpy_wheel.after(32.0, 24.0, 0.75)) == pytest.approx(26.0)


def test_desiccant_by_hand():
    """4 MJ/kg of regeneration: 2.45 x 1.1 + 0.12 x 4 + 0.35 / 2 = 3.35 MJ/kg end in the space: more than the heat of
    evaporation, as all of it came out of the air as heat."""
    heat = value(desiccant.heat_to_space_j_kg(4.0e6))
    assert heat == pytest.approx(3.35e6)
    assert 3e6 <= desiccant.FUEL_REGENERATION_J_KG <= 5e6  # the published range (from memory)


def test_reclaimed_heat_by_hand():
    """10 kW of refrigeration: 7 kW of compressors at 2.3 reject 23.1 kW, three quarters of it usable: 17.3 kW. At 5 degC
    outdoors racks float at 21 degC; 38 degC takes 17/33 more, 3.6 kW for all of it, 1.8 kW for half."""
    racks, cold = 10_000.0, 5.0
    assert value(refrigeration.reclaimable_w(racks)) == pytest.approx(17_325.0)
    assert value(refrigeration.reclaim_penalty_w(racks, 17_325.0, cold)) == pytest.approx(7000 * 17 / 33)
    assert value(refrigeration.reclaim_penalty_w(racks, 17_325.0 / 2, cold)) == pytest.approx(3500 * 17 / 33)
    assert value(refrigeration.reclaim_penalty_w(racks, 17_325.0, 33.0)) == 0.0


def test_what_a_drier_store_saves():
    """The measured store, 2500 kWh a day: 10 kWh a day per 1 % of relative humidity, 0.4 %; heaters 3.4-4.6 kWh [Henderson,
    Khattar, ASHRAE Transactions 105, 1999]. Five points: 2-9 % (published span)."""
    assert pytest.approx(10.0) == 2500 * refrigeration.ENERGY_PER_RH_PCT
    assert 3.4 <= 2500 * refrigeration.ANTI_SWEAT_PER_RH_PCT <= 4.6
    assert pytest.approx(0.02) == 5 * refrigeration.ENERGY_PER_RH_PCT
    assert pytest.approx(0.09) == 5 * refrigeration.ENERGY_PER_RH_PCT_HIGH
