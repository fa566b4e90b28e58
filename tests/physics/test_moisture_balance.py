"""The closed form of the settled humidity against plain bisection over random spaces."""

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from screener.physics.moisture_balance import CASE_MOST, Space

DRY, RATED = 0.0025, 0.01027


def settled(gain, air, outdoor, case, removal, slope, at) -> float:
    space = Space(*(pl.lit(x) for x in (gain, air, outdoor, case, DRY, RATED)))
    return pl.select(space.settled(pl.lit(removal), pl.lit(slope), pl.lit(at))).item()


def excess(w, gain, air, outdoor, case, removal, slope, at) -> float:
    """Net gain less removal, written out once more."""
    credit = case * min(max((w - DRY) / (RATED - DRY), 0.0), CASE_MOST)
    return gain + air * (outdoor - w) - credit - max(0.0, removal + slope * (w - at))


positive = st.floats(0, 1, allow_subnormal=False)


@settings(max_examples=300, deadline=None)
@given(positive, st.floats(1e-6, 5), st.floats(0, 0.03), positive, positive, st.floats(0, 5), st.floats(0.002, 0.02))
def test_gain_and_removal_meet(gain, air, outdoor, case, removal, slope, at):
    args = (gain * 0.02, air, outdoor, case * 0.01, removal * 0.02, slope, at)
    low, high = -1e6, 1e6
    for _ in range(200):
        middle = (low + high) / 2
        low, high = (middle, high) if excess(middle, *args) > 0 else (low, middle)
    assert settled(*args) == pytest.approx(low, rel=1e-6, abs=1e-9)


def test_without_gains_it_is_as_humid_as_outdoors():
    assert settled(0.0, 1e-6, 0.012, 0.0, 0.0, 0.0, 0.009) == pytest.approx(0.012)


def test_credit_of_cases():
    """Nothing below the dry point, all at the rating ambient (24 degC, 55 % [AHRI 1200]), never more than the most."""
    space = Space(*(pl.lit(x) for x in (0.0, 1.0, 0.0, 0.01, DRY, RATED)))
    credit = [pl.select(space.case_credit(pl.lit(w))).item() for w in (0.001, RATED, 0.03)]
    assert credit == pytest.approx([0, 0.01, 0.01 * CASE_MOST])
