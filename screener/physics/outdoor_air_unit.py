"""A direct-expansion unit that cools and dries outdoor air to a wanted humidity, its compressor following the load.

The deep coil leaves the air saturated at the wanted dew point. Power is a fraction of Carnot between the refrigerant's
two temperatures, and a little more at part load. The fraction is the one with which a plain unit, its supply fan included,
just reaches the federal minimum of 3.8 lb of water per kWh over the season (ISMRE2, air-cooled without energy recovery, 10 CFR
431 appendix B to subpart F of 2022, from memory); with a wheel the same compressor comes to 5.4, where 5.0 is the minimum.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from screener.formula import Number, Sheet, at_least, larger, plain
from screener.physics import enthalpy_wheel
from screener.physics import psychrometrics as air

EVAPORATOR_APPROACH_K = 7.0  # leaving air above evaporating refrigerant, practice
COLDEST_SUPPLY_C = (
    7.0  # dew point at which the refrigerant is at 0 degC: with colder, frost grows on the coil (practice)
)
CONDENSER_APPROACH_K = 14.0  # condensing refrigerant above outdoor air, practice
CONDENSING_FLOOR_C = 32.0  # head-pressure control, practice
REHEATING_FLOOR_C = (
    38.0  # while the condenser's heat warms the supply: 12 K above neutral air, common practice, no source
)
CYCLING_LOSS = 0.13  # power at no load more than its share: AHRI 340/360, 1.13 - 0.13 load factor (from memory)
FAN_W_L_S = 0.9  # 250 Pa of coils and filters, 250 Pa of ducts, at 55 % fan efficiency, common practice, no source
CARNOT_FRACTION = 0.343  # compressor and condenser fan: 3.8 lb/kWh with the supply fan, see above
MINIMUM_KG_KWH = 3.8 * 0.45359237  # ISMRE2 of air-cooled units without recovery, from memory
RATED_SUPPLY_C = 12.8  # 55 F dew point
RATED_RETURN_C, RATED_RETURN_WET_BULB_C = 23.9, 16.9  # 75/62.5 F, the exhaust that a wheel meets (from memory)
RATING_STATES = (  # outdoor dry-bulb, wet-bulb [degC], weight: 95/78, 80/73, 70/66, 63/59 F [federal rule of 2022, memory]
    (35.0, 25.6, 0.14),
    (26.7, 22.8, 0.34),
    (21.1, 18.9, 0.39),
    (17.2, 15.0, 0.13),
)
AIR_KG_L = 1.2e-3  # standard air, in which flows of a rating are counted
NEWTON_STEPS = 6


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


def compressor_w(
    cooling_w: Number,
    leaving_c: Number,
    outdoor_c: Number,
    carnot_fraction: Number,
    load: Number = 1.0,
    floor_c: Number = CONDENSING_FLOOR_C,
) -> Number:
    """Compressor and condenser fan [W] for this duty; `carnot_fraction` is CARNOT_FRACTION unless a rating tells.

    `load` is the part of the unit's capacity it works at, `floor_c` the condensing temperature it holds at least.

    For example, 20 kW from 12.8 degC air to 35 degC weather: lift 43.2 K:

    >>> round(compressor_w(20_000.0, 12.8, 35.0, 0.45))
    6883
    """
    evaporating = leaving_c - EVAPORATOR_APPROACH_K
    condensing = larger(outdoor_c + CONDENSER_APPROACH_K, floor_c)
    carnot = (condensing - evaporating) / (evaporating + air.ZERO_C_K)
    return cooling_w * carnot / carnot_fraction * (1 + CYCLING_LOSS * (1 - load))


def seasonal_kg_kwh(
    carnot_fraction: Number, sensible: Number = 0.0, latent: Number = 0.0, fan_w_l_s: float = FAN_W_L_S
) -> Number:
    """Water per kWh of compressor, condenser fan and supply fan over the four rating states, supply saturated at 12.8 degC
    and not reheated: the figure that a unit is rated by. `sensible`, `latent`: effectiveness of its wheel, if it has one.

    For example, the federal minimum of a plain unit, and what Carnot himself would reach:

    >>> round(seasonal_kg_kwh(CARNOT_FRACTION), 2), round(MINIMUM_KG_KWH, 2), round(seasonal_kg_kwh(1.0), 1)
    (1.72, 1.72, 4.3)
    """
    seasonal: Number = 0.0
    for water, carnot_w, fan_w in _rating_states(sensible, latent, fan_w_l_s):
        seasonal = seasonal + water * carnot_fraction / (carnot_w + fan_w * carnot_fraction)
    return seasonal


def fraction_of_carnot(
    rated_kg_kwh: Number, sensible: Number = 0.0, latent: Number = 0.0, fan_w_l_s: float = FAN_W_L_S
) -> Number:
    """The fraction of Carnot with which a unit reaches its seasonal figure: `seasonal_kg_kwh` turned round.

    Newton's steps from below; the figure rises ever less steeply with the fraction, so none overshoots.

    >>> round(fraction_of_carnot(seasonal_kg_kwh(0.4)), 4)
    0.4
    """
    states = [*_rating_states(sensible, latent, fan_w_l_s)]
    fraction: Number = rated_kg_kwh / _summed([water / carnot_w for water, carnot_w, _ in states])
    for _ in range(NEWTON_STEPS):
        totals = [(water, carnot_w, carnot_w + fan_w * fraction) for water, carnot_w, fan_w in states]
        reached = _summed([water * fraction / total for water, _, total in totals])
        slope = _summed([water * carnot_w / (total * total) for water, carnot_w, total in totals])
        fraction = fraction + (rated_kg_kwh - reached) / slope
    return fraction


def _summed(numbers: list[Number]) -> Number:
    total: Number = 0.0
    for number in numbers:
        total = total + number
    return total


def _rating_states(sensible: Number, latent: Number, fan_w_l_s: float) -> Iterator[tuple[Number, Number, Number]]:
    """Per rating state and kilogram of air a second: weighted water [kg/kWh times W], power of Carnot [W], fan [W]."""
    pressure, leaving = air.STANDARD_PRESSURE_PA, RATED_SUPPLY_C
    w_out = plain(air.humidity_ratio_from_dew_point(leaving, pressure))
    exhaust = RATED_RETURN_C, plain(air.humidity_ratio_from_wet_bulb(RATED_RETURN_C, RATED_RETURN_WET_BULB_C, pressure))
    most = 0.0
    for outdoor_c, wet_bulb_c, weight in RATING_STATES:
        w_in = plain(air.humidity_ratio_from_wet_bulb(outdoor_c, wet_bulb_c, pressure))
        most = most or w_in - w_out  # full load is the first state
        turns = plain(air.enthalpy(outdoor_c, w_in)) > plain(air.enthalpy(*exhaust))
        at_coil_c = enthalpy_wheel.after(outdoor_c, exhaust[0], sensible) if turns else outdoor_c
        at_coil_w = enthalpy_wheel.after(w_in, exhaust[1], latent) if turns else w_in
        duty = air.enthalpy(at_coil_c, at_coil_w) - air.enthalpy(leaving, w_out)
        carnot_w = compressor_w(at_least(duty, 0.0), leaving, outdoor_c, 1.0, (w_in - w_out) / most)
        yield (w_in - w_out) * 3.6e6 * weight, carnot_w, fan_w_l_s / AIR_KG_L
