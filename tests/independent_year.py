"""The hours of a site worked out again, one after another, in plain Python with floats: no formula of the package in it.

Two implicit balances an hour (heat of the space with its mass, water), every unknown found by narrowing a span instead of closed
forms: apparatus dew point, run fraction, temperature, humidity. Coil and plant after the engineering basis: bypass factor and a
compressor whose capacity follows apparatus dew point and weather, a constant fraction of Carnot, the published on/off-cycle
model itself for units that lead and lag. Saturation by psychrolib. A site is a mapping with the figures that were sized for it,
and its `days`; the coil is solved where the space settles, not near it. Heat of every fan is in the balance of its hour.
"""

import csv
import math
from collections.abc import Callable, Mapping
from copy import copy
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path
from typing import Any

import psychrolib

import screener

psychrolib.SetUnitSystem(psychrolib.SI)

DT_S = 3600.0
CP = 1006.0 + 1860.0 * 0.010  # of ordinary indoor air [J/(kg K)]
EVAPORATION_J_KG = 2.45e6
ADP_PER_K, OUTDOOR_PER_K, COLDEST_ADP_C = 0.025, 0.006, 1.0  # slopes of the compressor; common practice, no source
EVAPORATOR_K, CONDENSER_K, CONDENSING_FLOOR_C = 4.0, 10.0, 32.0  # common practice, no source
CYCLES_PER_HOUR = 3.0
RETENTION = {"moderate": (720.0, 0.33, 30.0), "strong": (1000.0, 1.5, 45.0)}  # t_wet, gamma, tau; from memory
CASE_MOST = 1.2
OVER_LIMIT = 1.005  # hours count as above the limit from half a percent of humidity ratio
FINE, WITHIN, AROUND = 1e-9, 1e-7, 1e-6  # where a search ends, the next around it and the last around both
SATURATION_STEP_K = 0.02  # straight lines between psychrolib's values: within 2e-7 of them
RUN_STEPS = 2000  # of the on/off-cycle model between rest and full run, straight lines between: within 1e-6


def root(
    falls: Callable[[float], float],
    low: float,
    high: float,
    near: float | None = None,
    reach: float = 0.0,
    fine: float = FINE,
) -> float:
    """Where a falling function is zero, or the end of the span it does not cross: to `fine` of what it is at the ends of the
    span, or of the span.

    The span is cut by false position (of an end that stays, half its value counts: the "Illinois" rule), or in half where three
    cuts have not halved it. `near`, a guess, is good for `reach` to either side, or the search goes on beyond.
    """
    at_low = at_high = math.nan
    if near is not None:
        if low < (left := min(near - reach, high)):
            if (at := falls(left)) > 0:
                low, at_low = left, at
            else:
                high, at_high = left, at
        if high > (right := max(near + reach, low)) and math.isnan(at_high):
            if (at := falls(right)) > 0:
                low, at_low = right, at
            else:
                high, at_high = right, at
    if math.isnan(at_low) and (at_low := falls(low)) <= 0:
        return low
    if math.isnan(at_high) and (at_high := falls(high)) >= 0:
        return high
    residual, span = fine * max(at_low, -at_high), max(fine * (high - low), 1e-14 * abs(high))
    width, turns, stays = high - low, 0, 0
    while high - low > span:
        turns += 1
        x = low + (high - low) * at_low / (at_low - at_high)
        if turns == 3:
            x = x if high - low <= width / 2 else (low + high) / 2
            width, turns = high - low, 0
        at = falls(x)
        if abs(at) <= residual:
            return x
        if at > 0:
            low, at_low = x, at
            at_high, stays = (at_high / 2 if stays > 0 else at_high), 1
        else:
            high, at_high = x, at
            at_low, stays = (at_low / 2 if stays < 0 else at_low), -1
    return (low + high) / 2


@cache
def vapour_pa(step: int) -> float:
    """Saturation pressure over water at so many steps of temperature; the engine's coils never freeze."""
    return float(psychrolib.GetSatVapPres(max(step * SATURATION_STEP_K, 0.02)))


def saturated(temperature_c: float, pressure_pa: float) -> float:
    """Humidity ratio over water [kg/kg]."""
    step, rest = divmod(temperature_c / SATURATION_STEP_K, 1)
    vapour = (1 - rest) * vapour_pa(int(step)) + rest * vapour_pa(int(step) + 1)
    return 0.621945 * vapour / (pressure_pa - vapour)


def dew_point(humidity_ratio: float, pressure_pa: float) -> float:
    """Where air of this humidity is saturated [degC]."""
    return root(lambda t: humidity_ratio - saturated(t, pressure_pa), 0.0, 45.0)


def enthalpy(temperature_c: float, humidity_ratio: float) -> float:
    """Of moist air [J/kg]."""
    return 1006.0 * temperature_c + humidity_ratio * (2.501e6 + 1860.0 * temperature_c)


def kept(run_fraction: float, choice: str) -> float:
    """Water of a full hour that one unit keeps off the air at this run fraction."""
    step, rest = divmod(run_fraction * RUN_STEPS, 1)
    return (1 - rest) * cycled(int(step), choice) + rest * cycled(int(step) + 1, choice)


@cache
def cycled(step: int, choice: str) -> float:
    """The same at so many steps, by the model."""
    x = min(step / RUN_STEPS, 1.0)
    if choice == "none" or x in (0.0, 1.0):
        return x
    t_wet, gamma, tau = RETENTION[choice]
    t_on = 3600 / (4 * CYCLES_PER_HOUR * (1 - x))
    t_off = min(3600 / (4 * CYCLES_PER_HOUR * x), 2 * t_wet / gamma)
    evaporates = gamma * t_off - (gamma * t_off) ** 2 / (4 * t_wet)
    begins = root(lambda t: evaporates - tau * (math.exp(-t / tau) - 1) - t, 0.0, evaporates + tau)
    return x * max(0.0, (t_on - begins) / (t_on + tau * (math.exp(-t_on / tau) - 1)))


def days(site: Mapping[str, Any]) -> dict[str, dict[bool, list[float]]]:
    """Shares of the hour by quantity and whether the day is no working day, as the shipped file has them, about the mean of the
    type's open hours (those of the default sites this is for); of ventilation as they are."""
    with (Path(screener.__file__).parent / "tables" / "defaults" / "profiles.csv").open(encoding="utf-8") as file:
        rows = [row for row in csv.DictReader(file) if row["building_type"] in ("*", site["building_type"])]
    first, end, week = int(site["opens_hour"]), int(site["closes_hour"]), int(site["open_days_per_week"])
    found = {}
    for quantity in {row["quantity"] for row in rows}:
        mine = [row for row in rows if row["quantity"] == quantity]
        mine = [row for row in mine if row["building_type"] != "*"] or mine
        shares = {}
        for other, kind in ((False, "working"), (True, "other")):
            row = next(row for row in mine if row["day_kind"] in (kind, "all"))
            shares[other] = [float(row[f"hour_{hour}"]) for hour in range(24)]
        open_week = [share for day in range(week) for share in shares[day >= 5][first:end]]
        mean = 1.0 if quantity == "ventilation" else sum(open_week) / len(open_week)
        found[quantity] = {other: [share / mean for share in day] for other, day in shares.items()}
    return found


@dataclass
class Sums:
    """Of a year with one strategy: energies [kWh], hours above the limit, and each hour's electricity [W]."""

    compressor_kwh: float = 0.0
    fans_kwh: float = 0.0
    reheat_electricity_kwh: float = 0.0
    dehumidifier_kwh: float = 0.0
    heating_kwh: float = 0.0  # heat, whatever makes it
    burnt_kwh: float = 0.0  # heat of fuel beside it, for reheat and regeneration
    hours_above_limit: float = 0.0
    power_w: list[float] = field(default_factory=list)


@dataclass(frozen=True)
class Plant:
    """The installed coil and its fan as a strategy lets them run."""

    fan_w: float  # at this flow
    flow: float = 1.0  # over the rated one
    pipe: float = 0.0  # effectiveness of a heat pipe around the coil
    mixes: bool = True  # whether ventilation air passes the coil


class Coil:
    """The installed coil at full run with this space air entering, mixed with the hour's ventilation air."""

    def __init__(self, hour: "Hour", space_c: float, humidity_ratio: float) -> None:
        s, plant = hour.site, hour.plant
        heat_share, water_share = (min(share / plant.flow, 1.0) * plant.mixes for share in hour.of_supply)
        warm_c = space_c + heat_share * (hour.outdoor_c - space_c)
        w_in = humidity_ratio + water_share * (hour.outdoor_w - humidity_ratio)
        p, supply_kg_s = s["pressure_pa"], s["supply_kg_s"] * plant.flow
        contact = 1 - (1 - s["contact"]) ** (1 / plant.flow)  # air that stays longer meets more of the coil
        rated_j_kg = s["duty_j_kg"] / plant.flow

        def settles(t_in: float) -> tuple[float, float]:
            """Apparatus dew point and duty with this air at the coil: coil and compressor take the same; a dry coil no water."""

            def coil(adp: float) -> float:
                return float(contact * (enthalpy(t_in, w_in) - enthalpy(adp, min(saturated(adp, p), w_in))))

            def over(adp: float) -> float:
                follows = 1 + ADP_PER_K * (adp - s["rated_adp_c"]) - OUTDOOR_PER_K * (hour.outdoor_c - 35.0)
                return coil(adp) - float(rated_j_kg * follows)

            hour.adp_c = adp = root(over, COLDEST_ADP_C, 45.0, hour.adp_c, 0.5)
            return adp, coil(adp)

        def too_warm(t_in: float) -> float:
            """Of the air behind the first half of the pipe, which takes its share of the way to the air leaving the coil."""
            leaving_c = t_in - contact * (t_in - settles(t_in)[0])
            return warm_c - plant.pipe * (warm_c - leaving_c) - t_in

        t_in = warm_c
        if plant.pipe:
            t_in = root(too_warm, min(COLDEST_ADP_C, warm_c), warm_c, hour.precooled_c, 0.5, 1e-8)
            t_in = max(t_in, min(dew_point(w_in, p), warm_c))  # the pipe stays dry
        hour.precooled_c = t_in if plant.pipe else None
        adp, duty = settles(t_in)
        taken = contact * max(0.0, w_in - saturated(adp, p))
        leaving, w_out = enthalpy(t_in, w_in) - duty, w_in - taken
        t_out = (leaving - w_out * 2.501e6) / (1006.0 + 1860.0 * w_out)
        if (plant.pipe or plant.flow < 1) and w_out > saturated(t_out, p):  # fog falls out too
            t_out = root(lambda t: leaving - enthalpy(t, saturated(t, p)), 0.0, 45.0)
            taken = w_in - saturated(t_out, p)
        self.moisture_kg_s = supply_kg_s * taken
        total_w = supply_kg_s * duty
        sensible_w = total_w - self.moisture_kg_s * (2.501e6 + 1860.0 * t_in)
        self.sensible_w = max(sensible_w - plant.fan_w * (1 - hour.fan_on), 1e-6)
        load = duty / rated_j_kg
        evaporating = adp - EVAPORATOR_K * load

        def power_w(floor_c: float) -> float:
            condensing = max(hour.outdoor_c + CONDENSER_K * load, floor_c)
            return float(total_w * (condensing - evaporating) / (s["carnot_fraction"] * (evaporating + 273.15)))

        self.total_w, self.power_at, self.power_w = total_w, power_w, power_w(CONDENSING_FLOOR_C)


class Hour:
    """One hour of a site: its weather and gains, and where the hour before left the space."""

    def __init__(self, site: Mapping[str, Any], weather: Mapping[str, float], last: tuple[float, float, float]) -> None:
        s, self.site = site, site
        self.plant = Plant(s["fan_w"])
        self.adp_c = self.precooled_c = None  # as last found, near which the next are sought
        self.outdoor_c, self.outdoor_w = weather["outdoor_c"], weather["outdoor_humidity_ratio"]
        self.last_c, self.last_mass_c, self.last_w = last
        first, end, middle = s["opens_hour"], s["closes_hour"], weather["hour"] + 0.5
        within = first <= middle < end if end > first else middle >= first or middle < end
        is_open = float(within and weather["day_of_week"] < s["open_days_per_week"])
        self.is_open = is_open
        self.fan_on = is_open * (s["supply_fan"] == "continuous")
        share = {quantity: s["days"][quantity][weather["day_of_week"] >= 5][weather["hour"]] for quantity in s["days"]}
        ventilation = s["ventilation_kg_s"] * is_open * share["ventilation"]
        hoods = s["hood_exhaust_kg_s"] * is_open * share["process_moisture"]
        self.air = ventilation + s["infiltration_open_kg_s" if is_open else "infiltration_closed_kg_s"]
        self.air = max(self.air, hoods)
        self.ventilation = ventilation
        self.leaves(1.0, 1.0, 0.0)
        wet = s["people_kg_s"] * share["people"] + s["process_kg_s"] * share["process_moisture"]
        self.moisture = wet * is_open
        sun = s["aperture_m2"] * weather["irradiance_w_m2"]
        machines = s["lights_w"] * share["lights"] + s["equipment_w"] * share["equipment"]
        gains = machines + s["people_w"] * share["people"] if is_open else s["gain_closed_w"]
        self.gains = gains + sun - s["case_sensible_w"]

    def leaves(self, heat: float, water: float, warmed_w: float) -> None:
        """What is left of the ventilation air's differences from the space, and heat of a fan in it."""
        leaks = self.air - self.ventilation
        self.heat_air, self.water_air = (leaks + self.ventilation * left for left in (heat, water))
        of_supply = min(self.ventilation / self.site["supply_kg_s"], 1.0)
        self.of_supply = of_supply * heat, of_supply * water
        self.warmed_w = warmed_w

    def heat(self, space_c: float) -> float:
        """Net sensible gain of the space at the end of the hour, its stores included [W]."""
        s = self.site
        mass_c = self.mass_c(space_c)
        return float(
            self.gains
            + self.warmed_w
            + self.plant.fan_w * self.fan_on
            + (s["envelope_w_k"] + self.heat_air * CP) * (self.outdoor_c - space_c)
            + s["air_storage_w_k"] * (self.last_c - space_c)
            + s["surface_w_k"] * (mass_c - space_c)
        )

    def mass_c(self, space_c: float) -> float:
        """Where the mass ends: what it takes up comes through its surface [degC]."""
        s = self.site

        def excess(mass_c: float) -> float:
            return float(s["surface_w_k"] * (space_c - mass_c) - s["mass_storage_w_k"] * (mass_c - self.last_mass_c))

        return root(excess, min(space_c, self.last_mass_c), max(space_c, self.last_mass_c))

    def water(self, w: float) -> float:
        """Net moisture gain at the end of the hour, its store included [kg/s]."""
        s = self.site
        span = s["case_rated_humidity_ratio"] - s["case_dry_humidity_ratio"]
        cases = s["case_kg_s"] * min(max((w - s["case_dry_humidity_ratio"]) / span, 0.0), CASE_MOST)
        stored = s["moisture_storage_kg_s"] * (self.last_w - w)
        return float(self.moisture + self.water_air * (self.outdoor_w - w) - cases + stored)

    def part(self, run_fraction: float) -> float:
        """Water of a full hour that the plant keeps off the air."""
        n = self.site["cooling_units"]
        through = math.floor(n * run_fraction + 1e-9)
        cycles = max(n * run_fraction - through, 0.0)
        return float((through + (kept(cycles, self.site["re_evaporation"]) if self.fan_on else cycles)) / n)

    def cools(self, coil: Coil, run_fraction: float) -> float:
        """Sensible cooling delivered; water that evaporates again cools [W]."""
        again = (run_fraction - self.part(run_fraction)) * coil.moisture_kg_s
        return run_fraction * coil.sensible_w + again * EVAPORATION_J_KG

    def run_for(self, coil: Coil, load_w: float) -> float:
        """Least run fraction that delivers this cooling, 1 where none does. Where much water evaporates again, a unit that has
        just come on cools more than one that runs on, so the search goes up step by step."""
        if load_w <= 0:
            return 0.0
        low, high = 0.0, 1.0
        if self.site["re_evaporation"] == "strong":
            high = next((step / 64 for step in range(1, 65) if self.cools(coil, step / 64) >= load_w), 1.0)
            low = high - 1 / 64 if self.cools(coil, high) >= load_w else high
        return root(lambda x: load_w - self.cools(coil, x), low, high)

    def settled(self, takes: Callable[[float], float]) -> float:
        """Humidity ratio where the space ends the hour, no damper than fog at the cooling set point."""
        fog = saturated(self.site["cooling_setpoint_c"], self.site["pressure_pa"])
        return root(lambda w: self.water(w) - takes(w), 1e-5, fog, self.last_w, 3e-4, AROUND)

    def floats(self, cooling_w: float) -> float:
        """Temperature where the space ends the hour with this much cooling, between its set points."""
        return root(
            lambda t: self.heat(t) - cooling_w, self.site["heating_setpoint_c"], self.site["cooling_setpoint_c"]
        )

    def power(self, coil: Coil, run_fraction: float, full_w: float | None = None) -> tuple[float, float]:
        """Compressor, at full run of its own or of this power, and supply fan [W]."""
        s = self.site
        n = s["cooling_units"]
        through = math.floor(n * run_fraction + 1e-9)
        cycles = max(n * run_fraction - through, 0.0)
        full_w = coil.power_w if full_w is None else full_w
        compressor = full_w * (through + cycles / (1 - s["part_load_degradation"] * (1 - cycles))) / n
        return compressor, self.plant.fan_w * (self.fan_on + (1 - self.fan_on) * run_fraction)

    def with_plant(self, plant: Plant) -> "Hour":
        """The same hour with a plant that runs otherwise."""
        other = copy(self)
        other.plant = plant
        return other


@dataclass
class End:
    """Where an hour ends and what it took [W]."""

    space_c: float
    humidity_ratio: float
    compressor_w: float
    fans_w: float
    heating_w: float
    reheat_w: float = 0.0
    dehumidifier_w: float = 0.0
    burnt_w: float = 0.0  # heat of fuel for reheat or regeneration


def temperature_only(hour: Hour) -> End:
    """The coil runs for the thermostat; humidity settles where gain and removal meet."""
    s = hour.site
    cooling_c, heating_c = s["cooling_setpoint_c"], s["heating_setpoint_c"]
    load = hour.heat(cooling_c)
    heating = max(0.0, -hour.heat(heating_c))
    if load <= 0:
        coil, x, w = Coil(hour, cooling_c, hour.last_w), 0.0, hour.settled(lambda _: 0.0)
    else:

        def takes(w: float) -> float:
            coil = Coil(hour, cooling_c, w)
            return hour.part(hour.run_for(coil, load)) * coil.moisture_kg_s

        w = hour.settled(takes)
        coil = Coil(hour, cooling_c, w)
        x = hour.run_for(coil, load)
    return End(hour.floats(hour.cools(coil, x)), w, *hour.power(coil, x), heating)


@dataclass
class Overcooled:
    """An hour whose coil runs for the moisture, before anyone has said what puts the heat back; no coil where it rests."""

    end: End
    reheat_w: float = 0.0
    run_fraction: float = 0.0
    coil: Coil | None = None


OVERCOOLED: dict[tuple[object, ...], Overcooled] = {}  # hours as they were found, for the next source of heat


def overcooled(hour: Hour) -> Overcooled:
    """Run on until the limit is met. The space is the same whatever reheats it, so an hour is worked out once."""
    s = hour.site
    key = (s["site_id"], s["weather_id"], s["floor_area_m2"], hour.outdoor_c, hour.outdoor_w, hour.gains, hour.moisture)
    key += (hour.last_c, hour.last_mass_c, hour.last_w, hour.heat_air, hour.water_air, hour.warmed_w)
    if key not in OVERCOOLED:
        OVERCOOLED[key] = runs_on(hour, hour.plant)
    return OVERCOOLED[key]


def runs_on(rests_so: Hour, plant: Plant, reheats: bool = True) -> Overcooled:
    """The same, worked out, with a plant that runs otherwise for the water; without reheat it stops where the space would fall
    below its heating set point."""
    rests, s, hour = temperature_only(rests_so), rests_so.site, rests_so.with_plant(plant)
    limit, cooling_c, heating_c = s["limit_humidity_ratio"], s["cooling_setpoint_c"], s["heating_setpoint_c"]
    if rests.humidity_ratio <= limit:
        return Overcooled(rests)
    bears = hour.heat(heating_c)  # cooling that leaves it at the heating set point
    heating = max(0.0, -bears)

    def most(w: float) -> float:
        """Run fraction it may go to."""
        coil = Coil(hour, heating_c, w)
        return 1.0 if reheats or coil.sensible_w <= bears else hour.run_for(coil, bears)

    def state(x: float, w: float) -> tuple[Coil, float]:
        """Where the space drifts to while the coil runs for this fraction."""
        t = root(lambda t: hour.heat(t) - hour.cools(Coil(hour, t, w), x), heating_c, cooling_c, fine=WITHIN)
        return Coil(hour, t, w), t

    def lacking(x: float) -> float:
        return hour.water(limit) - hour.part(x) * state(x, limit)[0].moisture_kg_s

    least, longest = hour.run_for(Coil(hour, cooling_c, limit), hour.heat(cooling_c)), most(limit)
    x, w = root(lacking, min(least, longest), longest, fine=AROUND), limit
    if plant != rests_so.plant and x <= least and lacking(x) < 0:
        return Overcooled(acts_in_part(rests_so, hour, x))
    if x >= longest and lacking(x) > 0:
        w = hour.settled(lambda w: hour.part(most(w)) * state(most(w), w)[0].moisture_kg_s)
        x = most(w)
        if w >= rests.humidity_ratio * (1 - 1e-9):
            return Overcooled(rests)
    coil, t = state(x, w)
    if not reheats and hour.cools(coil, x) > bears + 1e-3 * max(
        bears, 1.0
    ):  # cycling, its water cools as it evaporates again
        x = hour.run_for(coil, bears)
        w = hour.settled(lambda w: hour.part(x) * Coil(hour, heating_c, w).moisture_kg_s)
        if w >= rests.humidity_ratio * (1 - 1e-9):
            return Overcooled(rests)
        coil, t = state(x, w)
    reheat = max(0.0, hour.cools(coil, x) - bears) - heating
    return Overcooled(End(t, w, *hour.power(coil, x), heating), max(reheat, 0.0), x, coil)


def acts_in_part(rests: Hour, acts: Hour, run_fraction: float) -> End:
    """What run for the heat takes more water than has to go acts for a part of the hour, and the plain plant for the rest."""
    limit, cooling_c = acts.site["limit_humidity_ratio"], acts.site["cooling_setpoint_c"]
    coil, plain = Coil(acts, cooling_c, limit), Coil(rests, cooling_c, limit)
    rest_fraction = rests.run_for(plain, rests.heat(cooling_c))
    takes, at_rest = acts.part(run_fraction) * coil.moisture_kg_s, rests.part(rest_fraction) * plain.moisture_kg_s
    share = min(max((acts.water(limit) - at_rest) / (takes - at_rest), 0.0), 1.0)
    both = zip(acts.power(coil, run_fraction), rests.power(plain, rest_fraction), strict=True)
    return End(cooling_c, limit, *(share * acting + (1 - share) * resting for acting, resting in both), 0.0)


def overcool_electric_reheat(hour: Hour) -> End:
    """Below the heating set point what is cooled too much is put back by resistance heat."""
    found = overcooled(hour)
    return replace(found.end, reheat_w=found.reheat_w)


def overcool_fuel_reheat(hour: Hour) -> End:
    """The same by a flame."""
    found = overcooled(hour)
    return replace(found.end, burnt_w=found.reheat_w)


def overcool_condenser_reheat(hour: Hour) -> End:
    """By all that the unit rejects, its condenser at 38 degC or above in any hour with reheat; the rest by a flame."""
    found = overcooled(hour)
    if found.coil is None or found.reheat_w < 1e-3:
        return replace(found.end)
    warm_w = found.coil.power_at(38.0)
    compressor_w, _ = hour.power(found.coil, found.run_fraction, warm_w)
    rejected_w = found.run_fraction * (found.coil.total_w + warm_w)
    return replace(found.end, compressor_w=compressor_w, burnt_w=max(found.reheat_w - rejected_w, 0.0))


def overcool_reclaimed_reheat(hour: Hour) -> End:
    """By the racks of the cases: compressors 70 % of their electricity at a COP of 2.3, three quarters of the heat to be had.
    Racks that give it condense at 38 degC, not 8 K above outdoors or 21 degC; evaporating at -12. The rest by a flame."""
    found = overcooled(hour)
    compressors_w = 0.7 * hour.site["case_electricity_w"]
    able_w = 0.75 * (1 + 2.3) * compressors_w
    given_w = min(found.reheat_w, able_w)
    floating_c = max(hour.outdoor_c + 8.0, 21.0)
    more_w = compressors_w * ((max(38.0, floating_c) + 12.0) / (floating_c + 12.0) - 1) * given_w / max(able_w, 1e-6)
    return replace(found.end, reheat_w=more_w, burnt_w=found.reheat_w - given_w)


def wrapped_coil_heat_pipe(hour: Hour) -> End:
    """A pipe of 0.45, its valve shut in dry hours, its 125 Pa at 55 % there whenever the fan runs; reheat as today."""
    always = Plant(hour.site["fan_w"] + 0.23 * hour.site["supply_l_s"])
    found = runs_on(hour.with_plant(always), replace(always, pipe=0.45))
    electric = hour.site["current_strategy"] == "overcool_electric_reheat"
    return replace(found.end, **{"reheat_w" if electric else "burnt_w": found.reheat_w})


def low_airflow_cooling(hour: Hour) -> End:
    """Seven tenths of the air in damp hours, for the 2.5th power of the fan's, and no reheat."""
    return runs_on(hour, Plant(0.7**2.5 * hour.site["fan_w"], flow=0.7), reheats=False).end


@dataclass
class Dried:
    """An hour with a device in the space: water it takes [kg/s] and its electricity per kilogram; no coil where it rests."""

    end: End
    device_kg_s: float = 0.0
    j_kg: float = 0.0
    run_fraction: float = 0.0
    coil: Coil | None = None


def dried(hour: Hour, cooling: tuple[float, float, float], heating: tuple[float, float, float]) -> Dried:
    """A device takes what the coil leaves and warms the space, which the coil cools away, or which replaces heating.

    At either set point: water it can take [kg/s], heat it leaves and electricity it takes per kilogram [J/kg].
    """
    rests, s = temperature_only(hour), hour.site
    limit, cooling_c, heating_c = s["limit_humidity_ratio"], s["cooling_setpoint_c"], s["heating_setpoint_c"]
    if rests.humidity_ratio <= limit:
        return Dried(rests)
    needed = hour.water(limit)
    able, per_kg, j_kg = heating
    if hour.heat(heating_c) + min(needed, able) * per_kg > 0:
        able, per_kg, j_kg = cooling
    most = min(needed, able)

    def coil_takes(device: float, w: float) -> tuple[Coil, float]:
        coil = Coil(hour, cooling_c, w)
        return coil, hour.run_for(coil, hour.heat(cooling_c) + device * per_kg)

    def lacking(device: float) -> float:
        coil, x = coil_takes(device, limit)
        return needed - device - hour.part(x) * coil.moisture_kg_s

    device, w = root(lacking, 0.0, most, fine=AROUND), limit
    if device >= most and lacking(most) > 1e-9:
        device = most

        def takes(w: float) -> float:
            coil, x = coil_takes(device, w)
            return device + hour.part(x) * coil.moisture_kg_s

        w = hour.settled(takes)
    coil, x = coil_takes(device, w)
    heat = device * per_kg
    heats = max(0.0, -hour.heat(heating_c) - heat)
    end = End(hour.floats(hour.cools(coil, x) - heat), w, *hour.power(coil, x), heats, dehumidifier_w=device * j_kg)
    return Dried(end, device, j_kg, x, coil)


def standalone_dehumidifier(hour: Hour) -> End:
    """All its electricity and the heat of the water stay in the space."""
    at = []
    for state in ("cooling", "heating"):
        j_kg = hour.site[f"standalone_dehumidifier.j_kg_at_{state}"]
        at.append((hour.site[f"standalone_dehumidifier.most_kg_s_at_{state}"], EVAPORATION_J_KG + j_kg, j_kg))
    return dried(hour, *at).end


def wheel(hour: Hour, name: str, regeneration_j_kg: float) -> Dried:
    """A desiccant wheel: heat of evaporation and 10 % of binding, 12 % of the regeneration carried over, and half of two fans
    that take 0.35 MJ per kilogram (common practice, no source)."""
    left = 1.1 * EVAPORATION_J_KG + 0.12 * regeneration_j_kg + 0.5 * 0.35e6
    at = (hour.site[f"{name}.most_kg_s"], left, 0.35e6)
    return dried(hour, at, at)


def desiccant_fuel_regenerated(hour: Hour) -> End:
    """Dried by a flame, 4 MJ per kilogram."""
    found = wheel(hour, "desiccant_fuel_regenerated", 4.0e6)
    return replace(found.end, burnt_w=4.0e6 * found.device_kg_s)


def desiccant_condenser_regenerated(hour: Hour) -> End:
    """Dried by what the compressor rejects, 5 MJ per kilogram, as much as is used of it at 55 degC; the rest by a flame."""
    found = wheel(hour, "desiccant_condenser_regenerated", 5.0e6)
    if found.coil is None or found.device_kg_s <= 0:
        return found.end
    needs_w, warm_w = 5.0e6 * found.device_kg_s, found.coil.power_at(55.0)
    rejected_w = found.run_fraction * (found.coil.total_w + warm_w)
    used = min(needs_w / max(rejected_w, 1e-6), 1.0)
    full_w = used * warm_w + (1 - used) * found.coil.power_w
    compressor_w, _ = hour.power(found.coil, found.run_fraction, full_w)
    return replace(found.end, compressor_w=compressor_w, burnt_w=max(needs_w - rejected_w, 0.0))


def ventilation_heat_recovery(hour: Hour) -> End:
    """A wheel of 0.75 and 0.70 against air of the space, 150 Pa in each stream at 55 %: full where outdoor air holds more heat
    than the space, which wants cooling; for heat no faster than is wanted, nor than it takes at -12 degC; then today's way."""
    s, exhaust = hour.site, hour.site["exhaust_share"]
    cooling_c, heating_c = s["cooling_setpoint_c"], s["heating_setpoint_c"]
    hot = enthalpy(hour.outdoor_c, hour.outdoor_w) > enthalpy(cooling_c, s["limit_humidity_ratio"])
    colder = heating_c - hour.outdoor_c
    turns = 0.0
    if hot and hour.heat(cooling_c) > 0:
        turns = 1.0
    elif colder > 0 and hour.ventilation * exhaust > 0:
        full = 0.75 * exhaust * hour.ventilation * CP * colder
        turns = min(max(-hour.heat(heating_c), 0.0) / full, (heating_c + 12.0) / max(colder, 1e-9), 1.0)
    stream_w = hour.ventilation / s["air_density_kg_m3"] * 150 / 0.55
    hour.leaves(1 - 0.75 * exhaust * turns, 1 - 0.70 * exhaust * turns, stream_w)
    end = TODAY[s["current_strategy"]](hour)
    end.fans_w += stream_w * (1 + exhaust)
    return end


UNIT_FAN_W_L_S, WHEEL_W_L_S = 0.9, 0.275  # 500 Pa of an outdoor-air unit, 150 Pa in either stream of a wheel, at 55 %


def outdoor_air_unit(hour: Hour, name: str, wheel: tuple[float, float]) -> End:
    """Ventilation air, or air of the space while closed, cooled until what it carries in holds the limit, coldest at 7 degC.

    The installed coil, on air of the space, cools what is left; a surplus of cold is put back by the unit's own condenser, at
    most to the heating set point. `wheel`: effectiveness for heat and water; it turns where outdoor air holds more heat
    than the space did and is wetter or cooling is wanted, or for heat. Fans run while the site is open, and with the unit.
    """
    s, exhaust = hour.site, hour.site["exhaust_share"]
    limit, cooling_c, heating_c = s["limit_humidity_ratio"], s["cooling_setpoint_c"], s["heating_setpoint_c"]
    flow, p = s["ventilation_kg_s"], s["pressure_pa"]
    stream, l_s = WHEEL_W_L_S if any(wheel) else 0.0, 1000 * flow / s["air_density_kg_m3"]
    fans_w, fan_heat_w = l_s * (UNIT_FAN_W_L_S + stream * (1 + exhaust)), l_s * (UNIT_FAN_W_L_S + stream)
    sensible, latent = (share * exhaust for share in wheel)
    inside_w, colder, turns = min(hour.last_w, limit), heating_c - hour.outdoor_c, 0.0
    hour.leaves(1.0, 1.0, fan_heat_w * hour.is_open)
    more = enthalpy(hour.outdoor_c, hour.outdoor_w) > enthalpy(cooling_c, inside_w)
    if hour.is_open and more and (hour.heat(cooling_c) > 0 or hour.outdoor_w > inside_w):
        turns = 1.0
    elif sensible > 0 and colder > 0 and hour.ventilation > 0:
        full = sensible * hour.ventilation * CP * colder
        turns = min(max(-hour.heat(heating_c), 0.0) / full, (heating_c + 12.0) / colder, 1.0)
    heat_left, water_left = 1 - sensible * turns, 1 - latent * turns
    hour.leaves(heat_left, water_left, fan_heat_w * hour.is_open)
    rests = temperature_only(hour)
    rests.dehumidifier_w = fans_w * hour.is_open
    if rests.humidity_ratio <= limit:
        return rests

    acts = hour.with_plant(replace(hour.plant, mixes=False))
    acts.leaves(heat_left, water_left, fan_heat_w)
    share = hour.ventilation / flow

    def enters(t: float, w: float) -> tuple[float, float]:
        """Outdoor air behind the wheel, the rest from the space."""
        return t + share * heat_left * (hour.outdoor_c - t), w + share * water_left * (hour.outdoor_w - w)

    def leaves_c(t: float, w: float, device: float) -> float:
        """Saturated at the humidity it leaves with, no warmer than it came; untouched where it takes no water."""
        came_c, came_w = enters(t, w)
        return min(dew_point(came_w - device / flow, p), came_c) if device > 1e-12 else came_c

    def chills(t: float, w: float, device: float) -> float:
        return flow * CP * (enters(t, w)[0] - leaves_c(t, w, device))

    def by_wheel(w: float) -> float:
        return flow * share * latent * turns * (hour.outdoor_w - w)

    def able(w: float) -> float:
        """Water it takes at most: its capacity is that of coil and wheel."""
        coldest = flow * (enters(cooling_c, w)[1] - saturated(7.0, p))
        return max(min(coldest, s[f"{name}.most_kg_s"] - by_wheel(w)), 0.0)

    def coil_takes(device: float, w: float) -> tuple[Coil, float]:
        coil = Coil(acts, cooling_c, w)
        return coil, acts.run_for(coil, acts.heat(cooling_c) - chills(cooling_c, w, device))

    def lacking(device: float, w: float) -> float:
        coil, x = coil_takes(device, w)
        return acts.water(w) - device - acts.part(x) * coil.moisture_kg_s

    steps = [able(limit) * part / 12 for part in range(13)]
    enough = next((number for number, device in enumerate(steps) if lacking(device, limit) <= 0), None)
    w = limit
    if enough is None:
        w = root(lambda w: lacking(able(w), w), limit, saturated(cooling_c, p), fine=AROUND)
        device = able(w)
    elif enough == 0:  # the installed coil alone takes more than that
        device, w = 0.0, root(lambda w: lacking(0.0, w), 1e-5, limit, fine=AROUND)
    else:
        device = root(lambda device: lacking(device, limit), steps[enough - 1], steps[enough], fine=AROUND)
    if w >= rests.humidity_ratio * (1 - 1e-9):
        return rests
    coil, x = coil_takes(device, w)
    t = root(lambda t: acts.heat(t) - chills(t, w, device) - acts.cools(coil, x), heating_c, cooling_c)
    leaving_c, (came_c, came_w) = leaves_c(t, w, device), enters(t, w)
    surplus_w = max(chills(t, w, device) - acts.heat(heating_c), 0.0) if t <= heating_c else 0.0
    neutral_w = max(flow * CP * (heating_c - leaving_c) - fan_heat_w, 0.0)
    wanted_w = min(surplus_w, neutral_w)
    duty_w = max(flow * (enthalpy(came_c, came_w) - enthalpy(leaving_c, came_w - device / flow)), 0.0)
    lift_k = max(hour.outdoor_c + 14.0, 38.0 if wanted_w > 1e-3 else 32.0) - (leaving_c - 7.0)
    carnot = lift_k / (leaving_c - 7.0 + 273.15)
    part = min((device + by_wheel(w)) / s[f"{name}.most_kg_s"], 1.0)
    unit_w = duty_w * carnot / s[f"{name}.carnot_fraction"] * (1 + 0.13 * (1 - part))
    heating_w = surplus_w - min(wanted_w, duty_w + unit_w)
    return End(t, w, *acts.power(coil, x), heating_w, dehumidifier_w=unit_w + fans_w)


def outdoor_air_dehumidifier(hour: Hour) -> End:
    """The unit alone."""
    return outdoor_air_unit(hour, "outdoor_air_dehumidifier", (0.0, 0.0))


def outdoor_air_dehumidifier_with_recovery(hour: Hour) -> End:
    """Behind a wheel of 0.75 and 0.70."""
    return outdoor_air_unit(hour, "outdoor_air_dehumidifier_with_recovery", (0.75, 0.70))


TODAY: dict[str, Callable[[Hour], End]] = {
    "temperature_only": temperature_only,
    "overcool_electric_reheat": overcool_electric_reheat,
    "standalone_dehumidifier": standalone_dehumidifier,
}
STRATEGIES: dict[str, Callable[[Hour], End]] = TODAY | {
    "overcool_fuel_reheat": overcool_fuel_reheat,
    "overcool_condenser_reheat": overcool_condenser_reheat,
    "overcool_reclaimed_reheat": overcool_reclaimed_reheat,
    "wrapped_coil_heat_pipe": wrapped_coil_heat_pipe,
    "low_airflow_cooling": low_airflow_cooling,
    "outdoor_air_dehumidifier": outdoor_air_dehumidifier,
    "outdoor_air_dehumidifier_with_recovery": outdoor_air_dehumidifier_with_recovery,
    "desiccant_fuel_regenerated": desiccant_fuel_regenerated,
    "desiccant_condenser_regenerated": desiccant_condenser_regenerated,
    "ventilation_heat_recovery": ventilation_heat_recovery,
}


def year(site: Mapping[str, Any], weather: list[dict[str, float]], strategy: str, warm_up_h: int) -> Sums:
    """The hours one after another, after a warm-up by the last of them."""
    last = (site["cooling_setpoint_c"], site["cooling_setpoint_c"], site["limit_humidity_ratio"])
    found = Sums()
    for number, at in enumerate(weather[-warm_up_h:] + weather):
        hour = Hour(site, at, last)
        end = STRATEGIES[strategy](hour)
        last = (end.space_c, hour.mass_c(end.space_c), end.humidity_ratio)
        if number < warm_up_h:
            continue
        found.compressor_kwh += end.compressor_w / 1000
        found.fans_kwh += end.fans_w / 1000
        found.reheat_electricity_kwh += end.reheat_w / 1000
        found.dehumidifier_kwh += end.dehumidifier_w / 1000
        found.heating_kwh += end.heating_w / 1000
        found.burnt_kwh += end.burnt_w / 1000
        found.hours_above_limit += end.humidity_ratio > OVER_LIMIT * site["limit_humidity_ratio"]
        found.power_w.append(end.compressor_w + end.fans_w + end.reheat_w + end.dehumidifier_w)
    return found
