"""A standalone vapour-compression dehumidifier in the space: water per hour and water per kWh away from its rating.

Generic biquadratic in dry-bulb T [degC] and relative humidity R [%], a + bT + cT2 + dR + eR2 + fTR, one for the water
removed and one for the energy factor (from memory, attribution not confirmed), each divided by its value at
26.7 degC / 60 % so that it is one there. A rating declared at another state is carried over with the same curves.
Valid for 10-35 degC and 30-90 %; outside, the nearest state inside is used.
"""

from screener.formula import Number, Truth, between

RATING_C = 26.7  # former rating state of portable units, 80 F / 60 % [10 CFR 430 appendix X]
RATING_RH_PCT = 60.0
VALID_C = (10.0, 35.0)
VALID_RH_PCT = (30.0, 90.0)
FROST_C = 18.0  # below it the evaporator of an ordinary unit frosts, common practice, no source

_WATER = (-1.162525707, 0.02271469, -0.000113208, 0.021110538, -6.93034e-5, 0.000378843)
_ENERGY_FACTOR = (-1.902154518, 0.063466565, -0.000622839, 0.039540407, -0.000125637, -0.000176722)


def relative_water(dry_bulb_c: Number, rh_pct: Number) -> Number:
    """Water removed per hour over that at 26.7 degC / 60 %.

    For example, 80 to 65 F: 0.60-0.71 of the water [checks of published products]:

    >>> round(relative_water(18.3, 60.0), 2)
    0.66
    """
    return _relative(_WATER, dry_bulb_c, rh_pct)


def relative_energy_factor(dry_bulb_c: Number, rh_pct: Number) -> Number:
    """Litres per kWh over those at 26.7 degC / 60 %.

    >>> round(relative_energy_factor(21.1, 50.0), 2)
    0.65
    """
    return _relative(_ENERGY_FACTOR, dry_bulb_c, rh_pct)


def is_valid(dry_bulb_c: Number, rh_pct: Number) -> Truth:
    """Whether the curves hold at this state.

    >>> is_valid(21.0, 50.0), is_valid(8.0, 50.0)
    (True, False)
    """
    (coldest, hottest), (driest, dampest) = VALID_C, VALID_RH_PCT
    within = (dry_bulb_c >= coldest) & (dry_bulb_c <= hottest)
    return within & (rh_pct >= driest) & (rh_pct <= dampest)


def _relative(c: tuple[float, ...], dry_bulb_c: Number, rh_pct: Number) -> Number:
    t = between(dry_bulb_c, *VALID_C)
    r = between(rh_pct, *VALID_RH_PCT)
    curve = c[0] + t * (c[1] + t * c[2]) + r * (c[3] + r * c[4]) + c[5] * t * r
    t0, r0 = RATING_C, RATING_RH_PCT
    at_rating = c[0] + t0 * (c[1] + t0 * c[2]) + r0 * (c[3] + r0 * c[4]) + c[5] * t0 * r0
    return curve / at_rating
