"""The standalone unit's curves against published capacities, federal levels and a fact of the trade."""

from pathlib import Path

import polars as pl
import pytest

from screener.formula import plain
from screener.physics import dehumidifier as unit
from screener.strategies.standalone_dehumidifier import (
    USUAL_LITRES_PER_KWH,
    USUAL_RATING_C,
    USUAL_RATING_RH_PCT,
)

CURVES = pl.read_csv(Path(__file__).parent / "dehumidifier_curves.csv", comment_prefix="#")
PINTS_PER_LITRE = 2.11338


def water(t: float, rh: float) -> float:
    return plain(unit.relative_water(t, rh))


def factor(t: float, rh: float) -> float:
    return plain(unit.relative_energy_factor(t, rh))


def published(name: str, t: float, rh: float) -> float:
    """The generic biquadratic, before it is divided by its value at the rating state."""
    c = CURVES.row(by_predicate=pl.col("curve") == name, named=True)
    return c["a"] + c["b"] * t + c["c"] * t**2 + c["d"] * rh + c["e"] * rh**2 + c["f"] * t * rh


def test_published_curves_before_they_are_normalised():
    """0.987 and 0.985 at 26.7 degC / 60 % (from memory)."""
    assert published("water", 26.7, 60) == pytest.approx(0.987, abs=5e-4)
    assert published("energy_factor", 26.7, 60) == pytest.approx(0.985, abs=5e-4)


@pytest.mark.parametrize("t", [10.0, 15.0, 21.1, 26.7, 35.0])
@pytest.mark.parametrize("rh", [30.0, 50.0, 60.0, 90.0])
def test_curves_follow_the_published_ones(t, rh):
    assert water(t, rh) == pytest.approx(published("water", t, rh) / published("water", 26.7, 60))
    expected = published("energy_factor", t, rh) / published("energy_factor", 26.7, 60)
    assert factor(t, rh) == pytest.approx(expected)


def test_one_at_the_rating_state():
    assert water(26.7, 60.0) == pytest.approx(1, abs=1e-12)
    assert factor(26.7, 60.0) == pytest.approx(1, abs=1e-12)


def test_capacity_from_80_to_65_f():
    """The same products declared at 80 F and at 65 F, both 60 %: 30 -> 20, 50 -> 30, 70 -> 50 pints a day [10 CFR 430
    before and after the rule of 2016], 0.60-0.71."""
    assert 0.60 <= water(18.3, 60.0) / water(26.7, 60.0) <= 0.71


def usual(t: float, rh: float) -> float:
    """Litres per kWh of the usual unit."""
    return plain(USUAL_LITRES_PER_KWH * factor(t, rh) / factor(USUAL_RATING_C, USUAL_RATING_RH_PCT))


def test_near_six_pints_per_kwh_in_a_grocery_store():
    """Common practice, no source: an efficient unit removes close to six pints per kWh at 21 degC and 50 %."""
    assert 5.5 <= usual(21.1, 50.0) * PINTS_PER_LITRE <= 6.1


def test_federal_levels_order_the_ratings():
    """10 CFR 430.32(v): portable units, L/kWh at 65 F / 60 %, up to 25 pints a day, to 50, above; ducted units at 73 F
    (from memory), up to 8 ft3, above. The usual unit is better than any minimum where each is rated; carried to 80 F, where the
    curve says units do better, each kind keeps its order."""
    portable = [level / factor(18.3, 60.0) for level in (1.30, 1.60, 2.80)]
    ducted = [level / factor(22.8, 60.0) for level in (1.77, 2.41)]
    assert portable == sorted(portable)
    assert ducted == sorted(ducted)
    assert portable[0] > 1.30
    assert ducted[0] > 1.77
    assert usual(18.3, 60.0) > 2.80
    assert 2.41 < 3.30 < usual(22.8, 60.0) < 4.0  # 3.30: a voluntary label of large ducted units (from memory)


def test_damper_and_warmer_air_gives_more_water():
    assert water(21.0, 50.0) < water(21.0, 60.0) < water(24.0, 60.0)


def test_outside_the_range_the_nearest_state_counts():
    assert water(5.0, 60.0) == water(10.0, 60.0)
    assert water(40.0, 20.0) == water(35.0, 30.0)
    assert factor(24.0, 99.0) == factor(24.0, 90.0)
