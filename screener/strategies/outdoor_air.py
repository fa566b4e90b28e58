"""A dedicated unit that cools and dries the ventilation air until it carries the moisture load of the whole space.

While the site is open it treats the outdoor air; while it is closed it recirculates space air at the same flow. The
supply humidity follows the load, down to the coldest the coil can do. Its cold air also cools the space as far as the
space wants cooling; beyond that it is reheated with the unit's own condenser heat, at most to the temperature of the
space. What the installed coil removes while it cools the rest is not asked of the unit. Its supply fan stands behind
the coil and warms the air. It takes no more water than its capacity, and none that asks for a coil so cold that it frosts.

How much cooling is left to the installed coil depends on the supply temperature, so on the supply humidity: a few steps of false
position close in on the water the unit has to take. Where the installed coil, with the air as it comes, holds the limit, the
unit's own coil rests.

Shared by the unit alone and the unit behind an enthalpy wheel, which meets the outdoor air first.
"""

from dataclasses import dataclass, replace

from screener.contracts.hour import COIL, PART_LOAD, SPACE
from screener.formula import Number, as_number, at_least, at_most, between, col, first_given, larger, smaller, when
from screener.physics import outdoor_air_unit as unit
from screener.physics import psychrometrics as air
from screener.strategies import installed
from screener.strategies.resting import RESTING
from screener.strategies.strategy import NOTHING, Device, Machine, Outcome
from screener.worksheet import Process, Worksheet

LIMIT = "most_kg_s"
DEVICE = Device(limits={LIMIT: 1.0}, at_design=1.0)
STEPS = 4  # of false position that are tried, before the last straight line is solved exactly


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
class Arriving:
    """Air that comes to the unit: outdoor air as far as the site is ventilated, space air for the rest (for all while it is
    closed); `heat_left` and `water_left` of outdoor air's difference from the space are left of it where it is met."""

    heat_left: Number
    water_left: Number

    def c(self, space_c: Number) -> Number:
        """Its temperature with the space at this one [degC]."""
        return space_c + col("ventilated") * self.heat_left * (col("outdoor_c") - space_c)

    def humidity_ratio(self, space: Number) -> Number:
        """With the space at this humidity ratio."""
        return space + col("ventilated") * self.water_left * (col("outdoor_humidity_ratio") - space)


UNTREATED = Arriving(1.0, 1.0)
AS_GAINED = Arriving(col("ventilation_heat_left"), col("ventilation_water_left"))  # as the gains of the hour have it


def behind_wheel(own: Worksheet, name: str) -> Arriving:
    """Behind a wheel, whether the gains of the hour have it or not: it turns while the site is open and the outdoor air holds
    more heat, water's included, than the exhaust."""
    exhaust = air.enthalpy(RESTING.space_c, col("limit_humidity_ratio"))
    more = air.enthalpy(col("outdoor_c"), col("outdoor_humidity_ratio")) > exhaust
    turns = own.let("wheel_turns", as_number((col("open") > 0) & more), "1 where it helps")
    sensible, latent = (1 - col(f"{name}.{kind}_effectiveness") * turns for kind in ("sensible", "latent"))
    return Arriving(
        own.let("wheel_heat_left", smaller(sensible, AS_GAINED.heat_left), "of the difference from the space"),
        own.let("wheel_water_left", smaller(latent, AS_GAINED.water_left), "of the difference from the space"),
    )


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
    flow, needed = c("ventilation_kg_s"), c("moisture_at_limit_kg_s")
    cooling_c, heating_c = c("cooling_setpoint_c"), c("heating_setpoint_c")
    comes, meets = AS_GAINED, behind_wheel(own, name) if wheel else AS_GAINED
    untouched_c = own.let("untouched_c", meets.c(cooling_c), "as it meets the unit's coil, space at its set point")
    most, coldest = c(f"{name}.{LIMIT}"), c(f"{name}.coldest_supply_humidity_ratio")

    def water(own: Worksheet, space: Number) -> _Water:
        """With the space at this humidity ratio."""
        told = "as it comes to the unit and as the gains have it"
        w_in = own.let("entering_humidity_ratio", comes.humidity_ratio(space), told)
        w_coil, by_wheel, gained = w_in, NOTHING, NOTHING
        if wheel:
            w_coil = own.let("behind_wheel_humidity_ratio", meets.humidity_ratio(space), "behind the wheel")
            by_wheel = own.let("wheel_kg_s", flow * (w_in - w_coil), "water handed to the exhaust air")
            gained = flow * (UNTREATED.humidity_ratio(space) - w_in)
            gained = own.let("gained_kg_s", gained, "the same, where the gains have it")
        able = larger(smaller(flow * at_least(w_in - coldest, 0.0), most - gained), by_wheel, 0.0)
        able = own.let("able_kg_s", able, "at its coldest, and within its capacity")
        return _Water(w_in, w_coil, by_wheel, gained, able)

    fan_heat = own.let("fan_heat_w", fans.heat_w - c("own_fan_now_w"), "of the supply fan, beyond what the gains have")
    at_limit = water(own.section("at_limit"), c("limit_humidity_ratio"))
    held = _Supply(own, flow, at_limit.entering, untouched_c, comes.c(cooling_c), fan_heat)
    short = _beyond(own, held, at_limit.able)
    coil = _Coil(own, when(needed > at_limit.able).then(short).otherwise(c("limit_humidity_ratio")))
    here = water(own, coil.near)
    w_in, w_coil, by_wheel, gained, able = here.entering, here.at_coil, here.by_wheel, here.gained, here.able
    supply = replace(held, entering_humidity_ratio=w_in)

    least = own.let("least_kg_s", larger(by_wheel, 0.0), "what the wheel takes")
    rests = own.let(
        "lacking_at_rest_kg_s", needed - least - coil.water(supply.left_w(untouched_c)), "with its coil at rest"
    )
    works = own.let("works", rests > 0, "the unit's coil")
    wanted = _enough(own, supply, coil, needed, least, larger(smaller(needed, able), least))
    device = own.let("takes_kg_s", when(works).then(wanted).otherwise(least), "water the unit takes")
    dew_point_c = supply.leaving_c(own.section("supply"), device)
    cold = own.let("cold", as_number(works & (dew_point_c < untouched_c)), "1 where its coil cools the air")
    held_c = when(cold > 0).then(dew_point_c).otherwise(untouched_c)
    by_coil = device - by_wheel
    if wheel:
        by_coil = own.let("unit_coil_kg_s", at_least(by_coil, 0.0), "water its coil takes behind the wheel")

    # where the installed coil rests the space floats, and what comes to the unit follows it; so does air left as it comes
    load = own.let("cooling_load_w", supply.left_w(held_c), "left to the installed coil")
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
    from_space, at_coil = (1 - c("ventilated") * arrives.heat_left for arrives in (comes, meets))
    follows = flow * air.CP_MOIST_AIR * (from_space - (1 - cold) * at_coil)
    over = supply.chilled_w(held_c) + cooling - c("sensible_at_cooling_w")
    space_c = installed.within_set_points(cooling_c - over / (c("conductance_w_k") + follows))
    space_c = own.let("space_c", space_c, "where the space settles")
    t_in = own.let("entering_c", comes.c(space_c), "as it comes to the unit and as the gains have it")
    t_coil = own.let("behind_wheel_c", meets.c(space_c), "behind the wheel") if wheel else t_in
    leaving = own.let("leaving_c", when(cold > 0).then(held_c).otherwise(t_coil), "saturated supply, before reheat")
    chilled = flow * air.CP_MOIST_AIR * (t_in - leaving) - fan_heat
    chilled = own.let("chilled_w", chilled, "sensible heat taken from the air, less that of the supply fan")
    duty = flow * air.CP_MOIST_AIR * (t_coil - leaving) + by_coil * (air.LATENT_HEAT_0C + air.CP_VAPOUR * t_coil)
    duty = own.let("duty_w", at_least(duty, 0.0), "of its coil")
    surplus = own.let(
        "surplus_w", at_least(chilled - c("sensible_at_heating_w"), 0.0), "heat to hold the heating set point"
    )
    to_neutral = at_least(flow * air.CP_MOIST_AIR * (heating_c - leaving) - fans.heat_w, 0.0)
    wanted_w = own.let("reheat_wanted_w", smaller(surplus, to_neutral), "to neutral at the most")
    floor = when(wanted_w > installed.TINY_W).then(unit.REHEATING_FLOOR_C).otherwise(unit.CONDENSING_FLOOR_C)
    at_part = own.let(
        "part_load", between((device + gained) / at_least(most, installed.TINY_KG_S), 0.0, 1.0), "of its capacity"
    )
    fraction = c(f"{name}.carnot_fraction")
    at_work = unit.compressor_w(duty, leaving, c("outdoor_c"), fraction, at_part, floor)
    power = own.let("unit_w", at_work, "compressor, condenser fan")
    free = own.let("reheat_w", smaller(wanted_w, duty + power), "from its condenser")
    heating = own.let("heating_needed_w", surplus - free, "left to the site's heating")

    before = _State(UNTREATED.c(space_c), UNTREATED.humidity_ratio(coil.near))
    _show(sheet, name, before, _State(t_coil, w_coil), leaving, by_coil, power, fans, wheel)

    at_near, slope = coil.running.moisture_kg_s, coil.running.moisture_slope
    humidity, removes, condenses = installed.settle(
        own, SPACE.less(device), latent_fraction * at_near, latent_fraction * slope, coil.near
    )
    # cold supply relieves the installed coil, which then dries less: where that leaves the space damper, the unit rests
    helps = own.let("helps", RESTING.drier(humidity), "the unit runs")
    running = Outcome(
        space_c=space_c,
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


def dry_hour(fans: Fans) -> dict[str, Number]:
    """Powers, beside those of temperature control, of an hour with no water to take: fans, whose heat is among the gains."""
    return {"dehumidifier_w": fans.power_w * col("open")}


@dataclass(frozen=True)
class _State:
    """Of air."""

    c: Number
    humidity_ratio: Number


def _show(
    sheet: Worksheet,
    name: str,
    comes: _State,
    meets: _State,
    leaving_c: Number,
    by_coil_kg_s: Number,
    power_w: Number,
    fans: Fans,
    wheel: bool,
) -> None:
    """Note the unit's states and processes, for whoever wants to check the hour by hand."""
    flow = col("ventilation_kg_s")
    w_out = meets.humidity_ratio - by_coil_kg_s / flow
    at_coil = sheet.show_state("unit coil entering", meets.c, meets.humidity_ratio)
    leaving = sheet.show_state("unit coil leaving", leaving_c, w_out)
    if wheel:
        entering = sheet.show_state("wheel entering", comes.c, comes.humidity_ratio)
        taken = flow * (air.enthalpy(comes.c, comes.humidity_ratio))
        taken = taken - flow * air.enthalpy(meets.c, meets.humidity_ratio)
        water = flow * (comes.humidity_ratio - meets.humidity_ratio)
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


@dataclass(frozen=True)
class _Water:
    """Of the air that comes to the unit and that meets its coil [kg/kg], and what wheel and unit take of it [kg/s]."""

    entering: Number
    at_coil: Number
    by_wheel: Number
    gained: Number
    able: Number


@dataclass(frozen=True)
class _Supply:
    """The unit's supply air with the space at its cooling set point."""

    own: Worksheet
    flow_kg_s: Number
    entering_humidity_ratio: Number
    untouched_c: Number
    entering_c: Number
    fan_heat_w: Number

    def leaving_c(self, sheet: Worksheet, device_kg_s: Number) -> Number:
        """Saturated once so much water is taken, no warmer than it came [degC]."""
        w = self.entering_humidity_ratio - device_kg_s / self.flow_kg_s
        return smaller(unit.treat(sheet, w, col("pressure_pa")).leaving_c, self.untouched_c)

    def chilled_w(self, leaving_c: Number) -> Number:
        """Sensible heat it takes from the space and its outdoor air, less that of the supply fan."""
        return self.flow_kg_s * air.CP_MOIST_AIR * (self.entering_c - leaving_c) - self.fan_heat_w

    def left_w(self, leaving_c: Number) -> Number:
        """Of cooling to the installed coil."""
        return at_least(col("sensible_at_cooling_w") - self.chilled_w(leaving_c), 0.0)


def _beyond(own: Worksheet, supply: _Supply, able: Number) -> Number:
    """Humidity ratio where the space roughly settles with the unit at its most: the coil, relieved, runs less."""
    left = supply.left_w(supply.leaving_c(own.section("at_most"), able))
    left = at_most(left / at_least(col("sensible_at_cooling_w"), 1.0), 1.0)
    share = own.let("coil_left_share", left, "of the coil's run")
    removal, slope = share * RESTING.removal_kg_s, share * RESTING.removal_slope
    beyond = SPACE.less(able).settled(removal, slope, RESTING.first_humidity_ratio)
    return between(beyond, col("limit_humidity_ratio"), RESTING.held_humidity_ratio)


def _enough(own: Worksheet, supply: _Supply, coil: "_Coil", needed: Number, least: Number, most: Number) -> Number:
    """Water the unit has to take so that the installed coil takes the rest, within these bounds: false position, where half the
    value counts of an end that stays (the "Illinois" rule), the last straight line solved exactly."""

    def lacks(number: int, device: Number) -> Number:
        section = own.section(f"step_{number}")
        left = section.let("left_w", supply.left_w(supply.leaving_c(section, device)), "to the installed coil")
        return section.let("lacking_kg_s", needed - device - coil.water(left), "water that nobody takes")

    low, high = least, most
    at_low, at_high = lacks(0, low), lacks(1, high)
    enough = own.let("not_enough", at_high > 0, "even at its most")
    stays: Number = 0.0
    for number in range(2, STEPS + 1):
        tries = own.let(f"tries_{number}_kg_s", _crossing(low, high, at_low, at_high))
        found = lacks(number, tries)
        lacking = found > 0
        half_low, half_high = when(stays < 0).then(at_low / 2), when(stays > 0).then(at_high / 2)
        at_low = own.let(f"at_low_{number}", when(lacking).then(found).otherwise(half_low.otherwise(at_low)))
        at_high = own.let(f"at_high_{number}", when(lacking).then(half_high.otherwise(at_high)).otherwise(found))
        low = own.let(f"low_{number}", when(lacking).then(tries).otherwise(low))
        high = own.let(f"high_{number}", when(lacking).then(high).otherwise(tries))
        stays = when(lacking).then(1.0).otherwise(-1.0)
    return when(enough).then(most).otherwise(_crossing(low, high, at_low, at_high))


def _crossing(low: Number, high: Number, at_low: Number, at_high: Number) -> Number:
    """Where the straight line through both ends is zero, between them."""
    return low + (high - low) * between(at_low / at_least(at_low - at_high, installed.TINY_KG_S), 0.0, 1.0)


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

    def water(self, cooling_w: Number) -> Number:
        """Water the coil removes while it delivers this cooling [kg/s]."""
        unit_w, unit_kg_s = self.running.sensible_w / PART_LOAD.units, self.at_limit / PART_LOAD.units
        through = PART_LOAD.through(cooling_w / unit_w)
        rest_w = cooling_w - through * unit_w
        return through * unit_kg_s + larger(0.0, *(per_w * rest_w + offset for per_w, offset in self._lines))
