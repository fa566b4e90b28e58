"""A device that dries the air of the space and leaves its heat there, sharing the water with the installed coil.

Every kilogram it takes adds a = heat per kilogram to the space, which the coil cools away, drying with it. Three cases:

- the space needs heat even with the device running: it takes everything, its heat replaces heating;
- the space needs cooling: it takes Md = needed - water the coil removes at a cooling of S + a Md. That water is the largest
  of zero and a few straight lines of the cooling, so Md is the smallest of as many roots;
- between: it takes everything and its heat only warms the space towards the cooling set point.
"""

from dataclasses import dataclass, fields, replace

from screener.contracts.hour import COIL, PART_LOAD, SPACE
from screener.formula import Formula, Number, Truth, at_least, between, col, smaller, when
from screener.physics import part_load_moisture
from screener.physics import psychrometrics as air
from screener.physics.cooling_coil import CoilState
from screener.strategies import installed
from screener.strategies.resting import RESTING
from screener.strategies.strategy import Outcome
from screener.worksheet import Worksheet


@dataclass(frozen=True)
class Drier:
    """Water it can take [kg/s] and heat it leaves per kilogram [J/kg], at the cooling and at the heating set point."""

    most_at_cooling: Number
    heat_at_cooling: Number
    most_at_heating: Number
    heat_at_heating: Number


@dataclass(frozen=True)
class Shared:
    """The hour before anyone has said what the device's energy is; `cold` where it runs at the heating set point.

    `outcome` is that of temperature control where the device would not help; its `device_kg_s` is zero there. `runs` is
    the part of the hour the installed coil runs, `coil` its state then.
    """

    outcome: Outcome
    cold: Truth
    run_fraction: Number
    coil: CoilState


def share(sheet: Worksheet, own: Worksheet, device: Drier) -> Shared:
    """Split the water between the device and the coil, and settle the hour. `own` holds the device's steps."""
    c = col
    needed, at_cooling = c("moisture_at_limit_kg_s"), c("sensible_at_cooling_w")
    most, cold_most = (smaller(needed, able) for able in (device.most_at_cooling, device.most_at_heating))
    cold = own.let(
        "space_cold", c("sensible_at_heating_w") + cold_most * device.heat_at_heating <= 0, "still needs heat"
    )
    warm = own.let(
        "space_warm", at_cooling + most * device.heat_at_cooling > 0, "needs cooling with the device running"
    )

    first, limit, latent_fraction = RESTING.first_humidity_ratio, c("limit_humidity_ratio"), RESTING.latent_fraction
    limited = installed.coil_at(sheet.section("coil_at_limit"), c("cooling_setpoint_c"), limit)
    short = needed > most + latent_fraction * limited.moisture_kg_s
    takes, per_humidity = latent_fraction * limited.moisture_kg_s, latent_fraction * limited.moisture_slope
    settles = SPACE.less(most).settled(takes, per_humidity, limit)
    settles = own.let("settles_humidity_ratio", settles, "roughly, where it is short")
    short = own.let(
        "short", short & (2 * settles > first + limit), "too small by far: the coil as it is without device"
    )

    def either(resting: Number, at_limit: Number) -> Formula:
        """The installed coil solved at the limit, or where temperature control alone leaves the space."""
        return when(short).then(resting).otherwise(at_limit)

    coil_w = own.let(
        "coil_sensible_full_w", either(RESTING.coil.sensible_w, limited.sensible_w), "installed coil at full run"
    )
    near = when(short).then(first).otherwise(limit)
    near = own.let("near_humidity_ratio", near, "where the coil is solved: at the limit, or where it cannot be held")
    slope = own.let("coil_slope", either(RESTING.coil.moisture_slope, limited.moisture_slope))
    at_near = own.let(
        "coil_kg_s_full", either(RESTING.coil.moisture_kg_s, limited.moisture_kg_s), "water it takes at full run"
    )
    at_limit = at_least(at_near - slope * (near - limit), 0.0)
    at_limit = own.let("coil_at_limit_kg_s", at_limit, "and at the limit")
    latent = own.let("coil_latent_full_w", at_near * air.EVAPORATION_J_KG)

    states = (RESTING.coil.state, limited.state)
    coil = CoilState(**{f.name: either(*(getattr(state, f.name) for state in states)) for f in fields(CoilState)})
    entering_c = either(RESTING.coil.entering_c, limited.entering_c)
    entering_w = either(RESTING.coil.entering_humidity_ratio, limited.entering_humidity_ratio)
    installed.show_coil(sheet, coil, COIL, entering_c, entering_w)
    # at the bounds between units the water is a straight line of the cooling: how many run through follows from it
    heat_per_kg = device.heat_at_cooling
    unit_w, unit_kg_s = coil_w / PART_LOAD.units, at_limit / PART_LOAD.units
    through = PART_LOAD.through((needed * heat_per_kg + at_cooling) / (unit_w + unit_kg_s * heat_per_kg))
    through = own.let("units_through", through, "units of the installed plant that run without pause")
    rest_kg_s = own.let("rest_kg_s", needed - through * unit_kg_s, "water left to the unit that cycles and the device")
    rest_w = own.let("rest_w", at_cooling - through * unit_w, "cooling, without the device's heat, left to that unit")
    roots = [rest_kg_s]
    for number, (per_w, offset) in enumerate(PART_LOAD.water_of_cooling(coil_w, latent, at_limit)):
        per_w = own.let(f"water_per_w_{number}", per_w, "water that unit takes per watt of cooling")
        roots.append((rest_kg_s - offset - per_w * rest_w) / (1 + per_w * heat_per_kg))
    shared = at_least(smaller(*roots), needed - at_limit)
    shared = between(shared, 0.0, device.most_at_cooling)
    takes = when(cold).then(cold_most).when(warm).then(shared).otherwise(most)
    takes = own.let("takes_kg_s", takes, "water the device takes")
    per_kg = when(cold).then(device.heat_at_heating).otherwise(device.heat_at_cooling)
    heat = own.let("heat_w", takes * per_kg, "heat it leaves in the space")

    load = own.let("cooling_load_w", at_least(at_cooling + heat, 0.0), "left to the installed coil")
    run_fraction = own.let("run_fraction", PART_LOAD.run_fraction_for_cooling(load, coil_w, latent), "before its limit")
    run_fraction = own.let(
        "run_fraction_at_most_1", smaller(run_fraction, 1.0), "part of the hour the installed coil runs"
    )
    latent_fraction = own.let(
        "latent_fraction",
        PART_LOAD.latent_fraction(run_fraction),
        "its water in full-run hours, less what re-evaporates",
    )
    cooling = own.let(
        "cooling_w",
        part_load_moisture.delivered_w(run_fraction, latent_fraction, coil_w, latent),
        "sensible cooling delivered",
    )
    humidity, removes, condenses = installed.settle(
        own, SPACE.less(takes), latent_fraction * at_near, latent_fraction * slope, near
    )
    heating = own.let("heating_needed_w", at_least(-c("sensible_at_heating_w") - heat, 0.0), "after the device's heat")
    # only where the coil is far too small can its warmer, damper run cost more water than the device takes
    helps = own.let("helps", RESTING.drier(humidity), "the device runs")
    running = Outcome(
        space_c=installed.floating_c(heat - cooling),
        humidity_ratio=humidity,
        coil_sensible_w=cooling,
        coil_kg_s=removes,
        condenses_kg_s=condenses,
        compressor_w=installed.compressor_power(coil.power_w, run_fraction),
        fans_w=installed.fan_power(run_fraction),
        heating_w=heating,
        heating_electricity_w=installed.heating_electricity(heating),
        heating_fuel_w=installed.heating_fuel(heating),
        unmet_cooling_w=load - cooling,
        device_kg_s=takes,
        device_heat_w=heat,
    )
    outcome = RESTING.unless(helps, running)
    takes = own.let("device_takes_kg_s", outcome.device_kg_s, "nothing where it would not help")
    return Shared(replace(outcome, device_kg_s=takes), cold, run_fraction, coil)
