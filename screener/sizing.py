"""How big the equipment is: given by the tables, or sized at the station's design hours with a stated margin.

Three hours decide: the 0.4 % dry-bulb with its mean coincident humidity, and the 0.4 % dew point with its mean coincident
dry-bulb [ASHRAE Fundamentals 2017 ch. 14], once by day and once without sun, when ordinary cooling removes least. The
site is open and people are at their peak. Cooling is sized for the whole load; a device for what it would take at these
hours if it were large enough, beside the installed coil. The margin is the building type's `sizing_margin`.
"""

from collections.abc import Sequence
from functools import cache

import polars as pl

from screener.contracts.hour import COIL
from screener.physics import (
    cooling_coil,
    dehumidifier,
    desiccant,
    enthalpy_wheel,
    heat_pipe,
    low_airflow,
    outdoor_air_unit,
    part_load_moisture,
)
from screener.physics import psychrometrics as air
from screener.worksheet import Worksheet

CLEAR_NOON_W_M2, BRIGHT_HAZE_W_M2 = 800.0, 400.0  # common practice, no source
UNLIMITED = 1e6  # times any real device
LEAST_CAPACITY_KW = 0.1  # an empty site still has a coil that the arithmetic can run
INDOOR_DERATING = 0.88  # of a coil at 22-24 degC and 50 % against its rating at 26.7/19.4 degC: this coil model's own
DEFAULT_LITRES_PER_KWH = 4.2  # an efficient standalone unit at 26.7 degC / 60 %, common practice, no source
ORIGIN = "sized: 0.4 % design hours of the station, with the margin of the building type"
STANDALONE = "standalone_dehumidifier"
LIMITED = ("desiccant_fuel_regenerated", "desiccant_condenser_regenerated")  # by capacity, the same at any state
COLD_NOTE = "needs a unit that defrosts below 18 degC; its rating is carried there by a curve valid from 10 degC"
EXHAUST_NOTE = "needs as much clean exhaust air as outdoor air, beside it; air of kitchen hoods cannot pass the wheel"
VALIDITY_NOTE = "runs outside 10-35 degC and 30-90 %, where its curve is valid; the nearest state inside is used"
SECONDS_A_DAY = 86400
J_PER_KWH = 3.6e6


def design_hours(sites: pl.DataFrame, conditions: pl.DataFrame) -> pl.DataFrame:
    """Three rows a site: `site_id`, `weather_id` and an hour's weather, on a working day just after opening."""
    base = sites.select("site_id", "weather_id", hour=pl.col("opens_hour").floor().cast(pl.Int8)).join(
        conditions, on="weather_id", how="left", maintain_order="left"
    )
    dry_bulb = ("dry_bulb_04_c", "dry_bulb_04_humidity_ratio")
    dew_point = ("dew_point_04_dry_bulb_c", "dew_point_04_humidity_ratio")
    rows = [
        base.select(
            "site_id",
            "hour",
            pl.lit(0, dtype=pl.Int8).alias("day_of_week"),
            pl.col(temperature).alias("outdoor_c"),
            pl.col(humidity).alias("outdoor_humidity_ratio"),
            pl.lit(sun).alias("irradiance_w_m2"),
        )
        for (temperature, humidity), sun in (
            (dry_bulb, CLEAR_NOON_W_M2),
            (dew_point, BRIGHT_HAZE_W_M2),
            (dew_point, 0.0),
        )
    ]
    return pl.concat(rows)


def size_coil(terms: pl.DataFrame, design_loads: pl.DataFrame, equipment: pl.DataFrame) -> pl.DataFrame:
    """Add to `loads.site_terms` what the site's coil and fan can do, and devices as yet without limit.

    `design_loads` holds the hours of `design_hours` with the gains of `loads.steps`, supply fan at rest. `equipment` is
    the checked table: the machine a site names there counts for the strategy it serves, with its own rating.
    """
    needs = design_loads.group_by("site_id").agg(cooling_need_kw=_coil_need_w().max() / 1000)
    own = equipment.rename({name: f"equipment.{name}" for name in equipment.columns if name != "equipment_id"})
    sites = terms.join(needs, on="site_id", how="left", maintain_order="left")
    sites = sites.join(own, on="equipment_id", how="left", maintain_order="left")
    return _sheet().apply(sites.rename({"cooling_capacity_kw": "given_kw"}).lazy()).collect()


def size_devices(sites: pl.DataFrame, design_hours: pl.DataFrame, devices: Sequence[str]) -> pl.DataFrame:
    """Add `<strategy>.device_capacity_l_day` and, where the table lists a size, `.device_units`; limit the devices by them.

    `design_hours`: site_id and, per strategy of `devices`, `<strategy>.device_kg_s` of devices without limit. Capacity
    is that at the rating point of a standalone unit, and what it takes at the site of any other device.
    """
    taken = design_hours.group_by("site_id").agg(
        (pl.max_horizontal(pl.col(f"{s}.device_kg_s").max(), 0.0) * SECONDS_A_DAY).alias(f"{s}.taken_l_day")
        for s in devices
    )
    sites = sites.join(taken, on="site_id", how="left", maintain_order="left")
    for s in devices:
        relative = pl.col(f"{s}.relative_water_at_cooling") if s == STANDALONE else pl.lit(1.0)
        needed = pl.col(f"{s}.taken_l_day") * pl.col("sizing_margin") / relative
        size = _of_equipment(s, "capacity_l_day")
        units = pl.coalesce(_of_equipment(s, "units"), (needed / size).ceil().clip(1.0))
        units = pl.when(size.is_not_null()).then(units)
        sites = sites.with_columns(
            units.alias(f"{s}.device_units"), pl.coalesce(size * units, needed).alias(f"{s}.device_capacity_l_day")
        )
    limits = []
    for s in sorted({*LIMITED} & {*devices}):
        able = pl.col(f"{s}.device_capacity_l_day") / SECONDS_A_DAY
        limits.append(able.alias(f"{s}.kg_s"))
    able = pl.col(f"{STANDALONE}.device_capacity_l_day") / SECONDS_A_DAY
    for state in ("cooling", "heating"):
        limits.append((able * pl.col(f"{STANDALONE}.relative_water_at_{state}")).alias(f"{STANDALONE}.kg_s_at_{state}"))
    return sites.with_columns(limits)


@cache
def _sheet() -> Worksheet:
    """What follows for a site from its loads and its equipment."""
    sheet = Worksheet()
    _size_coil(sheet)
    _water_on_the_coil(sheet)
    _rate_standalone(sheet)
    _rate_others(sheet)
    return sheet


def _of_equipment(strategy: str, column: str) -> pl.Expr:
    """The figure of the machine a site names, where that serves this strategy."""
    return pl.when(pl.col("equipment.strategy") == strategy).then(pl.col(f"equipment.{column}"))


def _coil_need_w() -> pl.Expr:
    """Net rated capacity that carries this hour: all of it, and its sensible part at the rated sensible heat ratio."""
    sensible = pl.col("sensible_at_cooling_w").clip(0.0)
    total = sensible + air.EVAPORATION_J_KG * pl.col("moisture_at_limit_kg_s").clip(0.0)
    weather = 1 - cooling_coil.CAPACITY_PER_OUTDOOR_K * (pl.col("outdoor_c") - cooling_coil.RATED_OUTDOOR_C)
    return pl.max_horizontal(total, sensible / pl.col("rated_sensible_heat_ratio")) / (weather * INDOOR_DERATING)


def _size_coil(sheet: Worksheet) -> None:
    c = pl.col
    sized = (c("cooling_need_kw") * c("sizing_margin")).clip(LEAST_CAPACITY_KW)
    given = pl.when(c("given_kw") > 0).then(c("given_kw"))
    capacity = sheet.let("cooling_capacity_kw", pl.coalesce(given, sized), "given, or sized with the margin")
    supply = sheet.let("supply_l_s", c("supply_air_l_s_kw") * capacity, "supply air at the flow per capacity")
    fan = sheet.let("fan_w", c("fan_power_w_l_s") * supply, "supply fan")
    cooling_coil.rate(
        sheet,
        net_capacity_w=capacity * 1000,
        cop=c("cooling_cop"),
        sensible_heat_ratio=c("rated_sensible_heat_ratio"),
        supply_m3_s=supply / 1000,
        fan_w=fan,
        pressure_pa=c("pressure_pa"),
    )


def _water_on_the_coil(sheet: Worksheet) -> None:
    """The lines of what a cycling coil keeps off the air, by the site's choice of re-evaporation."""
    choice = pl.col("re_evaporation")
    names = ("kept_lower_slope", "kept_lower_offset", "kept_upper_slope")
    for number, name in enumerate(names):
        value = pl.lit(None, dtype=pl.Float64)
        for known in part_load_moisture.CHOICES:
            value = pl.when(choice == known).then(part_load_moisture.chords(known)[number]).otherwise(value)
        sheet.let(name, value, "line of water kept against run fraction")


def _rate_standalone(sheet: Worksheet) -> None:
    own, c = sheet.section(STANDALONE), pl.col
    rated_c = _of_equipment(STANDALONE, "rating_dry_bulb_c").fill_null(dehumidifier.RATING_C)
    rated_rh = _of_equipment(STANDALONE, "rating_rh_pct").fill_null(dehumidifier.RATING_RH_PCT)
    rated_water = own.let("rated_relative_water", dehumidifier.relative_water(rated_c, rated_rh))
    rated_factor = own.let("rated_relative_factor", dehumidifier.relative_energy_factor(rated_c, rated_rh))
    per_kwh = _of_equipment(STANDALONE, "litres_per_kwh").fill_null(DEFAULT_LITRES_PER_KWH)
    doubts = []
    for state in ("cooling", "heating"):
        t = c(f"{state}_setpoint_c")
        limit_rh = 100 * air.relative_humidity(t, c("limit_humidity_ratio"), c("pressure_pa"))
        rh = own.let(f"limit_rh_at_{state}_pct", limit_rh, "relative humidity of the limit at this set point")
        relative = dehumidifier.relative_water(t, rh) / rated_water
        own.let(f"relative_water_at_{state}", relative.clip(1e-3), "water against the rating")
        factor = per_kwh * dehumidifier.relative_energy_factor(t, rh).clip(1e-3) / rated_factor
        own.let(f"litres_per_kwh_at_{state}", factor, "water per kilowatt-hour")
        own.let(f"j_kg_at_{state}", J_PER_KWH / factor, "electricity per kilogram of water")
        own.let(f"kg_s_at_{state}", pl.lit(UNLIMITED), "no limit until it is sized")
        doubts.append(~dehumidifier.is_valid(t, rh))
    cold = c("heating_setpoint_c") < dehumidifier.FROST_C
    note = pl.when(cold).then(pl.lit(COLD_NOTE)).when(pl.any_horizontal(doubts)).then(pl.lit(VALIDITY_NOTE))
    own.let("note", note, "what to know of the unit here")


def _rate_others(sheet: Worksheet) -> None:
    """Low air flow, heat pipe, outdoor-air units and desiccant wheels, from the equipment table or as usual."""
    p = pl.col("pressure_pa")
    cooling_coil.at_flow(sheet.section("low_airflow_cooling"), COIL, low_airflow.FLOW_SHARE, p)
    pipe = _of_equipment("wrapped_coil_heat_pipe", "sensible_effectiveness").fill_null(heat_pipe.EFFECTIVENESS)
    sheet.let("wrapped_coil_heat_pipe.effectiveness", pipe, "of the heat pipe")
    coldest = air.humidity_ratio_from_dew_point(pl.lit(outdoor_air_unit.COLDEST_SUPPLY_C), p)
    sheet.let("coldest_supply_humidity_ratio", coldest, "the driest air the outdoor-air unit can supply")
    usual = outdoor_air_unit.CARNOT_FRACTION
    for s in ("outdoor_air_dehumidifier", "outdoor_air_dehumidifier_with_recovery"):
        rated = _of_equipment(s, "litres_per_kwh") / outdoor_air_unit.seasonal_kg_kwh(1.0)
        sheet.let(
            f"{s}.carnot_fraction", rated.fill_null(usual), "rated water per kWh over that of Carnot, or as usual"
        )
    wheel = "outdoor_air_dehumidifier_with_recovery"
    for kind, effectiveness in (
        ("sensible", enthalpy_wheel.SENSIBLE_EFFECTIVENESS),
        ("latent", enthalpy_wheel.LATENT_EFFECTIVENESS),
    ):
        name = f"{kind}_effectiveness"
        sheet.let(f"{wheel}.{name}", _of_equipment(wheel, name).fill_null(effectiveness), "of the wheel")
    sheet.let(f"{wheel}.note", pl.lit(EXHAUST_NOTE), "what to know of the wheel")
    for s, heat in (
        ("desiccant_fuel_regenerated", desiccant.FUEL_REGENERATION_J_KG),
        ("desiccant_condenser_regenerated", desiccant.CONDENSER_REGENERATION_J_KG),
    ):
        own = _of_equipment(s, "regeneration_mj_per_kg") * 1e6
        sheet.let(f"{s}.regeneration_j_kg", own.fill_null(heat), "heat the wheel needs per kilogram")
        sheet.let(f"{s}.kg_s", pl.lit(UNLIMITED), "no limit until it is sized")
