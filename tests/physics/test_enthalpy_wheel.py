"""The wheel's frost control and fans by hand."""

import pytest

from screener.formula import plain
from screener.physics import enthalpy_wheel


@pytest.mark.parametrize("outdoor_c", [-13.0, -20.0, -35.0])
def test_a_wheel_takes_no_more_from_the_exhaust_than_at_the_frost_point(outdoor_c):
    """Below about -12 degC a wheel at full effectiveness frosts (practice): slowed down, its exhaust leaves as warm."""
    inside_c, effectiveness = 21.0, 0.75
    at_frost = inside_c - effectiveness * (inside_c - enthalpy_wheel.FROST_C)
    slowed = effectiveness * plain(enthalpy_wheel.unfrosted(inside_c, outdoor_c))
    assert inside_c - slowed * (inside_c - outdoor_c) == pytest.approx(at_frost)
    assert slowed < effectiveness


def test_above_the_frost_point_nothing_is_held_back():
    assert [plain(enthalpy_wheel.unfrosted(21.0, t)) for t in (-12.0, 0.0, 21.0, 35.0)] == [1.0] * 4


def test_fans_by_hand():
    """1000 L/s at 150 Pa and 55 %: 273 W a stream; with 0.6 of it as exhaust 1.6 streams."""
    stream = 1.0 * 150 / 0.55
    assert 1000 * enthalpy_wheel.fan_w_l_s(1.0) == pytest.approx(2 * stream, rel=0.01)
    assert 1000 * enthalpy_wheel.fan_w_l_s(0.6) == pytest.approx(1.6 * stream, rel=0.01)
