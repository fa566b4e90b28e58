"""A vapour-compression dehumidifier standing in the space: it takes the water the coil leaves, and leaves its heat there.

Every kilogram it takes adds the heat of evaporation and the unit's electricity to the space.
"""

from dataclasses import replace

from screener.formula import Formula, at_least, col, first_given, opposite, when
from screener.physics import dehumidifier
from screener.physics import psychrometrics as air
from screener.strategies.in_space import Drier, share
from screener.strategies.strategy import Device, Machine, Outcome, Strategy, nothing
from screener.units import J_PER_KWH
from screener.worksheet import Worksheet

NAME = "standalone_dehumidifier"
STATES = ("cooling", "heating")  # set points at which it may run
# an efficient ducted unit at 73 F / 60 %, where such units are rated: federal minimum of the larger ones 2.4, label of good ones
# 3.3, the best published some 3.8 [10 CFR 430 appendix X1, public product lists; from memory]
USUAL_LITRES_PER_KWH, USUAL_RATING_C, USUAL_RATING_RH_PCT = 3.8, 22.8, 60.0
LEAST_RELATIVE = 1e-3  # of water and energy factor against the rating: far outside the curve
COLD_NOTE = "needs a unit that defrosts below 18 degC; its rating is carried there by a curve valid from 10 degC"
VALIDITY_NOTE = "runs outside 10-35 degC and 30-90 %, where its curve is valid; the nearest state inside is used"


def rate(own: Worksheet, machine: Machine) -> None:
    """Water and electricity at both set points, carried from the unit's rating state to the limit there."""
    rated_c = machine.figure_or("rating_dry_bulb_c", dehumidifier.RATING_C)
    rated_rh = machine.figure_or("rating_rh_pct", dehumidifier.RATING_RH_PCT)
    rated_water = own.let("rated_relative_water", dehumidifier.relative_water(rated_c, rated_rh))
    rated_factor = own.let("rated_relative_factor", dehumidifier.relative_energy_factor(rated_c, rated_rh))
    usual = USUAL_LITRES_PER_KWH / dehumidifier.relative_energy_factor(USUAL_RATING_C, USUAL_RATING_RH_PCT)
    per_kwh = first_given(machine.figure("litres_per_kwh") / rated_factor, usual)
    per_kwh = own.let("litres_per_kwh_at_curve", per_kwh, "water per kilowatt-hour where the curve is one")
    for state in STATES:
        t = col(f"{state}_setpoint_c")
        limit_rh = 100 * air.relative_humidity(t, col("limit_humidity_ratio"), col("pressure_pa"))
        rh = own.let(f"limit_rh_at_{state}_pct", limit_rh, "relative humidity of the limit at this set point")
        relative = dehumidifier.relative_water(t, rh) / rated_water
        own.let(f"relative_water_at_{state}", at_least(relative, LEAST_RELATIVE), "water against the rating")
        factor = at_least(dehumidifier.relative_energy_factor(t, rh), LEAST_RELATIVE)
        factor = per_kwh * factor
        own.let(f"litres_per_kwh_at_{state}", factor, "water per kilowatt-hour")
        own.let(f"j_kg_at_{state}", J_PER_KWH / factor, "electricity per kilogram of water")


def note() -> Formula:
    """What to know of a unit in the cold, and outside its curve."""
    inside = [dehumidifier.is_valid(col(f"{s}_setpoint_c"), col(f"{NAME}.limit_rh_at_{s}_pct")) for s in STATES]
    cold = col("heating_setpoint_c") < dehumidifier.FROST_C
    return when(cold).then(COLD_NOTE).when(opposite(inside[0] & inside[1])).then(VALIDITY_NOTE).otherwise(None)


def damp_hour(sheet: Worksheet) -> Outcome:
    """Unit and coil share the water; the unit's heat is cooled away, or heats, or drifts.

    Capacity and electricity per kilogram come from the site's table at both set points (`most_kg_s_at_*`, `j_kg_at_*`).
    """
    own = sheet.section(f"{NAME}.damp")
    at_cooling, at_heating = (col(f"{NAME}.j_kg_at_{state}") for state in STATES)
    unit = Drier(
        most_at_cooling=col(f"{NAME}.most_kg_s_at_cooling"),
        heat_at_cooling=air.EVAPORATION_J_KG + at_cooling,
        most_at_heating=col(f"{NAME}.most_kg_s_at_heating"),
        heat_at_heating=air.EVAPORATION_J_KG + at_heating,
    )
    hour = share(sheet, own, unit)
    j_kg = own.let("j_kg", when(hour.cold).then(at_heating).otherwise(at_cooling), "electricity per kilogram")
    return replace(hour.outcome, dehumidifier_w=hour.outcome.device_kg_s * j_kg)


STRATEGY = Strategy(
    name=NAME,
    summary="a dehumidifier in the space; its heat stays there",
    ventilation=None,
    own_fan=None,
    resists=None,
    rate=rate,
    damp_hour=damp_hour,
    standby=nothing,
    device=Device(
        limits={f"most_kg_s_at_{state}": col(f"{NAME}.relative_water_at_{state}") for state in STATES},
        at_design=col(f"{NAME}.relative_water_at_cooling"),
    ),
    needs=(),
    unavailable=None,
    note=note(),
    sets=None,
)
