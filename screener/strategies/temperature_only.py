"""Temperature control alone: the coil runs for the thermostat, and the humidity settles where it will. The reference.

Net gain falls with humidity and the coil's removal rises with it, so there is one humidity at which they meet. The
coil's tangents give a first guess of it; the coil solved there a second one, a few millionths off, where it is solved
once more, and its straight line through that point is met with the gain exactly, so the moisture balance closes to
rounding error.
"""

from screener.contracts.hour import COIL, PART_LOAD, REFERENCE, SPACE
from screener.formula import Number, at_least, at_most, col
from screener.physics import cooling_coil
from screener.physics import psychrometrics as air
from screener.strategies import installed
from screener.strategies.resting import RESTING, Resting
from screener.strategies.strategy import Outcome, Strategy, as_installed, nothing
from screener.worksheet import Worksheet

NAME = REFERENCE


def damp_hour(sheet: Worksheet) -> Outcome:
    """Any hour, damp or not: run for the sensible load and float."""
    cooling_c = col("cooling_setpoint_c")
    of_supply = at_most(col("ventilation_now_kg_s") / col("supply_kg_s"), 1.0)
    sheet.let("outdoor_share", of_supply * col("ventilation_heat_left"), "ventilation air in the supply air")
    sheet.let("outdoor_water_share", of_supply * col("ventilation_water_left"), "and as far as it wets")
    load = sheet.let("cooling_load_w", at_least(col("sensible_at_cooling_w"), 0.0), "what the thermostat calls for")
    own = sheet.section(NAME)
    fog = col("saturated_at_cooling")
    guess = own.let("guess_humidity_ratio", at_most(_first_guess(own, load), fog), "on the coil's tangents")
    near = own.section("near")
    guessed = installed.coil_at(near, cooling_c, guess)
    share = PART_LOAD.latent_fraction(guessed.run_fraction_for(load))
    first = SPACE.settled(share * guessed.moisture_kg_s, share * guessed.moisture_slope, guess)
    first = own.let("first_humidity_ratio", at_most(first, fog), "where gain and removal meet, roughly")
    coil = installed.coil_at(own.section("coil"), cooling_c, first)
    installed.show_coil(sheet, coil.state, COIL, coil.entering_c, coil.entering_humidity_ratio)
    run_fraction = own.let("run_fraction", coil.run_fraction_for(load), "part of the hour the coil runs")
    latent_fraction = own.let(
        "latent_fraction",
        PART_LOAD.latent_fraction(run_fraction),
        "its water in full-run hours, less what re-evaporates",
    )
    removal = own.let("removal_kg_s", latent_fraction * coil.moisture_kg_s, "water it takes there")
    slope = own.let("removal_slope", latent_fraction * coil.moisture_slope, "with the humidity of the space")
    humidity, takes, condenses = installed.settle(own, SPACE, removal, slope, first)
    heating = own.let("heating_needed_w", at_least(-col("sensible_at_heating_w"), 0.0), "below the heating set point")
    cooling = own.let("cooling_w", coil.cooling_w(run_fraction, latent_fraction), "sensible cooling delivered")
    if Resting(coil, first, humidity, run_fraction, latent_fraction, removal, slope, cooling, heating) != RESTING:
        raise ValueError("temperature control alone hands on other steps than strategies read")
    return Outcome(
        space_c=installed.floating_c(-cooling),
        humidity_ratio=humidity,
        coil_sensible_w=cooling,
        coil_kg_s=takes,
        condenses_kg_s=condenses,
        compressor_w=installed.compressor_power(coil.state.power_w, run_fraction),
        fans_w=installed.fan_power(run_fraction),
        heating_w=heating,
        heating_electricity_w=installed.heating_electricity(heating),
        heating_fuel_w=installed.heating_fuel(heating),
        unmet_cooling_w=load - cooling,
    )


def _first_guess(own: Worksheet, load: Number) -> Number:
    """The settled humidity with the coil's tangents instead of the coil."""
    share, wet_share = col("outdoor_share"), col("outdoor_water_share")
    limit, cooling_c = col("limit_humidity_ratio"), col("cooling_setpoint_c")
    rough = own.section("rough")
    t_in = rough.let("entering_c", cooling_c + share * (col("outdoor_c") - cooling_c))
    w_in = rough.let("entering_humidity_ratio", limit + wet_share * (col("outdoor_humidity_ratio") - limit))
    sensible, moisture, slope = cooling_coil.rough(rough, COIL, t_in, w_in, col("outdoor_c"))
    latent = at_least(moisture, 0.0) * air.EVAPORATION_J_KG
    run_fraction = PART_LOAD.run_fraction_for_cooling(load, at_least(sensible, installed.TINY_W), latent)
    run_fraction = rough.let("run_fraction", at_most(run_fraction, 1.0), "part of the hour the coil would run")
    latent_fraction = rough.let(
        "latent_fraction",
        PART_LOAD.latent_fraction(run_fraction),
        "its water in full-run hours, less what re-evaporates",
    )
    removal = rough.let("removal_kg_s", latent_fraction * moisture, "water it would take at the limit")
    slope = rough.let("removal_slope", latent_fraction * slope * (1 - wet_share), "with the humidity of the space")
    return SPACE.settled(removal, slope, limit)


STRATEGY = Strategy(
    name=NAME,
    summary="no humidity control: the coil runs for the thermostat and humidity floats",
    ventilation=None,
    own_fan=None,
    resists=None,
    rate=as_installed,
    damp_hour=damp_hour,
    standby=nothing,
    device=None,
    needs=(),
    unavailable=None,
    note=None,
    sets=None,
)
