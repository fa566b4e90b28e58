"""A dehumidifier standing in the space: it takes the water the coil leaves, and leaves its heat in the space.

Every kilogram it takes adds a = heat of evaporation + electricity to the space. With lam kilograms of water removed by
the coil per joule of cooling, three cases, each closed form:

- the space needs heat even with the unit running: the unit takes everything, its heat replaces heating;
- the space needs cooling: Md = (needed - lam S) / (1 + lam a), the coil cools the unit's heat away and dries with it;
- between: the unit takes everything and its heat only warms the space towards the cooling set point.
"""

import polars as pl

from screener.bounds import at_least, at_most, between
from screener.hour import SPACE
from screener.physics import psychrometrics as air
from screener.strategies import installed, temperature_only
from screener.strategies.strategy import Outcome, Strategy
from screener.worksheet import Worksheet


def damp_hour(sheet: Worksheet) -> Outcome:
    """Unit and coil share the water; the unit's heat is cooled away, or heats, or drifts.

    Capacity and litres per kWh come from the site's table at both set points (`device_*_at_cooling`, `_at_heating`).
    """
    own = sheet.section("standalone_dehumidifier.damp")
    c = pl.col
    needed, at_cooling = c("moisture_at_limit_kg_s"), c("sensible_at_cooling_w")
    most = pl.min_horizontal(needed, c("device_kg_s_at_cooling"))
    heat_per_kg = air.EVAPORATION_J_KG + c("device_j_kg_at_cooling")
    cold_most = pl.min_horizontal(needed, c("device_kg_s_at_heating"))
    cold_heat_per_kg = air.EVAPORATION_J_KG + c("device_j_kg_at_heating")
    cold = own.let("space_cold", c("sensible_at_heating_w") + cold_most * cold_heat_per_kg <= 0, "still needs heat")
    warm = own.let("space_warm", at_cooling + most * heat_per_kg > 0, "needs cooling with the unit running")

    installed.coil_at(sheet.section("coil_at_limit"), c("cooling_setpoint_c"), c("limit_humidity_ratio"))
    short = own.let("short", needed > most + c("temperature_only.runs") * c("coil_at_limit.moisture_kg_s"), "too small")
    coil_w = own.let("coil_sensible_full_w", _either(short, "net_sensible_w"), "installed coil at full run")
    near = pl.when(short).then(c("temperature_only.first_humidity_ratio")).otherwise(c("limit_humidity_ratio"))
    near = own.let("near_humidity_ratio", near, "where the coil is solved: at the limit, or where it cannot be held")
    slope = own.let("coil_slope", _either(short, "moisture_slope_in_space"))
    at_near = own.let("coil_kg_s_full", _either(short, "moisture_kg_s"), "water it takes at full run")
    at_limit = at_least(at_near - slope * (near - c("limit_humidity_ratio")), 0.0)
    lam = own.let("water_per_heat_kg_j", at_limit / coil_w, "water the coil takes per joule of cooling")

    shared = pl.max_horizontal((needed - lam * at_cooling) / (1 + lam * heat_per_kg), needed - at_limit)
    shared = between(shared, 0.0, c("device_kg_s_at_cooling"))
    device = own.let(
        "takes_kg_s",
        pl.when(cold).then(cold_most).when(warm).then(shared).otherwise(most),
        "water the unit takes",
    )
    j_kg = own.let(
        "j_kg",
        pl.when(cold).then(c("device_j_kg_at_heating")).otherwise(c("device_j_kg_at_cooling")),
        "electricity per kilogram",
    )
    heat = own.let("heat_w", device * (air.EVAPORATION_J_KG + j_kg), "heat it leaves in the space")
    load = at_least(at_cooling + heat, 0.0)
    runs = own.let("runs", at_most(load / coil_w, 1.0), "part of the hour the installed coil runs")
    cooling = own.let("cooling_w", runs * coil_w, "sensible cooling delivered")
    settled = SPACE.less(device).settled(runs * at_near, runs * slope, near)
    humidity = own.let("settled_humidity_ratio", settled, "the limit, if both keep up")
    heating = own.let("heating_needed_w", at_least(-c("sensible_at_heating_w") - heat, 0.0), "after the unit's heat")
    # only where the coil is far too small can its warmer, damper run cost more water than the unit takes
    helps = own.let("helps", humidity < c(f"{temperature_only.NAME}.humidity_ratio"), "the unit runs")
    running = Outcome(
        space_c=installed.floating_c(heat - cooling),
        humidity_ratio=humidity,
        coil_sensible_w=cooling,
        coil_kg_s=at_least(runs * (at_near + slope * (humidity - near)), 0.0),
        compressor_w=installed.compressor_power(_either(short, "power_w"), runs),
        fans_w=installed.fan_power(runs),
        heating_w=heating,
        heating_electricity_w=installed.heating_electricity(heating),
        heating_fuel_w=installed.heating_fuel(heating),
        unmet_cooling_w=load - cooling,
        device_kg_s=device,
        device_heat_w=heat,
        dehumidifier_w=device * j_kg,
    )
    return temperature_only.unless(helps, running)


def _either(short: pl.Expr, what: str) -> pl.Expr:
    """The installed coil solved at the limit, or where temperature control alone leaves the space."""
    return (
        pl.when(short).then(pl.col(f"{temperature_only.NAME}.coil.{what}")).otherwise(pl.col(f"coil_at_limit.{what}"))
    )


STRATEGY = Strategy(
    name="standalone_dehumidifier",
    summary="a dehumidifier in the space; its heat stays there",
    damp_hour=damp_hour,
    has_device=True,
)
