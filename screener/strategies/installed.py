"""What is on the roof already: the site's own cooling coil, supply fan and heating, which every strategy shares."""

from collections.abc import Callable
from dataclasses import dataclass

from screener.contracts.hour import COIL, PART_LOAD
from screener.formula import Number, at_least, at_most, between, col, literal, when
from screener.physics import cooling_coil, part_load_moisture
from screener.physics import psychrometrics as air
from screener.physics.cooling_coil import CoilState, Rating
from screener.physics.moisture_balance import Space
from screener.worksheet import Process, Worksheet

TINY_W = 1e-6  # keeps a coil without capacity from dividing by zero
TINY_KG_S = 1e-12


@dataclass(frozen=True)
class RunningCoil:
    """The installed coil at full run, seen from the space at one temperature and humidity."""

    entering_c: Number
    entering_humidity_ratio: Number
    state: CoilState
    sensible_w: Number  # net of the fan's heat where the fan cycles with the compressor
    moisture_kg_s: Number
    moisture_slope: Number  # change of it with the humidity of the space [kg/s per kg/kg]
    latent_w: Number  # what its water takes to evaporate

    def run_fraction_for(self, load_w: Number) -> Number:
        """Part of the hour it has to run to deliver this sensible cooling, 1 where it cannot."""
        return at_most(PART_LOAD.run_fraction_for_cooling(load_w, self.sensible_w, self.latent_w), 1.0)

    def cooling_w(self, run_fraction: Number, latent_fraction: Number) -> Number:
        """Sensible cooling it delivers, re-evaporating water included."""
        return part_load_moisture.delivered_w(run_fraction, latent_fraction, self.sensible_w, self.latent_w)


def coil_at(
    sheet: Worksheet,
    space_c: Number,
    humidity_ratio: Number,
    outdoor_share: Number | None = None,
    run: Callable[[Worksheet, Number, Number], CoilState] | None = None,
    fan_w: Number | None = None,
) -> RunningCoil:
    """The coil with this space air entering, mixed with the hour's ventilation air (or another share of outdoor air).

    `run` works the coil out for entering temperature and humidity ratio where it is not the plain one; `fan_w` is the
    supply fan's power where it is not that of the site.
    """
    share, wet_share = col("outdoor_share"), col("outdoor_water_share")
    if outdoor_share is not None:
        share = wet_share = literal(outdoor_share)
    entering_c = space_c + share * (col("outdoor_c") - space_c)
    entering_w = humidity_ratio + wet_share * (col("outdoor_humidity_ratio") - humidity_ratio)
    t_in = sheet.let("entering_c", entering_c, "space air mixed with outdoor air")
    w_in = sheet.let("entering_humidity_ratio", entering_w, "space air mixed with outdoor air")
    if run is None:
        state = cooling_coil.run(sheet, COIL, t_in, w_in, col("outdoor_c"), col("pressure_pa"))
    else:
        state = run(sheet, t_in, w_in)
    fan_heat = (col("fan_w") if fan_w is None else fan_w) * (1 - col("fan_on"))
    net = at_least(state.sensible_w - fan_heat, TINY_W)
    return RunningCoil(
        entering_c=t_in,
        entering_humidity_ratio=w_in,
        state=state,
        sensible_w=sheet.let("net_sensible_w", net, "sensible duty less the heat of a cycling fan"),
        moisture_kg_s=state.moisture_kg_s,
        moisture_slope=sheet.let(
            "moisture_slope_in_space", state.moisture_slope * (1 - wet_share), "change with the humidity of the space"
        ),
        latent_w=state.moisture_kg_s * air.EVAPORATION_J_KG,
    )


def show_coil(
    sheet: Worksheet,
    state: CoilState,
    rating: Rating,
    entering_c: Number,
    entering_w: Number,
    fog_kg_kg: Number = 0.0,
) -> None:
    """Note the coil's states and what it does at full run, for whoever wants to check the hour by hand. `fog_kg_kg`: of the water
    taken what falls out of air that would leave above saturation; the line to the surface ends before it does."""
    flow_kg_s = rating.supply_kg_s
    w_out = entering_w - state.moisture_kg_s / flow_kg_s
    h_out = air.enthalpy(entering_c, entering_w) - state.total_w / flow_kg_s
    sheet.show(
        Process(
            "cooling coil at full run",
            sheet.show_state("coil entering", entering_c, entering_w),
            sheet.show_state("coil leaving", air.dry_bulb_from_enthalpy(h_out, w_out), w_out),
            flow_kg_s,
            state.total_w,
            state.moisture_kg_s,
            state.power_w,
            "apparatus dew point and bypass factor from the rating; power at a fraction of Carnot [cooling_coil]",
        )
    )
    surface_w = entering_w - (state.moisture_kg_s / flow_kg_s - fog_kg_kg) / rating.contact
    sheet.show_state("coil surface (apparatus dew point)", state.adp_c, surface_w)


def settle(
    own: Worksheet, space: Space, removal_kg_s: Number, slope: Number, near: Number
) -> tuple[Number, Number, Number]:
    """Humidity ratio where the space settles, water the coil takes there, and water that condenses on its surfaces.

    The coil takes `removal_kg_s` at `near` and `slope` more per unit of humidity. A space damper than fog at its cooling
    set point stays there, and the rest of its water falls out; the heat of that is not followed.
    """
    settled = own.let("settled_humidity_ratio", space.settled(removal_kg_s, slope, near), "where gain and removal meet")
    fog = col("saturated_at_cooling")
    humidity = own.let("held_humidity_ratio", at_most(settled, fog), "no damper than fog")
    takes = own.let(
        "coil_removes_kg_s", at_least(removal_kg_s + slope * (humidity - near), 0.0), "water the coil takes"
    )
    falls_out = when(settled > fog).then(space.net_gain(humidity) - takes).otherwise(0.0)
    return humidity, takes, own.let("falls_out_kg_s", falls_out, "on cold surfaces, where it would be damper than fog")


def compressor_power(full_power_w: Number, run_fraction: Number) -> Number:
    """Power of the installed plant running this fraction of the hour [W]."""
    return PART_LOAD.power_w(full_power_w, run_fraction, col("part_load_degradation"))


def fan_power(run_fraction: Number) -> Number:
    """Supply fan [W]: without pause while it runs on, else with the compressor."""
    return col("fan_w") * fan_on(run_fraction)


def fan_on(run_fraction: Number) -> Number:
    """Part of the hour the supply fan runs."""
    return col("fan_on") + (1 - col("fan_on")) * run_fraction


def sensible_at(space_c: Number) -> Number:
    """Net sensible gain of the space at this temperature [W]."""
    return col("sensible_at_cooling_w") + col("conductance_w_k") * (col("cooling_setpoint_c") - space_c)


def within_set_points(space_c: Number) -> Number:
    """As far as the two set points allow [degC]."""
    return between(space_c, col("heating_setpoint_c"), col("cooling_setpoint_c"))


def floating_c(heat_added_w: Number) -> Number:
    """Where the space settles between its two set points with this much heat added [degC]."""
    drift = (col("sensible_at_cooling_w") + heat_added_w) / col("conductance_w_k")
    return within_set_points(col("cooling_setpoint_c") + drift)


def heating_electricity(heat_w: Number) -> Number:
    """Electricity the site's heating draws for this much heat [W]."""
    return heat_w * col("heating_electric_per_heat") + beyond_racks(heat_w, 0.0)


def reheat_electricity(heat_w: Number, taken_w: Number) -> Number:
    """Electricity the site's heating source draws for this much reheat [W], beside `taken_w` that it gives already."""
    return heat_w * col("reheat_electric_per_heat") + beyond_racks(heat_w, taken_w)


def beyond_racks(heat_w: Number, taken_w: Number) -> Number:
    """Electricity more for heat beyond what the racks that heat a site can still give: by resistance. None elsewhere."""
    left = at_least(col("racks_w") - taken_w, 0.0)
    return at_least(heat_w - left, 0.0) * col("beyond_racks_per_heat")


def heating_fuel(heat_w: Number) -> Number:
    """Fuel the site's heating burns for this much heat [W]."""
    return heat_w * col("heating_fuel_per_heat")
