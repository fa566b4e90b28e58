"""What heats and wets a space, hour by hour: sites x hours -> sensible and moisture gains.

    S(T) = people + lights + equipment + sun + fan + (UA + (mv + mi) cp) (To - T) - cases
           + Ca/dt (T' - T) + g (Tm' - T)                                                 [W]
    M(W) = people + process + (mv + mi) (Wo - W) - cases(W) + Cw/dt (W' - W)              [kg/s]

mv is mechanical outdoor air, mi infiltration [kg dry air/s]. Outdoor air is a load on the space whether or not it
passes a coil first. People, processes, lights, equipment and mv follow the hour of the day (SHARES); kitchen hoods that
draw more than mv brings make up for it through doors and cracks. Sources of the figures stand in `defaults/`.

Air with furnishings (Ca), the building's mass (Cm, behind a surface conductance hA) and what takes up water (Cw) store
heat and water from one hour (primes) to the next, dt of an hour. Implicit in time, with the temperature of the mass
Tm = (Cm/dt Tm' + hA T)/(Cm/dt + hA) put in, g = hA (Cm/dt)/(Cm/dt + hA): both net gains stay straight lines of where the
hour ends. Two lumped capacities after the effective-capacitance and effective-moisture-capacitance models (from memory).
"""

from collections.abc import Callable

import polars as pl

from screener import calendar
from screener.contracts.hour import CARRIED, SPACE, Treated
from screener.formula import (
    Number,
    as_number,
    at_least,
    col,
    equal,
    first_given,
    floor,
    larger,
    opposite,
    smaller,
    when,
)
from screener.physics import case_surfaces
from screener.physics import psychrometrics as air
from screener.physics.heat_pump import heating_cop
from screener.physics.refrigeration import penalty_per_heat, reclaimable_w
from screener.worksheet import Worksheet

FLOW_STATE_C = 20.0  # volumes of outdoor air are counted at this temperature and 7.5 g/kg, at the site's pressure
FLOW_STATE_HUMIDITY = 0.0075
DT_S = 3600.0
FURNISHINGS = 5.0  # heat capacity of air and furnishings over that of the air: common practice, no source
SURFACE_W_M2_K = 5.0  # of floor area, from the space to its mass: common practice, no source
LEAST_W_K = 1e-9
LEAST_AIR_KG_S = 1e-6  # a sealed, empty site still breathes: it settles at the outdoor humidity
CASE_DRY_HUMIDITY = 0.0025  # [kg/kg] saturated near a medium-temperature case coil, practice
CASE_RATED_HUMIDITY = 0.01027  # [kg/kg] 24 degC, 55 % at sea level: rating ambient of display cases [AHRI 1200]


def site_terms(sites: pl.DataFrame, at_peak: bool = False) -> pl.DataFrame:
    """Everything that depends on the site alone, one row per site, SI.

    `sites` holds the filled columns of the `sites` and `building_types` contracts. With `at_peak` people count at their
    peak instead of the mean of the open hours: for sizing, where their share is one.
    """
    sites = calendar.open_bits(sites)
    sheet = Worksheet()
    c = col
    area = c("floor_area_m2")
    p = sheet.let("pressure_pa", air.standard_pressure(c("elevation_m")), "standard atmosphere at the site")
    density = sheet.let("air_density_kg_m3", air.dry_air_density(FLOW_STATE_C, FLOW_STATE_HUMIDITY, p))
    by_dew_point = air.humidity_ratio_from_dew_point(c("humidity_limit_dew_point_c"), p)
    by_rh = air.humidity_ratio_from_relative_humidity(c("cooling_setpoint_c"), c("humidity_limit_rh_pct") / 100, p)
    sheet.let("limit_humidity_ratio", first_given(by_dew_point, by_rh), "the humidity the site must stay below")
    saturated = air.humidity_ratio_from_dew_point(c("cooling_setpoint_c"), p)
    sheet.let("saturated_at_cooling", saturated, "no space is damper than fog: where a coil is solved at the most")
    people = sheet.let(
        "people",
        c("peak_occupants") * (1.0 if at_peak else c("occupancy_fraction")),
        "mean while open, or at their peak",
    )
    sheet.let("ventilation_kg_s", c("outdoor_air_l_s") / 1000 * density, "mechanical outdoor air while open")
    sheet.let("infiltration_open_kg_s", c("infiltration_l_s_m2") * area / 1000 * density + LEAST_AIR_KG_S)
    sheet.let("infiltration_closed_kg_s", c("infiltration_closed_l_s_m2") * area / 1000 * density + LEAST_AIR_KG_S)
    hoods = c("hood_exhaust_l_s_m2") * area / 1000 * density
    sheet.let("hood_exhaust_kg_s", hoods, "kitchen exhaust while cooking, less make-up air at the hoods")
    internal = sheet.let("internal_gain_w", c("internal_gain_w_m2") * area, "lights and equipment, mean while open")
    sheet.let("gain_closed_w", internal * c("closed_gain_fraction"), "lights and equipment while closed")
    lights = sheet.let("lights_w", smaller(c("lights_w_m2") * area, internal), "lights, mean while open")
    sheet.let("equipment_w", internal - lights, "equipment, mean while open")
    sheet.let("people_w", people * c("person_sensible_w"), "people, mean while open")
    sheet.let("aperture_m2", c("solar_aperture_m2_per_100_m2") * area / 100, "glass area times solar factor")
    sheet.let("envelope_w_k", c("envelope_w_k_m2") * area, "heat loss of the shell per kelvin")
    sheet.let("people_kg_s", people * c("person_latent_w") / air.EVAPORATION_J_KG, "people, mean while open")
    sheet.let("process_kg_s", c("process_moisture_kg_h") / 3600, "processes, mean while open")
    air_kg = sheet.let("air_kg", area * c("ceiling_height_m") * density, "air in the space")
    sheet.let("air_storage_w_k", FURNISHINGS * air_kg * air.CP_MOIST_AIR / DT_S, "air and furnishings, per hour")
    mass = sheet.let("mass_storage_w_k", c("thermal_mass") * 1000 * area / DT_S, "heat the mass takes up, per hour")
    surface = sheet.let("surface_w_k", at_least(SURFACE_W_M2_K * area, LEAST_W_K), "from the space to its mass")
    sheet.let("mass_exchange_w_k", surface * mass / (surface + mass), "from the space to its mass of an hour before")
    sheet.let("moisture_storage_kg_s", c("moisture_buffer") * air_kg / DT_S, "water the space takes up, per hour")
    open_cases, door_cases = c("open_case_length_m"), c("door_case_length_m")
    sheet.let(
        "case_sensible_w",
        open_cases * c("open_case_sensible_w_m") + door_cases * c("door_case_sensible_w_m"),
        "cooling the display cases give the store",
    )
    sheet.let(
        "case_kg_s",
        (open_cases * c("open_case_moisture_kg_h_m") + door_cases * c("door_case_moisture_kg_h_m")) / 3600,
        "drying the display cases give the store at their rating ambient",
    )
    cases = open_cases * c("open_case_power_w_m") + door_cases * c("door_case_power_w_m")
    sheet.let("case_electricity_w", cases, "refrigeration of the display cases, mean of the year")
    sheet.let("case_dry_humidity_ratio", CASE_DRY_HUMIDITY, "saturated near the case coil")
    sheet.let("case_rated_humidity_ratio", CASE_RATED_HUMIDITY, "24 degC, 55 %")
    lockout = air.humidity_ratio_from_dew_point(c("reheat_lockout_dew_point_c"), p)
    sheet.let("reheat_lockout_humidity_ratio", first_given(lockout, 0.0), "no reheat where it is drier outdoors")
    always = as_number(equal(c("supply_fan"), "always"))
    sheet.let("fan_always", always, "1 where the supply fan runs through the closed hours too")
    glass = when(equal(c("door_heaters"), "on")).then(c("door_glass_heated_c")).otherwise(c("door_glass_unheated_c"))
    fog = when(door_cases > 0).then(case_surfaces.fog_humidity_ratio(glass, p)).otherwise(case_surfaces.NEVER)
    sheet.let("door_fog_humidity_ratio", fog, "above it the glass of case doors fogs")
    goods, share = c("goods_surface_c"), c("goods_store_air_share")
    frost = case_surfaces.frost_humidity_ratio(goods, share, CASE_DRY_HUMIDITY, p)
    frost = when((open_cases > 0) & (goods < 0)).then(frost).otherwise(case_surfaces.NEVER)
    sheet.let("goods_frost_humidity_ratio", frost, "above it frost forms on the goods of open cases")
    continuous = as_number(equal(c("supply_fan"), "continuous")) + always
    sheet.let("fan_continuous", continuous, "1 where the supply fan runs through the open hours, 0 where it cycles")
    beside = as_number(equal(c("fan_beside_unit"), "cycling"))
    sheet.let("fan_cycles_beside", beside, "1 where it cycles once the ventilation air has a fan of its own")
    source = c("heating_source")
    by_fuel, by_pump, by_racks = (equal(source, kind) for kind in ("fuel", "heat_pump", "reclaimed"))
    fuel = when(by_fuel).then(1 / c("fuel_efficiency")).otherwise(0.0)
    sheet.let("heats_by_fuel", as_number(by_fuel), "1 where the site's heating burns fuel")
    sheet.let("heats_by_pump", as_number(by_pump), "1 where it is a heat pump")
    racks = as_number(by_racks) * reclaimable_w(c("case_electricity_w"))
    sheet.let("heats_by_racks", as_number(by_racks), "1 where the racks of the display cases give their heat")
    sheet.let("racks_w", racks, "heat they can give; resistance heat makes up what is short")
    sheet.let("is_heated", as_number(opposite(equal(source, "none"))), "0 where the site has no heating")
    sheet.let("reheat_fuel_per_heat", fuel, "the site's heating source, or resistance where it has none")
    sheet.let("heating_fuel_per_heat", fuel)
    return sheet.apply(sites.lazy()).collect()


def gains_by_source(sheet: Worksheet, space_c: Number, humidity_ratio: Number) -> tuple[list[str], list[str]]:
    """Add the parts of both net gains of a space at this state: names of the heats [W] and of the waters [kg/s].

    To look at; they sum to the net gains of `steps`.
    """
    c = col
    is_open = c("open")
    through_air = c("air_heat_kg_s") * air.CP_MOIST_AIR
    heats = {
        "people": c("people_now_w"),
        "lights": c("lights_w") * c("lights_share") * is_open,
        "equipment": c("equipment_w") * c("equipment_share") * is_open,
        "lights and equipment while closed": c("gain_closed_w") * (1 - is_open),
        "sun": c("aperture_m2") * c("irradiance_w_m2"),
        "supply fan": c("supply_fan_now_w") + c("own_fan_now_w") + c("ventilation_warmed_w"),
        "shell": c("envelope_w_k") * (c("outdoor_c") - space_c),
        "outdoor air": through_air * (c("outdoor_c") - space_c),
        "stored in air and furnishings": c("air_storage_w_k") * (c("last_c") - space_c),
        "stored in the mass": c("mass_exchange_w_k") * (c("last_mass_c") - space_c),
        "display cases": -c("case_sensible_w"),
    }
    waters = {
        "people": c("people_kg_s") * c("people_share") * is_open,
        "processes": c("process_kg_s") * c("process_moisture_share") * is_open,
        "outdoor air": c("air_water_kg_s") * (c("outdoor_humidity_ratio") - humidity_ratio),
        "stored in the space": c("moisture_storage_kg_s") * (c("last_humidity_ratio") - humidity_ratio),
        "display cases": -SPACE.case_credit(humidity_ratio),
    }
    for kind, values in (("heat", heats), ("water", waters)):
        for name, value in values.items():
            sheet.let(f"{kind}.{name}", value)
    return list(heats), list(waters)


def at_rest(terms: pl.DataFrame) -> pl.DataFrame:
    """Sites of `site_terms` whose spaces store nothing, so that an hour can stand alone: for design hours."""
    storage = ("air_storage_w_k", "mass_exchange_w_k", "moisture_storage_kg_s")
    return terms.with_columns(pl.lit(0.0).alias(name) for name in (*storage, *CARRIED))


def carried(sheet: Worksheet, space_c: Number, humidity_ratio: Number) -> dict[str, Number]:
    """What an hour that ends at this state leaves to the next, by CARRIED."""
    mass, surface = col("mass_storage_w_k"), col("surface_w_k")
    mass_c = (mass * col("last_mass_c") + surface * space_c) / (mass + surface)
    return {
        "last_c": space_c,
        "last_mass_c": sheet.let("mass_c", mass_c, "the mass at the end of the hour"),
        "last_humidity_ratio": humidity_ratio,
    }


def has_bit(bits: Number, bit: Number) -> Number:
    """1 where the binary digits of `bits` have the one of `bit`, a power of two; else 0.

    >>> has_bit(0b0101, 0b0100), has_bit(0b0101, 0b0010)
    (1.0, 0.0)
    """
    return floor(bits / bit) - 2 * floor(bits / bit / 2)


def steps(
    sheet: Worksheet,
    fan_w: Number,
    treat: Callable[[Worksheet], Treated] | None = None,
    own_fan_w: Number | None = None,
) -> None:
    """Add the hour's gains. Needs `site_terms` and the hour's weather; `fan_w` is the supply fan's power while it runs. `treat`
    says what becomes of the ventilation air (None: it comes as it is); it reads the net gains without it, `untreated.*`.
    `own_fan_w`: heat of a fan that the ventilation air has of its own and that runs while the site is open; beside it the supply
    fan cycles where the site lets it.

    A continuous supply fan runs as long as the site is open, for ventilation, and with the compressor when it is closed;
    a cycling one always runs with the compressor, one that runs always does so through the closed hours too, without outdoor air.
    """
    c = col
    middle, opens, closes = c("hour") + 0.5, c("opens_hour"), c("closes_hour")
    after, before = middle >= opens, middle < closes
    within = when(closes > opens).then(after & before).otherwise(after | before)
    days, months = c("open_days_bits"), c("closed_months_bits")
    on_day = has_bit(days, c("day_bit")) * (1 - has_bit(months, c("month_bit")))
    is_open = sheet.let("open", as_number(within) * on_day, "1 while open, else 0")
    continuous = c("fan_continuous") * (1 - c("fan_cycles_beside")) if own_fan_w is not None else c("fan_continuous")
    runs = is_open + (1 - is_open) * c("fan_always")
    fan_on = sheet.let("fan_on", runs * continuous, "1 while the supply fan runs whatever the compressor does")
    ventilated = sheet.let("ventilated", is_open * c("ventilation_share"), "of the outdoor air that is due while open")
    mv = sheet.let("ventilation_now_kg_s", c("ventilation_kg_s") * ventilated, "mechanical outdoor air")
    closed, opened = c("infiltration_closed_kg_s"), c("infiltration_open_kg_s")
    lacking = c("hood_exhaust_kg_s") * (is_open * c("process_moisture_share")) - mv
    leaks = sheet.let(
        "infiltration_now_kg_s", larger(closed + (opened - closed) * is_open, lacking), "or what hoods lack"
    )
    m = sheet.let("air_kg_s", mv + leaks, "outdoor air, however it gets in")
    air_storage, mass = c("air_storage_w_k"), c("mass_exchange_w_k")
    people = sheet.let("people_now_w", c("people_w") * (is_open * c("people_share")), "of people")
    machines = c("lights_w") * c("lights_share") + c("equipment_w") * c("equipment_share")
    machines = c("gain_closed_w") + (machines - c("gain_closed_w")) * is_open
    machines = sheet.let("machines_now_w", machines, "of lights and equipment")
    fans = sheet.let("supply_fan_now_w", fan_w * fan_on, "of the supply fan that runs whatever the compressor does")
    own_fan = sheet.let("own_fan_now_w", 0.0 if own_fan_w is None else own_fan_w * is_open, "of the ventilation air's")
    if own_fan_w is not None:
        fans = fans + own_fan
    inside = sheet.let(
        "internal_and_sun_w",
        people + machines + fans + c("aperture_m2") * c("irradiance_w_m2") - c("case_sensible_w"),
        "people, lights, equipment, sun and fans, less the cases' cooling",
    )

    def net_gain(state: str, inside_w: Number, through_w_k: Number) -> Number:
        held_c = c(f"{state}_setpoint_c")
        stored = air_storage * (c("last_c") - held_c) + mass * (c("last_mass_c") - held_c)
        return inside_w + through_w_k * (c("outdoor_c") - held_c) + stored

    treated = Treated(1.0, 1.0, 0.0)
    if treat is not None:
        untreated = sheet.section("untreated")
        for state in ("cooling", "heating"):
            gain = net_gain(state, inside, c("envelope_w_k") + m * air.CP_MOIST_AIR)
            untreated.let(
                f"sensible_at_{state}_w", gain, f"net gain at the {state} set point, ventilation air as it is"
            )
        treated = treat(sheet)
    heat_left = sheet.let("ventilation_heat_left", treated.heat_left, "of its difference from the space")
    water_left = sheet.let("ventilation_water_left", treated.water_left, "of its difference from the space")
    warmed = sheet.let("ventilation_warmed_w", treated.warmed_w, "by fans that treat it")
    heat_air = sheet.let("air_heat_kg_s", m if treat is None else mv * heat_left + leaks, "of it as far as it heats")
    water_air = sheet.let("air_water_kg_s", m if treat is None else mv * water_left + leaks, "as far as it wets")
    through = sheet.let("through_w_k", c("envelope_w_k") + heat_air * air.CP_MOIST_AIR, "shell and air per kelvin")
    sheet.let("conductance_w_k", through + air_storage + mass, "and what the space stores, per kelvin")
    for state in ("cooling", "heating"):
        gain = net_gain(state, inside if treat is None else inside + warmed, through)
        sheet.let(f"sensible_at_{state}_w", gain, f"net gain at the {state} set point")
    by_pump = when(c("heats_by_pump") > 0).then(1 / heating_cop(c("outdoor_c"))).otherwise(1.0)
    more = penalty_per_heat(c("outdoor_c"))
    electric = when(c("heats_by_fuel") > 0).then(0.0).when(c("heats_by_racks") > 0).then(more).otherwise(by_pump)
    beyond = c("heats_by_racks") * (1 - more)
    sheet.let("beyond_racks_per_heat", beyond, "electricity more for heat that racks cannot give")
    electric = sheet.let(
        "reheat_electric_per_heat", electric, "the site's heating source, or resistance where it has none"
    )
    sheet.let("heating_electric_per_heat", electric * c("is_heated"), "the site's heating source")
    wet = c("people_kg_s") * c("people_share") + c("process_kg_s") * c("process_moisture_share")
    sheet.let("moisture_gain_kg_s", wet * is_open, "people and processes")
    buffer = c("moisture_storage_kg_s")
    exchange = sheet.let("exchange_kg_s", water_air + buffer, "outdoor air, and what the space stores")
    brought = water_air * c("outdoor_humidity_ratio") + buffer * c("last_humidity_ratio")
    sheet.let("exchange_humidity_ratio", brought / exchange, "of both together")
    load = SPACE.net_gain(c("limit_humidity_ratio")) - buffer * (c("last_humidity_ratio") - c("limit_humidity_ratio"))
    sheet.let("moisture_load_kg_s", at_least(load, 0.0), "to be removed at the limit, whatever is stored")
    sheet.let("moisture_at_limit_kg_s", SPACE.net_gain(c("limit_humidity_ratio")), "net gain of the space at its limit")
