"""The standalone unit's curves against published capacities, federal levels and a fact of the trade."""

import polars as pl
import pytest

from screener.physics import dehumidifier as unit

PINTS_PER_LITRE = 2.11338


def water(t: float, rh: float) -> float:
    return pl.select(unit.relative_water(pl.lit(t), pl.lit(rh))).item()


def factor(t: float, rh: float) -> float:
    return pl.select(unit.relative_energy_factor(pl.lit(t), pl.lit(rh))).item()


def test_one_at_the_rating_state():
    assert water(26.7, 60.0) == pytest.approx(1)
    assert factor(26.7, 60.0) == pytest.approx(1)


def test_capacity_from_80_to_65_f():
    """The same products declared at 80 F and at 65 F, both 60 %: 30 -> 20, 50 -> 30, 70 -> 50 pints a day, 0.60-0.71."""
    assert 0.60 <= water(18.3, 60.0) <= 0.71


def test_near_six_pints_per_kwh_in_a_grocery_store():
    """Common practice, no source: an efficient unit removes close to six pints per kWh at 21 degC and 50 %."""
    assert 5.5 <= 4.2 * factor(21.1, 50.0) * PINTS_PER_LITRE <= 6.1


def test_federal_levels_order_the_ratings():
    """10 CFR 430.32(v), portable, at 65 F / 60 %: larger units must do better; carried to 80 F they keep their order,
    and an efficient unit's 4.2 L/kWh lies above the largest one's level."""
    at_80 = [level * factor(26.7, 60.0) / factor(18.3, 60.0) for level in (1.30, 1.60, 2.80)]
    assert at_80 == sorted(at_80)
    assert at_80[-1] < 4.2


def test_outside_the_range_the_nearest_state_counts():
    assert water(5.0, 60.0) == water(10.0, 60.0)
    assert factor(24.0, 99.0) == factor(24.0, 90.0)
