"""A direct-expansion unit that cools and dries outdoor air to a wanted humidity, its compressor following the load.

The deep coil leaves the air saturated at the wanted dew point. Power is a fraction of Carnot between the refrigerant's
two temperatures. Figures are of ordinary air-cooled units (common practice, no source); the seasonal moisture removal
they give is checked in the tests.
"""

from dataclasses import dataclass
from functools import cache

from screener.formula import Number, Sheet, at_least, plain
from screener.physics import psychrometrics as air

COLDEST_SUPPLY_C = 4.0  # dew point below which such a coil frosts, practice
EVAPORATOR_APPROACH_K = 7.0  # leaving air above evaporating refrigerant, practice
CONDENSER_APPROACH_K = 14.0  # condensing refrigerant above outdoor air, practice
CONDENSING_FLOOR_C = 32.0  # head-pressure control, practice
CARNOT_FRACTION = 0.45  # compressor and condenser fan, practice
RATED_SUPPLY_C = 12.8  # 55 F dew point
RATING_STATES = (  # outdoor dry-bulb, wet-bulb [degC], weight: 95/78, 80/73, 70/66, 63/59 F [federal rule of 2022, memory]
    (35.0, 25.6, 0.14),
    (26.7, 22.8, 0.34),
    (21.1, 18.9, 0.39),
    (17.2, 15.0, 0.13),
)


@dataclass(frozen=True)
class Treated:
    """The air a unit supplies."""

    leaving_c: Number
    leaving_c_per_humidity: Number  # [K per kg/kg]


def treat(sheet: Sheet, leaving_w: Number, pressure_pa: Number) -> Treated:
    """Cool air down to saturation at `leaving_w`: dew point by Magnus' formula and one Newton step on eq. 6 of ASHRAE
    Fundamentals 2017 ch. 1, together within 0.002 K.

    For example, saturated air of 8.1 g/kg is at 10.9 degC:

    >>> from screener.worksheet import Worksheet
    >>> sheet = Worksheet()
    >>> _ = treat(sheet, 0.0081, 101325.0)
    >>> round(sheet.of_one()["leaving_c"], 1)
    10.9
    """
    vapour = sheet.let("leaving_vapour_pa", air.vapour_pressure(leaving_w, pressure_pa), "at the wanted humidity")
    guess = sheet.let("leaving_guess_c", air.dew_point_guess(vapour), "dew point by Magnus' formula")
    slope = sheet.let("leaving_log_slope", air.saturation_log_slope(guess))
    over = air.saturation_pressure_over_water(guess) / vapour - 1  # small, so ln(1 + over) is near enough over
    leaving = sheet.let("leaving_c", guess - over / slope, "saturated at the supply dew point")
    per_w = sheet.let(
        "leaving_c_per_humidity",
        1 / (leaving_w * (1 + leaving_w / air.MASS_RATIO) * slope),
        "how the dew point moves with the humidity",
    )
    return Treated(leaving, per_w)


def compressor_w(cooling_w: Number, leaving_c: Number, outdoor_c: Number, carnot_fraction: Number) -> Number:
    """Compressor and condenser fan [W] for this duty; `carnot_fraction` is CARNOT_FRACTION unless a rating tells.

    For example, 20 kW from 12.8 degC air to 35 degC weather: lift 43.2 K:

    >>> round(compressor_w(20_000.0, 12.8, 35.0, 0.45))
    6883
    """
    evaporating = leaving_c - EVAPORATOR_APPROACH_K
    condensing = at_least(outdoor_c + CONDENSER_APPROACH_K, CONDENSING_FLOOR_C)
    return cooling_w * (condensing - evaporating) / (carnot_fraction * (evaporating + air.ZERO_C_K))


@cache
def seasonal_kg_kwh(carnot_fraction: float) -> float:
    """Water per kWh of compressor and condenser fan over the four rating states, supply saturated at 12.8 degC.

    For example, federal levels are 1.7-2.3 kg/kWh, from memory:

    >>> round(seasonal_kg_kwh(0.45), 2)
    2.63
    """
    pressure, leaving, seasonal = air.STANDARD_PRESSURE_PA, RATED_SUPPLY_C, 0.0
    for outdoor_c, wet_bulb_c, weight in RATING_STATES:
        w_in = air.humidity_ratio_from_wet_bulb(outdoor_c, wet_bulb_c, pressure)
        w_out = air.humidity_ratio_from_dew_point(leaving, pressure)
        duty = air.enthalpy(outdoor_c, w_in) - air.enthalpy(leaving, w_out)
        power = compressor_w(duty, leaving, outdoor_c, carnot_fraction)
        seasonal += plain((w_in - w_out) / power) * 3.6e6 * weight
    return seasonal
