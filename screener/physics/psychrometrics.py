"""Moist air: saturation, humidity ratio, enthalpy, dew point, density.

Source of every formula unless another stands beside it: ASHRAE Handbook of Fundamentals 2017 (SI), chapter 1,
equations by number. Ideal-gas mixture; humidity ratios differ from the real-gas tables of that chapter by up to 0.5 %.

Temperatures [degC], pressures [Pa], humidity ratios [kg water / kg dry air], enthalpies [J / kg dry air],
relative humidity as a fraction. All functions take plain numbers, or formulas of a worksheet and of columns.
"""

import math

import polars as pl

from screener.formula import Number, Truth, col, exp, is_given, larger, log, polars, when

ZERO_C_K = 273.15
TRIPLE_POINT_PA = 611.65
TRIPLE_POINT_C = 0.01  # below it saturation is over ice; the switch of eq. 5 and 6
STANDARD_PRESSURE_PA = 101325.0
MASS_RATIO = 0.621945  # water to dry air, eq. 20
GAS_CONSTANT_DRY_AIR = 287.042  # [J/(kg K)], eq. 1
CP_DRY_AIR = 1006.0  # [J/(kg K)], eq. 30
CP_VAPOUR = 1860.0  # [J/(kg K)], eq. 30
LATENT_HEAT_0C = 2_501_000.0  # [J/kg], eq. 30
CP_MOIST_AIR = CP_DRY_AIR + CP_VAPOUR * 0.010  # [J/(kg K)] of dry air with 10 g/kg: ordinary indoor air
EVAPORATION_J_KG = 2.45e6  # heat of evaporation at about 20 degC, table 3
LEAST_HUMIDITY_RATIO = 1e-7  # drier air is taken for this dry: a dew point needs some water
DEW_POINT_STEPS = 3
MAGNUS_PA, MAGNUS_FACTOR, MAGNUS_C = 610.78, 17.27, 237.3  # p_ws = 610.78 exp(17.27 t/(t + 237.3)): Magnus, textbooks

_ICE = (-5.6745359e3, 6.3925247, -9.677843e-3, 6.2215701e-7, 2.0747825e-9, -9.484024e-13, 4.1635019)  # eq. 5
_WATER = (-5.8002206e3, 1.3914993, -4.8640239e-2, 4.1764768e-5, -1.4452093e-8, 0.0, 6.5459673)  # eq. 6


def _log_saturation_pressure(kelvin: Number, c: tuple[float, ...]) -> Number:
    polynomial = c[1] + kelvin * (c[2] + kelvin * (c[3] + kelvin * (c[4] + kelvin * c[5])))
    return c[0] / kelvin + polynomial + c[6] * log(kelvin)


def _log_slope(kelvin: Number, c: tuple[float, ...]) -> Number:
    polynomial = c[2] + kelvin * (2 * c[3] + kelvin * (3 * c[4] + kelvin * 4 * c[5]))
    return -c[0] / kelvin**2 + polynomial + c[6] / kelvin


def saturation_pressure(dry_bulb_c: Number) -> Number:
    """Vapour pressure at saturation [Pa], over ice below the triple point and over water above it (eq. 5, 6).

    For example, table 3 has 3169.7 Pa at 25 degC:

    >>> round(saturation_pressure(25.0))
    3169
    """
    kelvin = dry_bulb_c + ZERO_C_K
    over_ice = _log_saturation_pressure(kelvin, _ICE)
    over_water = _log_saturation_pressure(kelvin, _WATER)
    return exp(when(dry_bulb_c <= TRIPLE_POINT_C).then(over_ice).otherwise(over_water))


def saturation_pressure_over_water(dry_bulb_c: Number) -> Number:
    """Vapour pressure at saturation over liquid water [Pa] (eq. 6): for coils, whose first guesses may lie below freezing.

    >>> round(saturation_pressure_over_water(25.0))
    3169
    """
    return exp(_log_saturation_pressure(dry_bulb_c + ZERO_C_K, _WATER))


def saturation_log_slope(dry_bulb_c: Number) -> Number:
    """d ln(p_ws) / dT over liquid water [1/K] from Magnus' formula: within 0.4 % of the slope of eq. 6, 0-40 degC.

    >>> round(saturation_log_slope(20.0), 4)
    0.0619
    """
    shifted = dry_bulb_c + MAGNUS_C
    return MAGNUS_FACTOR * MAGNUS_C / (shifted * shifted)


def humidity_ratio(vapour_pressure_pa: Number, pressure_pa: Number) -> Number:
    """Humidity ratio [kg/kg] of air with this vapour pressure (eq. 20).

    >>> round(humidity_ratio(1000.0, 101325.0), 6)
    0.006199
    """
    return MASS_RATIO * vapour_pressure_pa / (pressure_pa - vapour_pressure_pa)


def vapour_pressure(humidity_ratio: Number, pressure_pa: Number) -> Number:
    """Vapour pressure [Pa] of air with this humidity ratio (eq. 20 turned round).

    >>> round(vapour_pressure(0.006199, 101325.0))
    1000
    """
    return pressure_pa * humidity_ratio / (MASS_RATIO + humidity_ratio)


def humidity_ratio_from_dew_point(dew_point_c: Number, pressure_pa: Number) -> Number:
    """Humidity ratio [kg/kg] of air with this dew point (eq. 20, 36); also the saturated humidity ratio at a temperature.

    For example, table 2 has 0.020173 at 25 degC, as a real gas:

    >>> round(humidity_ratio_from_dew_point(25.0, 101325.0), 5)
    0.02008
    """
    return humidity_ratio(saturation_pressure(dew_point_c), pressure_pa)


def humidity_ratio_from_relative_humidity(dry_bulb_c: Number, fraction: Number, pressure_pa: Number) -> Number:
    """Humidity ratio [kg/kg] at this dry-bulb and relative humidity [fraction] (eq. 12, 20).

    >>> round(humidity_ratio_from_relative_humidity(24.0, 0.55, 101325.0), 5)
    0.01024
    """
    return humidity_ratio(fraction * saturation_pressure(dry_bulb_c), pressure_pa)


def humidity_ratio_from_wet_bulb(dry_bulb_c: Number, wet_bulb_c: Number, pressure_pa: Number) -> Number:
    """Humidity ratio [kg/kg] from dry-bulb and thermodynamic wet-bulb (eq. 33 above freezing, eq. 35 below).

    Example 1 of the chapter has 0.0065, as a real gas:

    >>> round(humidity_ratio_from_wet_bulb(40.0, 20.0, 101325.0), 4)
    0.0064
    """
    saturated = humidity_ratio_from_dew_point(wet_bulb_c, pressure_pa)
    drop = dry_bulb_c - wet_bulb_c
    water = ((2501 - 2.326 * wet_bulb_c) * saturated - 1.006 * drop) / (2501 + 1.86 * dry_bulb_c - 4.186 * wet_bulb_c)
    ice = ((2830 - 0.24 * wet_bulb_c) * saturated - 1.006 * drop) / (2830 + 1.86 * dry_bulb_c - 2.1 * wet_bulb_c)
    return when(wet_bulb_c >= 0).then(water).otherwise(ice)


def relative_humidity(dry_bulb_c: Number, humidity_ratio: Number, pressure_pa: Number) -> Number:
    """Relative humidity [fraction] (eq. 12).

    >>> round(relative_humidity(40.0, 0.0065, 101325.0), 3)
    0.142
    """
    return vapour_pressure(humidity_ratio, pressure_pa) / saturation_pressure(dry_bulb_c)


def enthalpy(dry_bulb_c: Number, humidity_ratio: Number) -> Number:
    """Enthalpy [J/kg dry air], zero for dry air and liquid water at 0 degC (eq. 30).

    Example 1 of the chapter: 56.7 kJ/kg:

    >>> round(enthalpy(40.0, 0.0065))
    56980
    """
    return CP_DRY_AIR * dry_bulb_c + humidity_ratio * (LATENT_HEAT_0C + CP_VAPOUR * dry_bulb_c)


def dew_point_guess(vapour_pressure_pa: Number) -> Number:
    """Dew point above freezing [degC] from Magnus' formula turned round: within 0.3 K of eq. 6, 0-40 degC.

    >>> round(dew_point_guess(1000.0), 2)
    6.97
    """
    y = log(vapour_pressure_pa / MAGNUS_PA)
    return MAGNUS_C * y / (MAGNUS_FACTOR - y)


def dew_point(humidity_ratio: Number, pressure_pa: Number) -> Number:
    """Dew or frost point [degC]: Magnus' formula or eq. 38 as a first guess, then three Newton steps on eq. 5 and 6.

    Of formulas a long one; whole columns of a frame are for `dew_points`.

    Example 1 of the chapter, read from a chart as 7 degC:

    >>> round(dew_point(0.0065, 101325.0), 2)
    7.66
    """
    vapour = vapour_pressure(larger(humidity_ratio, LEAST_HUMIDITY_RATIO), pressure_pa)
    log_vapour, frozen = log(vapour), vapour <= TRIPLE_POINT_PA
    t = _first_dew_point(log_vapour, frozen)
    for _ in range(DEW_POINT_STEPS):
        t = _nearer_dew_point(t, log_vapour, frozen)
    return t


def dew_points(humidity_ratio: pl.Expr, pressure_pa: pl.Expr) -> pl.Expr:
    """`dew_point` of whole columns, step by step: the steps nested in one Polars expression would grow without bounds.

    >>> pl.select(dew_points(pl.lit(0.0065), pl.lit(101325.0)).round(2)).item()
    7.66
    """
    state = pl.struct(humidity_ratio.cast(pl.Float64).alias("w"), pressure_pa.cast(pl.Float64).alias("p"))
    return state.map_batches(_dew_points, return_dtype=pl.Float64)


def _dew_points(state: pl.Series) -> pl.Series:
    t, w, log_vapour, frozen = (col(name) for name in ("t", "w", "log_vapour", "frozen"))
    vapour = vapour_pressure(larger(w, LEAST_HUMIDITY_RATIO), col("p"))
    frame = state.struct.unnest().select("w", log_vapour=polars(log(vapour)), frozen=polars(vapour <= TRIPLE_POINT_PA))
    frame = frame.with_columns(t=polars(_first_dew_point(log_vapour, frozen)))
    for _ in range(DEW_POINT_STEPS):
        frame = frame.with_columns(t=polars(_nearer_dew_point(t, log_vapour, frozen)))
    return frame.select(polars(when(is_given(w)).then(t).otherwise(None))).to_series()


def _first_dew_point(log_vapour: Number, frozen: Truth) -> Number:
    log_kpa = log_vapour - math.log(1000)
    frost = 6.09 + log_kpa * (12.608 + log_kpa * 0.4959)
    return when(frozen).then(frost).otherwise(dew_point_guess(exp(log_vapour)))


def _nearer_dew_point(t: Number, log_vapour: Number, frozen: Truth) -> Number:
    kelvin = t + ZERO_C_K
    ice = (_log_saturation_pressure(kelvin, _ICE) - log_vapour) / _log_slope(kelvin, _ICE)
    water = (_log_saturation_pressure(kelvin, _WATER) - log_vapour) / _log_slope(kelvin, _WATER)
    return t - when(frozen).then(ice).otherwise(water)


def dry_bulb_from_enthalpy(enthalpy_j_kg: Number, humidity_ratio: Number) -> Number:
    """Dry-bulb [degC] of air with this enthalpy [J/kg dry air] and humidity ratio (eq. 30 turned round).

    >>> round(dry_bulb_from_enthalpy(56980.0, 0.0065), 1)
    40.0
    """
    return (enthalpy_j_kg - LATENT_HEAT_0C * humidity_ratio) / (CP_DRY_AIR + CP_VAPOUR * humidity_ratio)


def dry_air_density(dry_bulb_c: Number, humidity_ratio: Number, pressure_pa: Number) -> Number:
    """Kilograms of dry air per cubic metre of moist air [kg/m3] (eq. 26 turned round).

    Example 1 of the chapter: 0.896 m3/kg:

    >>> round(1 / dry_air_density(40.0, 0.0065, 101325.0), 3)
    0.896
    """
    kelvin = dry_bulb_c + ZERO_C_K
    return pressure_pa / (GAS_CONSTANT_DRY_AIR * kelvin * (1 + 1.607858 * humidity_ratio))


def standard_pressure(elevation_m: Number) -> Number:
    """Pressure of the standard atmosphere at an elevation [Pa] (eq. 3).

    For example, Denver, a mile up:

    >>> round(standard_pressure(1609.0))
    83431
    """
    return STANDARD_PRESSURE_PA * (1 - 2.25577e-5 * elevation_m) ** 5.2559


def elevation(pressure_pa: Number) -> Number:
    """Elevation [m] at which the standard atmosphere has this pressure (eq. 3 turned round).

    >>> round(elevation(83437.0))
    1608
    """
    return (1 - (pressure_pa / STANDARD_PRESSURE_PA) ** (1 / 5.2559)) / 2.25577e-5
