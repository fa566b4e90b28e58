"""How big the equipment is: given by the tables, or sized at the station's design hours with a stated margin.

Three hours decide: the 0.4 % dry-bulb with its mean coincident humidity, and the 0.4 % dew point with its mean coincident
dry-bulb [ASHRAE Fundamentals 2017 ch. 14], once by day and once without sun, when ordinary cooling removes least. The
site is open and people are at their peak. Cooling is sized for the whole load; a device for what it would take at these
hours if it were large enough, beside the installed coil. The margin is the building type's `sizing_margin`. What each
strategy's equipment can do and what limits it the strategies say themselves.
"""

from collections.abc import Callable, Mapping, Sequence
from typing import Any, Protocol

import polars as pl

from screener import calendar, contracts
from screener.contracts.origins import SIZED
from screener.formula import (
    Formula,
    Number,
    at_least,
    ceiling,
    col,
    equal,
    first_given,
    is_given,
    larger,
    literal,
    polars,
    when,
)
from screener.physics import cooling_coil, part_load_moisture
from screener.physics import psychrometrics as air
from screener.worksheet import Worksheet

CLEAR_NOON_W_M2, BRIGHT_HAZE_W_M2 = 800.0, 400.0  # common practice, no source
UNLIMITED = 1e6  # times any real device
LEAST_CAPACITY_KW = 0.1  # an empty site still has a coil that the arithmetic can run
INDOOR_DERATING = 0.88  # of a coil at 22-24 degC and 50 % against its rating at 26.7/19.4 degC: this coil model's own
ORIGIN = f"{SIZED}: 0.4 % design hours of the station, with the margin of the building type"
UNITS_ORIGIN = pl.concat_str(
    pl.lit(f"{SIZED}: cooling capacity over "),
    pl.col("cooling_unit_kw").cast(pl.String).str.strip_suffix(".0"),
    pl.lit(" kW, rounded up"),
)
SECONDS_A_DAY = 86400
LEAST_DEVICE_L_DAY = 1.0  # no device is made smaller: common practice, no source
NO_DEVICE = "at the design hours it would have less than 1 L a day to take"
MACHINE = "equipment."  # begins the columns of the machine a site names
OFFER = "offer."  # and of those it is offered, before the strategy


class Device(Protocol):
    """What sizing needs of equipment with a capacity; see `strategies`."""

    @property
    def limits(self) -> Mapping[str, Number]:
        """By column the most water it can take, in times its rated capacity."""

    @property
    def at_design(self) -> Number:
        """Water it takes at the site over that at its rating."""


class Strategy(Protocol):
    """What sizing needs of a strategy."""

    @property
    def name(self) -> str:
        """Begins the columns of its equipment."""

    @property
    def device(self) -> Device | None:
        """Its equipment with a capacity."""


class Machine:
    """The machine that a site names in the equipment table, where it serves one strategy, or else the one it is offered; blanks
    where there is none. `offered`: whether any site is offered one of the strategy."""

    def __init__(self, strategy: str, offered: bool) -> None:
        self._serves, self._offered = strategy, offered

    def figure(self, column: str) -> Formula:
        """A column of the equipment table. KeyError where it has no such column."""
        contracts.load("equipment").field(column)
        own = when(self.serves()).then(col(f"{MACHINE}{column}")).otherwise(None)
        return first_given(own, col(f"{OFFER}{self._serves}.{column}")) if self._offered else own

    def figure_or(self, column: str, usual: Number) -> Formula:
        """The same, with what is usual where it is blank."""
        return first_given(self.figure(column), usual)

    def serves(self) -> Formula:
        """Whether the site names a machine for this strategy."""
        return literal(equal(col(f"{MACHINE}strategy"), self._serves))


RATING = (
    *("capacity_l_day", "units", "litres_per_kwh", "rating_dry_bulb_c", "rating_rh_pct"),
    *("sensible_effectiveness", "latent_effectiveness", "regeneration_mj_per_kg"),
)
Add = Callable[[Worksheet, Any, Machine], None]


def design_hours(sites: pl.DataFrame, conditions: pl.DataFrame) -> pl.DataFrame:
    """Three rows a site: `site_id`, `weather_id` and an hour's weather, just after opening on the first day of the week
    that the site opens; its closed months do not count."""
    opens = pl.col("open_days_bits").cast(pl.Int64)
    base = (
        calendar.open_bits(sites)
        .select(
            "site_id",
            "weather_id",
            hour=pl.col("opens_hour").floor().cast(pl.Int8),
            day_bit=pl.max_horizontal(opens & -opens, 1).cast(pl.Float64),
        )
        .join(conditions, on="weather_id", how="left", maintain_order="left")
    )
    dry_bulb = ("dry_bulb_04_c", "dry_bulb_04_humidity_ratio")
    dew_point = ("dew_point_04_dry_bulb_c", "dew_point_04_humidity_ratio")
    rows = [
        base.select(
            "site_id",
            "hour",
            "day_bit",
            pl.lit(1.0).alias("month_bit"),
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


def size_coil(
    terms: pl.DataFrame,
    design_loads: pl.DataFrame,
    equipment: pl.DataFrame,
    offered: pl.DataFrame,
    strategies: Sequence[Strategy],
    add: Add,
) -> pl.DataFrame:
    """Add to `loads.site_terms` what the site's coil and fan can do, and the strategies' equipment as yet without limit.

    `design_loads` holds the hours of `design_hours` with the gains of `loads.steps`, supply fan at rest. `equipment` is
    the checked table: the machine a site names there counts for the strategy it serves, with its own rating. `offered`: a row
    per site_id and strategy, of which RATING counts where the site does not work that way today. `add` adds
    the figures of a strategy's equipment to the worksheet of a site.
    """
    needs = design_loads.group_by("site_id").agg(cooling_need_kw=polars(_coil_need_w()).max() / 1000)
    own = equipment.rename({name: f"{MACHINE}{name}" for name in equipment.columns if name != "equipment_id"})
    sites = terms.join(needs, on="site_id", how="left", maintain_order="left")
    sites = sites.join(own, on="equipment_id", how="left", maintain_order="left")
    for name in _offered(offered, strategies):
        rating = offered.filter(strategy=name).select("site_id", pl.col(RATING).name.prefix(f"{OFFER}{name}."))
        sites = sites.join(rating, on="site_id", how="left", maintain_order="left")
    sheet = Worksheet()
    _size_coil(sheet)
    _water_on_the_coil(sheet)
    for strategy in strategies:
        add(sheet, strategy, Machine(strategy.name, _is_offered(sites, strategy.name)))
        for limit in strategy.device.limits if strategy.device else ():
            sheet.section(strategy.name).let(limit, UNLIMITED, "no limit until it is sized")
    return sheet.apply(
        sites.rename({"cooling_capacity_kw": "given_kw", "cooling_units": "given_units"}).lazy()
    ).collect()


def resized(terms: pl.DataFrame, equipment: pl.DataFrame, strategies: Sequence[Strategy], add: Add) -> pl.DataFrame:
    """`size_coil` of sites whose equipment is there: their `cooling_capacity_kw`, `cooling_units` and, by strategy,
    `device_capacity_l_day`, which limits the device."""
    none = pl.DataFrame(schema={"site_id": pl.String, "strategy": pl.String, "sensible_at_cooling_w": pl.Float64})
    no_design = none.with_columns(outdoor_c=0.0, rated_sensible_heat_ratio=0.0, moisture_at_limit_kg_s=0.0)
    sites = size_coil(terms, no_design, equipment, none, strategies, add)
    sheet = Worksheet()
    for strategy in strategies:
        if strategy.device:
            own = sheet.section(strategy.name)
            _limit(own, strategy.device, col(f"{strategy.name}.device_capacity_l_day"))
    limited = [f"{s.name}.{limit}" for s in strategies if s.device for limit in s.device.limits]
    return sheet.apply(sites.drop(limited).lazy()).collect()


def _offered(offered: pl.DataFrame, strategies: Sequence[Strategy]) -> list[str]:
    there = {*offered["strategy"]}
    return [strategy.name for strategy in strategies if strategy.name in there]


def _is_offered(sites: pl.DataFrame, strategy: str) -> bool:
    return f"{OFFER}{strategy}.{RATING[0]}" in sites.columns


def size_devices(sites: pl.DataFrame, design_hours: pl.DataFrame, strategies: Sequence[Strategy]) -> pl.DataFrame:
    """Add `<strategy>.device_capacity_l_day` and, where the table lists a size, `.device_units`; limit devices by them.

    `design_hours`: site_id and, per strategy with a device, `<strategy>.device_kg_s` of devices without limit. Both are
    null for strategies without one. Where it would be smaller than LEAST_DEVICE_L_DAY a device cannot be had
    (`<strategy>.unavailable`), unless it is there today.
    """
    sheet = Worksheet()
    for strategy in strategies:
        own = sheet.section(strategy.name)
        if strategy.device is None:
            own.let("device_units", None)
            own.let("device_capacity_l_day", None)
        else:
            _size_device(own, Machine(strategy.name, _is_offered(sites, strategy.name)), strategy.name, strategy.device)
    taken = design_hours.group_by("site_id").agg(
        (pl.max_horizontal(pl.col(f"{s.name}.device_kg_s").max(), 0.0) * SECONDS_A_DAY).alias(f"{s.name}.taken_l_day")
        for s in strategies
        if s.device
    )
    limited = [f"{s.name}.{limit}" for s in strategies if s.device for limit in s.device.limits]
    sites = sites.drop(limited).join(taken, on="site_id", how="left", maintain_order="left")
    types = [pl.col(f"{s.name}.device_capacity_l_day").cast(pl.Float64) for s in strategies]
    reasons = [
        pl.coalesce(f"{s.name}.unavailable", f"{s.name}.no_device").alias(f"{s.name}.unavailable")
        for s in strategies
        if s.device
    ]
    return sheet.apply(sites.lazy()).with_columns(*types, *reasons).collect()


def _size_device(own: Worksheet, machine: Machine, name: str, device: Device) -> None:
    """As large as the design hours ask, in whole machines where the table lists their size."""
    needed = own.let("needed_l_day", col(f"{name}.taken_l_day") * col("sizing_margin") / device.at_design)
    size = machine.figure("capacity_l_day")
    units = first_given(machine.figure("units"), at_least(ceiling(needed / size), 1.0))
    units = own.let("device_units", when(is_given(size)).then(units).otherwise(None), "of the size the table lists")
    today = equal(col("current_strategy"), name)
    least = when(today).then(at_least(needed, LEAST_DEVICE_L_DAY)).otherwise(needed)
    able = own.let("device_capacity_l_day", first_given(size * units, least), "at its rating")
    none = when(able < LEAST_DEVICE_L_DAY).then(NO_DEVICE).otherwise(None)
    own.let("no_device", none, "why there is none of its size")
    _limit(own, device, able)


def _limit(own: Worksheet, device: Device, able_l_day: Number) -> None:
    for limit, times in device.limits.items():
        own.let(limit, able_l_day / SECONDS_A_DAY * times, "the most it can take")


def _coil_need_w() -> Number:
    """Net rated capacity that carries this hour: all of it, and its sensible part at the rated sensible heat ratio."""
    sensible = at_least(col("sensible_at_cooling_w"), 0.0)
    total = sensible + air.EVAPORATION_J_KG * at_least(col("moisture_at_limit_kg_s"), 0.0)
    weather = 1 - cooling_coil.CAPACITY_PER_OUTDOOR_K * (col("outdoor_c") - cooling_coil.RATED_OUTDOOR_C)
    return larger(total, sensible / col("rated_sensible_heat_ratio")) / (weather * INDOOR_DERATING)


def _size_coil(sheet: Worksheet) -> None:
    c = col
    sized = at_least(c("cooling_need_kw") * c("sizing_margin"), LEAST_CAPACITY_KW)
    given = when(c("given_kw") > 0).then(c("given_kw")).otherwise(None)
    capacity = sheet.let("cooling_capacity_kw", first_given(given, sized), "given, or sized with the margin")
    units = first_given(c("given_units"), at_least(ceiling(capacity / c("cooling_unit_kw")), 1.0))
    sheet.let("cooling_units", units, "given, or as many as usual for so much capacity")
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
    choice = col("re_evaporation")
    names = ("latent_lower_slope", "latent_lower_offset", "latent_upper_slope")
    for number, name in enumerate(names):
        value: Formula | float | None = None
        for known in part_load_moisture.CHOICES:
            value = when(equal(choice, known)).then(part_load_moisture.chords(known)[number]).otherwise(value)
        sheet.let(name, value, "line of water kept against run fraction")
