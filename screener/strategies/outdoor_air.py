"""A dedicated unit that cools and dries the ventilation air until it carries the moisture load of the whole space.

While the site is open it treats the outdoor air; while it is closed it recirculates space air at the same flow. The
supply humidity follows the load, down to the coldest the coil can do. Its cold air also cools the space as far as the
space wants cooling; beyond that it is reheated with the unit's own condenser heat, at most to the temperature of the
space. What the installed coil removes while it cools the rest is not asked of the unit. Its supply fan stands behind
the coil and warms the air. It takes no more water than its capacity, and none that asks for a coil so cold that it frosts.

How much cooling is left to the installed coil depends on the supply temperature, so on the supply humidity: one Newton
step on the saturation curve, the last straight line solved exactly.

Shared by the unit alone and the unit behind an enthalpy wheel, which meets the outdoor air first.
"""

from dataclasses import dataclass, replace

from screener.contracts.hour import COIL, PART_LOAD, SPACE
from screener.formula import Number, as_number, at_least, at_most, between, col, first_given, larger, smaller, when
from screener.physics import enthalpy_wheel
from screener.physics import outdoor_air_unit as unit
from screener.physics import psychrometrics as air
from screener.strategies import installed
from screener.strategies.resting import RESTING
from screener.strategies.strategy import Device, Machine, Outcome
from screener.worksheet import Process, Worksheet

LIMIT = "most_kg_s"
DEVICE = Device(limits={LIMIT: 1.0}, at_design=1.0)
LEAST_RESPONSE = 0.2  # of the water removed to what the unit takes: keeps the Newton step from running away


def rate(
    own: Worksheet, machine: Machine, sensible: Number = 0.0, latent: Number = 0.0, fan_w_l_s: float = 0.0
) -> None:
    """How good a unit's compressor is, from its rated water per kilowatt-hour or as usual, and how dry it can supply.

    `sensible`, `latent`: effectiveness of a wheel that the rating includes; `fan_w_l_s`: power of its two streams.
    """
    coldest = air.humidity_ratio_from_dew_point(unit.COLDEST_SUPPLY_C, col("pressure_pa"))
    own.let("coldest_supply_humidity_ratio", coldest, "the driest air the unit can supply")
    per_kwh = machine.figure("litres_per_kwh")
    rated = unit.fraction_of_carnot(per_kwh, sensible, latent, unit.FAN_W_L_S + fan_w_l_s)
    fraction = first_given(rated, unit.CARNOT_FRACTION)
    own.let("carnot_fraction", fraction, "rated water per kWh over that of Carnot, or as usual")


def design_flow_l_s() -> Number:
    """Air the unit handles [L/s]."""
    return col("ventilation_kg_s") / col("air_density_kg_m3") * 1000


@dataclass(frozen=True)
class Entering:
    """Air that comes to the unit, and what the coil meets behind a wheel, if there is one."""

    c: Number
    humidity_ratio: Number
    coil_c: Number
    coil_humidity_ratio: Number


def entering(own: Worksheet) -> Entering:
    """Outdoor air as far as the site is ventilated, space air for the rest: for all while it is closed."""
    share, inside_c, limit = col("ventilated"), RESTING.space_c, col("limit_humidity_ratio")
    t = own.let(
        "entering_c", inside_c + share * (col("outdoor_c") - inside_c), "outdoor air, or space air while closed"
    )
    w = own.let("entering_humidity_ratio", limit + share * (col("outdoor_humidity_ratio") - limit))
    return Entering(t, w, t, w)


def behind_wheel(own: Worksheet, name: str) -> Entering:
    """The same behind an enthalpy wheel whose other side is space air; it stands still where it would bring heat in.

    The wheel turns while the site is open and the outdoor air holds more heat, water's included, than the exhaust.
    """
    direct = entering(own)
    exhaust_c, exhaust_w = RESTING.space_c, col("limit_humidity_ratio")
    more = air.enthalpy(direct.c, direct.humidity_ratio) > air.enthalpy(exhaust_c, exhaust_w)
    turns = own.let("wheel_turns", as_number((col("open") > 0) & more), "1 where it helps")
    sensible, latent = (col(f"{name}.{kind}_effectiveness") * turns for kind in ("sensible", "latent"))
    t = own.let("behind_wheel_c", enthalpy_wheel.after(direct.c, exhaust_c, sensible), "outdoor air behind the wheel")
    w = enthalpy_wheel.after(direct.humidity_ratio, exhaust_w, latent)
    w = own.let("behind_wheel_humidity_ratio", w, "outdoor air behind the wheel")
    return Entering(direct.c, direct.humidity_ratio, t, w)


@dataclass(frozen=True)
class Fans:
    """Power of a unit's fans [W] at its design flow, and the part of it that warms the supply air."""

    power_w: Number
    heat_w: Number


def damp_hour(sheet: Worksheet, name: str, wheel: bool, fans: Fans) -> Outcome:
    """Dry the ventilation air; the installed coil, now on space air alone, cools what is left.

    The unit's fans run whenever the site is open, and their heat is among its gains; while it is closed, they run with the unit.
    """
    own = sheet.section(f"{name}.damp")
    c = col
    fan_heat = own.let("fan_heat_w", fans.heat_w - c("own_fan_now_w"), "of the supply fan, beyond what the gains have")
    flow, needed = c("ventilation_kg_s"), c("moisture_at_limit_kg_s")
    arrives = behind_wheel(own, name) if wheel else entering(own)
    t_in, w_in = arrives.c, arrives.humidity_ratio
    coldest = flow * at_least(w_in - c(f"{name}.coldest_supply_humidity_ratio"), 0.0)
    most = c(f"{name}.{LIMIT}")
    by_wheel: Number = 0.0
    if wheel:
        by_wheel = flow * (w_in - arrives.coil_humidity_ratio)
        by_wheel = own.let("wheel_kg_s", by_wheel, "water the wheel hands to the exhaust air")
    able = own.let("able_kg_s", larger(smaller(coldest, most), by_wheel), "at its coldest, and within its capacity")

    coil = _Coil(
        own,
        when(needed > able).then(_beyond(own, flow, arrives, able, fan_heat)).otherwise(c("limit_humidity_ratio")),
    )
    alone = own.let("alone_kg_s", larger(smaller(needed, able), by_wheel), "without the coil")
    first = unit.treat(own.section("alone"), w_in - alone / flow, c("pressure_pa"))
    left = own.let("left_alone_w", _left_to_the_coil(flow, t_in, first.leaving_c, fan_heat))
    share = own.let("first_share_kg_s", between(needed - coil.water(left), 0.0, able), "less what the coil removes")

    supply = own.section("supply")
    base = own.let("base_kg_s", larger(share, by_wheel)) if wheel else share
    near = supply.let("first_humidity_ratio", w_in - base / flow)
    treated = unit.treat(supply, near, c("pressure_pa"))
    # kilograms not taken leave the supply warmer, and the coil more to cool: d(left)/d(device), a straight line
    per_kg = air.CP_MOIST_AIR * treated.leaving_c_per_humidity
    more = _left_to_the_coil(flow, t_in, treated.leaving_c, fan_heat)
    left = own.let("left_w", more, "of cooling to the installed coil")
    water = own.let("coil_water_kg_s", coil.water(left), "and what it removes with that")
    response = when(water > 0).then(at_least(1 - coil.per_w * per_kg, LEAST_RESPONSE)).otherwise(1.0)
    wanted = between(share + (needed - share - water) / response, 0.0, able)
    device = own.let("takes_kg_s", larger(wanted, by_wheel) if wheel else wanted, "water the unit takes")
    leaving: Number = treated.leaving_c - treated.leaving_c_per_humidity * (device - base) / flow
    leaving = smaller(leaving, arrives.coil_c)
    by_coil = device - by_wheel
    if wheel:
        by_coil = own.let("unit_coil_kg_s", at_least(by_coil, 0.0), "water its coil takes behind the wheel")
        leaving = when(by_coil > 0).then(leaving).otherwise(arrives.coil_c)
    leaving = own.let("leaving_c", leaving, "saturated supply, before reheat")
    chilled = flow * air.CP_MOIST_AIR * (t_in - leaving) - fan_heat
    chilled = own.let(
        "chilled_w", chilled, "sensible heat taken from the air, less that of a fan the gains do not have"
    )
    duty = flow * air.CP_MOIST_AIR * (arrives.coil_c - leaving)
    duty = own.let("duty_w", duty + by_coil * (air.LATENT_HEAT_0C + air.CP_VAPOUR * arrives.coil_c), "of its coil")
    surplus = own.let(
        "surplus_w", at_least(chilled - c("sensible_at_heating_w"), 0.0), "heat to hold the heating set point"
    )
    to_neutral = at_least(flow * air.CP_MOIST_AIR * (c("heating_setpoint_c") - leaving) - fans.heat_w, 0.0)
    wanted_w = own.let("reheat_wanted_w", smaller(surplus, to_neutral), "to neutral at the most")
    floor = when(wanted_w > installed.TINY_W).then(unit.REHEATING_FLOOR_C).otherwise(unit.CONDENSING_FLOOR_C)
    at_part = own.let("part_load", between(device / at_least(most, installed.TINY_KG_S), 0.0, 1.0), "of its capacity")
    fraction = c(f"{name}.carnot_fraction")
    at_work = unit.compressor_w(duty, leaving, c("outdoor_c"), fraction, at_part, floor)
    power = own.let("unit_w", at_work, "compressor, condenser fan")
    free = own.let("reheat_w", smaller(wanted_w, duty + power), "from its condenser")
    heating = own.let("heating_needed_w", surplus - free, "left to the site's heating")

    _show(sheet, name, arrives, leaving, by_coil, power, fans, wheel)

    load = own.let("cooling_load_w", at_least(c("sensible_at_cooling_w") - chilled, 0.0), "left to the installed coil")
    run_fraction = own.let(
        "run_fraction", coil.running.run_fraction_for(load), "part of the hour the installed coil runs"
    )
    latent_fraction = own.let(
        "latent_fraction",
        PART_LOAD.latent_fraction(run_fraction),
        "its water in full-run hours, less what re-evaporates",
    )
    cooling = own.let(
        "cooling_w", coil.running.cooling_w(run_fraction, latent_fraction), "sensible cooling it delivers"
    )
    at_near, slope = coil.running.moisture_kg_s, coil.running.moisture_slope
    humidity, removes, condenses = installed.settle(
        own, SPACE.less(device), latent_fraction * at_near, latent_fraction * slope, coil.near
    )
    # cold supply relieves the installed coil, which then dries less: where that leaves the space damper, the unit rests
    helps = own.let("helps", RESTING.drier(humidity), "the unit runs")
    running = Outcome(
        space_c=installed.floating_c(-chilled - cooling),
        humidity_ratio=humidity,
        coil_sensible_w=cooling,
        coil_kg_s=removes,
        condenses_kg_s=condenses,
        compressor_w=installed.compressor_power(coil.running.state.power_w, run_fraction),
        fans_w=installed.fan_power(run_fraction),
        heating_w=heating,
        heating_electricity_w=installed.heating_electricity(heating),
        heating_fuel_w=installed.heating_fuel(heating),
        unmet_cooling_w=load - cooling,
        device_kg_s=device,
        device_heat_w=-chilled,
        dehumidifier_w=power + fans.power_w * (1 - c("open")),
        reheat_w=free,
    )
    outcome = RESTING.unless(helps, running)
    return replace(outcome, dehumidifier_w=outcome.dehumidifier_w + fans.power_w * c("open"))


def dry_hour(sheet: Worksheet, fans: Fans) -> dict[str, Number]:
    """Powers, beside those of temperature control, of an hour with no water to take: fans, whose heat is among the gains."""
    return {"dehumidifier_w": fans.power_w * col("open")}


def _show(
    sheet: Worksheet,
    name: str,
    arrives: Entering,
    leaving_c: Number,
    by_coil_kg_s: Number,
    power_w: Number,
    fans: Fans,
    wheel: bool,
) -> None:
    """Note the unit's states and processes, for whoever wants to check the hour by hand."""
    flow = col("ventilation_kg_s")
    w_out = arrives.coil_humidity_ratio - by_coil_kg_s / flow
    at_coil = sheet.show_state("unit coil entering", arrives.coil_c, arrives.coil_humidity_ratio)
    leaving = sheet.show_state("unit coil leaving", leaving_c, w_out)
    if wheel:
        entering = sheet.show_state("wheel entering", arrives.c, arrives.humidity_ratio)
        taken = flow * (air.enthalpy(arrives.c, arrives.humidity_ratio))
        taken = taken - flow * air.enthalpy(arrives.coil_c, arrives.coil_humidity_ratio)
        water = flow * (arrives.humidity_ratio - arrives.coil_humidity_ratio)
        law = "sensible and latent effectiveness [enthalpy_wheel]"
        sheet.show(Process("enthalpy wheel", entering, at_coil, flow, taken, water, 0.0, law))
    duty = col(f"{name}.damp.duty_w")
    law = "saturated at the supply dew point; power at a fraction of Carnot [outdoor_air_unit]"
    sheet.show(Process("outdoor-air unit", at_coil, leaving, flow, duty, by_coil_kg_s, power_w, law))
    blown_c = leaving_c + fans.heat_w / (flow * air.CP_MOIST_AIR)
    blown = sheet.show_state("unit supply fan leaving", blown_c, w_out)
    law = "250 Pa of coils and filters, 250 Pa of ducts at 55 %"
    sheet.show(Process("unit supply fan", leaving, blown, flow, -fans.heat_w, 0.0, fans.power_w, law))
    supply_c = blown_c + col(f"{name}.damp.reheat_w") / (flow * air.CP_MOIST_AIR)
    supply = sheet.show_state("unit supply, reheated", supply_c, w_out)
    free = -col(f"{name}.damp.reheat_w")
    law = "from its own condenser, at most to the heating set point"
    sheet.show(Process("unit reheat", blown, supply, flow, free, 0.0, 0.0, law))


def _beyond(own: Worksheet, flow: Number, arrives: Entering, able: Number, fan_heat_w: Number) -> Number:
    """Humidity ratio where the space roughly settles with the unit at its most: the coil, relieved, runs less."""
    most = unit.treat(own.section("at_most"), arrives.humidity_ratio - able / flow, col("pressure_pa"))
    left = _left_to_the_coil(flow, arrives.c, smaller(most.leaving_c, arrives.coil_c), fan_heat_w)
    left = at_most(left / at_least(col("sensible_at_cooling_w"), 1.0), 1.0)
    share = own.let("coil_left_share", left, "of the coil's run")
    removal, slope = share * RESTING.removal_kg_s, share * RESTING.removal_slope
    beyond = SPACE.less(able).settled(removal, slope, RESTING.first_humidity_ratio)
    return between(beyond, col("limit_humidity_ratio"), RESTING.held_humidity_ratio)


def _left_to_the_coil(flow: Number, entering_c: Number, leaving_c: Number, fan_heat_w: Number) -> Number:
    chilled = flow * air.CP_MOIST_AIR * (entering_c - leaving_c) - fan_heat_w
    return at_least(col("sensible_at_cooling_w") - chilled, 0.0)


class _Coil:
    """The installed coil on recirculated air: solved at the limit, or where the space ends up if the unit is short."""

    def __init__(self, own: Worksheet, near: Number) -> None:
        limit = col("limit_humidity_ratio")
        self.near = own.let("near_humidity_ratio", near, "where the coil is solved")
        coil = installed.coil_at(own.section("coil"), col("cooling_setpoint_c"), self.near, 0.0)
        installed.show_coil(own, coil.state, COIL, col("cooling_setpoint_c"), self.near)
        at_limit = at_least(coil.moisture_kg_s - coil.moisture_slope * (self.near - limit), 0.0)
        self.at_limit = at_limit = own.let("coil_at_limit_kg_s", at_limit, "water it takes at the limit at full run")
        latent = own.let("coil_latent_full_w", coil.latent_w, "what its water takes to evaporate")
        lines = enumerate(PART_LOAD.water_of_cooling(coil.sensible_w, latent, at_limit))
        self._lines = [
            (own.let(f"water_per_w_{i}", per_w, "water per watt of cooling"), own.let(f"water_offset_{i}", offset))
            for i, (per_w, offset) in lines
        ]
        self.running = replace(coil, latent_w=latent)
        self.per_w = self._lines[-1][0]

    def water(self, cooling_w: Number) -> Number:
        """Water the coil removes while it delivers this cooling [kg/s]."""
        unit_w, unit_kg_s = self.running.sensible_w / PART_LOAD.units, self.at_limit / PART_LOAD.units
        through = PART_LOAD.through(cooling_w / unit_w)
        rest_w = cooling_w - through * unit_w
        return through * unit_kg_s + larger(0.0, *(per_w * rest_w + offset for per_w, offset in self._lines))
