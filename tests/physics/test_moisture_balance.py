"""The closed form of the settled humidity against plain bisection over random spaces."""

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from screener.formula import plain
from screener.physics.moisture_balance import CASE_MOST, Space

DRY, RATED = 0.0025, 0.01027


def space(gain, air, outdoor, case, dry=DRY, rated=RATED) -> Space:
    return Space(*(float(x) for x in (gain, air, outdoor, case, dry, rated)))


def excess(w, gain, air, outdoor, case, dry, rated, removal, slope, at) -> float:
    """Net gain less removal [kg/s], written out once more."""
    credit = case * min(max((w - dry) / (rated - dry), 0.0), CASE_MOST)
    return gain + air * (outdoor - w) - credit - max(0.0, removal + slope * (w - at))


def bisected(*terms) -> float:
    low, high = -1e6, 1e6
    for _ in range(200):
        middle = (low + high) / 2
        low, high = (middle, high) if excess(middle, *terms) > 0 else (low, middle)
    return low


def flows(most: float) -> st.SearchStrategy[float]:
    return st.just(0.0) | st.floats(1e-9, most)


@settings(max_examples=400, deadline=None)
@given(
    gain=flows(0.02),
    air=st.floats(1e-6, 1e-3) | st.floats(1e-3, 5),
    outdoor=st.floats(0, 0.03),
    case=flows(0.01),
    dry=st.floats(0.001, 0.004),
    rated=st.floats(0.008, 0.012),
    removal=flows(0.02),
    slope=flows(5),
    at=st.floats(0.002, 0.02),
)
@example(0.001, 1e-6, 0.015, 0.002, DRY, RATED, 0.0, 0.0, 0.009)  # nearly no air: cases alone hold it down
@example(0.003, 1e-6, 0.015, 0.002, DRY, RATED, 0.0, 0.0, 0.009)  # more than the cases can carry: nothing holds it
@example(0.001, 0.5, 0.015, 0.0, DRY, RATED, 0.0, 0.0, 0.009)  # dry coil
@example(0.001, 0.5, 0.004, 0.0, DRY, RATED, 0.001, 0.6, 0.009)  # coil dry once the air has settled
@example(0.001, 0.5, 0.015, 0.004, DRY, RATED, 0.003, 0.6, 0.009)  # everything at work
@example(0.0, 0.5, 0.001, 0.004, DRY, RATED, 0.0, 0.0, 0.009)  # drier than the cases' coil
def test_gain_and_removal_meet(gain, air, outdoor, case, dry, rated, removal, slope, at):
    terms = (gain, air, outdoor, case, dry, rated, removal, slope, at)
    expr = space(*terms[:6]).settled(removal, slope, at)
    assert plain(expr) == pytest.approx(bisected(*terms), rel=1e-8, abs=1e-9)


def test_net_gain_by_hand():
    """1 g/s of people and 0.5 kg/s of air 5 g/kg damper than the space, less half of a 2 g/s case's credit."""
    halfway = (DRY + RATED) / 2
    gain = plain(space(0.001, 0.5, halfway + 0.005, 0.002).net_gain(halfway))
    assert gain == pytest.approx(0.001 + 0.0025 - 0.001)


def test_without_gains_it_is_as_humid_as_outdoors():
    settled = space(0, 1e-6, 0.012, 0).settled(0.0, 0.0, 0.009)
    assert plain(settled) == pytest.approx(0.012)


def test_credit_of_cases():
    """Nothing below the dry point, all at the rating ambient (24 degC, 55 % [AHRI 1200]), never more than the most."""
    credit = [plain(space(0, 1, 0, 0.01).case_credit(w)) for w in (0.001, RATED, 0.03)]
    assert credit == pytest.approx([0, 0.01, 0.01 * CASE_MOST])
