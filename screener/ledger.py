"""Energy by site, strategy, month, day kind, hour and end use: sums over the weighted hours.

The ledger keeps what pricing needs, so a new tariff never needs the engine again: per site, month, day kind and hour
each strategy's electricity, fuel and highest power. The totals keep the year's account of each site and strategy.

In an hour that temperature control alone keeps below the limit every strategy does what the reference does, so such
hours are summed once, for the reference, and the sums are given to all.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import polars as pl

from screener.exact import grained, in_order
from screener.physics import psychrometrics as air
from screener.physics import refrigeration
from screener.units import PINT_L

END_USES = {  # total of the year in kWh: power in the hour in W
    "compressor_kwh": "compressor_w",
    "fans_kwh": "fans_w",
    "dehumidifier_kwh": "dehumidifier_w",
    "reheat_electricity_kwh": "reheat_electricity_w",
    "heating_electricity_kwh": "heating_electricity_w",
    "reheat_fuel_kwh": "reheat_fuel_w",
    "regeneration_fuel_kwh": "regeneration_fuel_w",
    "heating_fuel_kwh": "heating_fuel_w",
}
REACHED = ("dew_point_p95_c", "dew_point_highest_c")
WATER = {"water_by_coil_kg": "coil_kg_s", "water_by_device_kg": "device_kg_s"}
ELECTRICITY = tuple(name for name in END_USES if "fuel" not in name)
CARRIERS = ("electricity", "fuel")
FUEL = tuple(name for name in END_USES if "fuel" in name)
OVER_LIMIT = 1.005  # above the limit counts from half a percent of humidity ratio, about 0.07 K of dew point
SHARE_ABOVE_P95 = 0.05
WORKING_DAYS = 5  # Monday to Friday: a day kind of tariffs; which days a site is open is another matter
DAY_KINDS = pl.Enum(["working", "other"])
SLOTS = 12 * 2 * 24  # month, day kind, hour


@dataclass(frozen=True)
class Accounts:
    """A batch: `ledger` as its contract says, and the `years` of its sites, sums of dry and damp hours side by side."""

    ledger: pl.DataFrame
    years: pl.DataFrame


def slot() -> pl.Expr:
    """Number of an hour's month, day kind and hour, 0 to 575: what the ledger sorts hours into. For the weather table."""
    other = pl.col("day_of_week").cast(pl.UInt32) // WORKING_DAYS
    return ((pl.col("month").cast(pl.UInt32) - 1) * 48 + other * 24 + pl.col("hour").cast(pl.UInt32)).alias("slot")


def wanted(strategy: str) -> list[str]:
    """The columns of a worked hour that the accounts are taken from, as far as the strategy has them."""
    hourly = [*END_USES.values(), *WATER.values(), "electricity_w", "fuel_w", "humidity_ratio"]
    return [f"{strategy}.{name}" for name in hourly] + standing(strategy)


def standing(strategy: str) -> list[str]:
    """The columns of a worked hour that say what a strategy draws or saves while the space is dry."""
    return [f"{strategy}.standing.{name}" for name in (*END_USES.values(), "electricity_w", "fuel_w")]


def accumulate(
    hours: pl.DataFrame, damp_hours: pl.DataFrame, sites: pl.DataFrame, strategies: Sequence[str], reference: str
) -> Accounts:
    """Take the accounts of a batch of sites. In memory and in order, so that sums come out the same to the last bit.

    `hours`: every hour of every site with the reference worked out (site u32, slot, weight_h, damp,
    moisture_at_limit_kg_s and the `wanted` columns); `damp_hours`: those with `damp`, the other strategies worked out,
    and limit_humidity_ratio. `sites`: site, site_id, pressure_pa, hours_of_site, saturated_at_cooling,
    case_electricity_w and per strategy `<strategy>.unavailable` (reason or null) and, where they are known,
    `<strategy>.device_capacity_l_day`, `.device_units` and `.note`.
    """
    acting = [s for s in strategies if s != reference]
    group = (pl.col("site") * SLOTS + pl.col("slot")).alias("group")
    hours, damp_hours = (f.with_columns(group, pl.col("site").set_sorted()) for f in (hours, damp_hours))
    asked = {*wanted(reference), *(name for s in acting for name in standing(s))}
    used = [name for name in hours.columns if name in asked]
    dry = hours.lazy().filter(~pl.col("damp")).select("group", "site", "weight_h", "moisture_at_limit_kg_s", *used)
    dry = dry.collect(engine="in-memory").lazy()  # once for both sums
    slots = _added(
        dry.group_by("group").agg(_dry_slot(hours.columns, reference, acting)),
        damp_hours.lazy().group_by("group").agg(_damp_slot(damp_hours.columns, strategies)),
        "group",
    )
    years = _added(
        dry.group_by("site").agg(_dry_year(hours.columns, reference, acting)),
        damp_hours.lazy().group_by("site").agg(_damp_year(damp_hours.columns, strategies, reference)),
        "site",
    )
    reached = _humidity_reached(hours, damp_hours, sites, strategies, reference)
    ledger = _ledger(slots, sites, strategies)
    peaks = ledger.group_by("site_id").agg(pl.col(f"{s}.peak_kw").max().cast(pl.Float64) for s in strategies)
    years = sites.join(years, on="site").join(reached, on="site").join(peaks, on="site_id").sort("site")
    return Accounts(ledger, years)


def totals(years: pl.DataFrame, strategies: Sequence[str], reference: str) -> pl.DataFrame:
    """The year's account of each site and strategy, one row each, from the sums of all batches."""
    have = years.columns
    summed = {
        f"{s}.{name}": _total(have, f"dry.{name}", f"{s}.{name}", f"dry.{s}.standing.{name}")
        for s in strategies
        for name in (*END_USES, *WATER)
    }
    years = years.with_columns(**summed)
    long = pl.concat([_of_strategy(years, s, reference) for s in strategies])
    dew_points = {name: air.dew_point(pl.col(name), pl.col("pressure_pa")) for name in REACHED}
    return long.with_columns(**dew_points).sort("site", maintain_order=True).drop("site", "pressure_pa")


def peaks(ledger: pl.LazyFrame, strategies: Sequence[str]) -> pl.DataFrame:
    """The hour of each strategy's highest power in a ledger, the earliest of equal ones.

    One row per strategy: strategy, month, day_kind, hour, peak_kw.
    """
    when = ["month", "day_kind", "hour"]
    rows = [
        ledger.sort(f"{s}.peak_kw", *when, descending=[True, False, False, False], nulls_last=True)
        .head(1)
        .select(pl.lit(s).alias("strategy"), *when, pl.col(f"{s}.peak_kw").cast(pl.Float64).alias("peak_kw"))
        for s in strategies
    ]
    return pl.concat(rows).collect()


def _kwh(column: str, name: str) -> pl.Expr:
    return (pl.col(column) * pl.col("weight_h") / 1000).sum().alias(name)


def _peak(power: pl.Expr, name: str) -> pl.Expr:
    return (power.max() / 1000).alias(name)


def _dry_slot(present: Sequence[str], reference: str, acting: Sequence[str]) -> list[pl.Expr]:
    power = pl.col(f"{reference}.electricity_w")
    sums = [pl.col("weight_h").sum().alias("dry.hours"), _peak(power, "dry.peak_kw")]
    sums += [_kwh(f"{reference}.{c}_w", f"dry.{c}_kwh") for c in CARRIERS if f"{reference}.{c}_w" in present]
    for s in acting:
        for c in CARRIERS:
            if f"{s}.standing.{c}_w" in present:
                sums.append(_kwh(f"{s}.standing.{c}_w", f"dry.{s}.standing.{c}_kwh"))
        if f"{s}.standing.electricity_w" in present:
            sums.append(_peak(power + pl.col(f"{s}.standing.electricity_w"), f"dry.{s}.peak_kw"))
    return sums


def _damp_slot(present: Sequence[str], strategies: Sequence[str]) -> list[pl.Expr]:
    sums = [pl.col("weight_h").sum().alias("hours")]
    for s in strategies:
        sums += [_kwh(f"{s}.{c}_w", f"{s}.{c}_kwh") for c in CARRIERS if f"{s}.{c}_w" in present]
        sums.append(_peak(pl.col(f"{s}.electricity_w"), f"{s}.peak_kw"))
    return sums


def _year(present: Sequence[str], strategy: str, prefix: str) -> list[pl.Expr]:
    kg = pl.col("weight_h") * 3600
    uses = [_kwh(f"{strategy}.{w}", f"{prefix}{kwh}") for kwh, w in END_USES.items() if f"{strategy}.{w}" in present]
    return uses + [
        (pl.col(f"{strategy}.{flow}") * kg).sum().alias(f"{prefix}{total}")
        for total, flow in WATER.items()
        if f"{strategy}.{flow}" in present
    ]


def _moisture_load(name: str) -> pl.Expr:
    positive = pl.max_horizontal("moisture_at_limit_kg_s", pl.lit(0.0))
    return (positive * pl.col("weight_h") * 3600).sum().alias(name)


def _dry_year(present: Sequence[str], reference: str, acting: Sequence[str]) -> list[pl.Expr]:
    standing = [part for s in acting for part in _year(present, f"{s}.standing", f"dry.{s}.standing.")]
    dampest = pl.col(f"{reference}.humidity_ratio").max().alias("dry.most_humidity_ratio")
    return [_moisture_load("dry.moisture_load_kg"), dampest, *_year(present, reference, "dry."), *standing]


def _damp_year(present: Sequence[str], strategies: Sequence[str], reference: str) -> list[pl.Expr]:
    sums = [_moisture_load("moisture_load_kg")]
    undried = pl.col(f"{reference}.humidity_ratio")
    for s in strategies:
        humidity = pl.col(f"{s}.humidity_ratio")
        sums.append(humidity.max().alias(f"{s}.most_humidity_ratio"))
        sums.append(((undried - humidity) * pl.col("weight_h")).sum().alias(f"{s}.drier_h"))
        over = pl.col(f"{s}.humidity_ratio") > OVER_LIMIT * pl.col("limit_humidity_ratio")
        hours = pl.when(over).then(pl.col("weight_h")).otherwise(0.0).sum()
        sums += [*_year(present, s, f"{s}."), hours.alias(f"{s}.hours_above_limit")]
    return sums


def _added(dry: pl.LazyFrame, damp: pl.LazyFrame, key: str) -> pl.DataFrame:
    """Both sums side by side, nothing where one has none."""
    return (
        dry.collect(engine="in-memory")
        .join(damp.collect(engine="in-memory"), on=key, how="full", coalesce=True)
        .with_columns(pl.exclude(key).fill_null(0.0))
        .sort(key)
    )


def _total(have: Sequence[str], *names: str) -> pl.Expr:
    """What is there of these columns, added up."""
    total = pl.lit(0.0)
    for found in (name for name in names if name in have):
        total = total + pl.col(found)
    return total


def _humidity_reached(
    hours: pl.DataFrame, damp_hours: pl.DataFrame, sites: pl.DataFrame, strategies: Sequence[str], reference: str
) -> pl.DataFrame:
    """The humidity that 5 % of all hours exceed: `site` and `<strategy>.p95`.

    Dry hours lie below the limit and damp ones at it or above, so the dampest 5 % are looked for among the damp; where
    fewer hours are damp, all strategies share the reference's.
    """
    rank = (pl.col("hours_of_site").first() * SHARE_ABOVE_P95).floor().cast(pl.UInt32)
    humidities = damp_hours.select("site", *(f"{s}.humidity_ratio" for s in strategies))
    ranked = (
        humidities.join(sites.select("site", "hours_of_site"), on="site")
        .group_by("site")
        .agg(
            pl.col(f"{s}.humidity_ratio").sort(descending=True).get(rank, null_on_oob=True).alias(f"{s}.p95")
            for s in strategies
        )
    )
    reached = sites.select("site").join(ranked, on="site", how="left")
    few = reached.filter(pl.col(f"{reference}.p95").is_null()).select("site")
    humidity = pl.col(f"{reference}.humidity_ratio").quantile(1 - SHARE_ABOVE_P95, "higher")
    shared = (
        hours.select("site", f"{reference}.humidity_ratio")
        .join(few, on="site", how="semi")
        .group_by("site")
        .agg(humidity.alias("shared"))
    )
    return reached.join(shared, on="site", how="left").select(
        "site", *(pl.coalesce(f"{s}.p95", "shared").alias(f"{s}.p95") for s in strategies)
    )


def _ledger(slots: pl.DataFrame, sites: pl.DataFrame, strategies: Sequence[str]) -> pl.DataFrame:
    have, slot = slots.columns, pl.col("group") % SLOTS
    kind = pl.when(slot // 24 % 2 == 0).then(pl.lit("working")).otherwise(pl.lit("other"))
    columns: list[pl.Expr] = []
    for s in strategies:
        peak = f"dry.{s}.peak_kw" if f"dry.{s}.peak_kw" in have else "dry.peak_kw"
        standing = f"dry.{s}.standing.electricity_kwh"
        electricity = _total(have, "dry.electricity_kwh", f"{s}.electricity_kwh", standing)
        values = {
            "electricity_kwh": grained(electricity),
            "fuel_kwh": grained(_total(have, "dry.fuel_kwh", f"{s}.fuel_kwh", f"dry.{s}.standing.fuel_kwh")),
            "peak_kw": pl.max_horizontal(peak, f"{s}.peak_kw"),
        }
        there = pl.col(f"{s}.unavailable").is_null()
        columns += [pl.when(there).then(v).cast(pl.Float32).alias(f"{s}.{name}") for name, v in values.items()]
    named = slots.with_columns(site=pl.col("group") // SLOTS).join(
        sites.select("site", "site_id", *(f"{s}.unavailable" for s in strategies)), on="site", maintain_order="left"
    )
    return named.select(
        "site_id",
        (slot // 48 + 1).cast(pl.Int8).alias("month"),
        kind.cast(DAY_KINDS).alias("day_kind"),
        (slot % 24).cast(pl.Int8).alias("hour"),
        (pl.col("dry.hours") + pl.col("hours")).cast(pl.Float32).alias("hours"),
        *columns,
    )


def _if_there(years: pl.DataFrame, column: str, dtype: type[pl.DataType]) -> pl.Expr:
    return pl.col(column).cast(dtype) if column in years.columns else pl.lit(None, dtype=dtype)


def _of_strategy(years: pl.DataFrame, strategy: str, reference: str) -> pl.DataFrame:
    """One strategy's account; litres per kWh counts water and energy beyond the reference's."""

    def sums(name: str) -> list[pl.Expr]:
        return [in_order(pl.col(f"{name}.{part}") for part in parts) for parts in (ELECTRICITY, FUEL, WATER)]

    (electricity, fuel, water), (base_electricity, base_fuel, base_water) = sums(strategy), sums(reference)
    extra_water = water - base_water
    extra_energy = (electricity - base_electricity) + (fuel - base_fuel)
    dampest = pl.max_horizontal("dry.most_humidity_ratio", f"{strategy}.most_humidity_ratio")
    drier_pct_h = 100 * pl.col(f"{strategy}.drier_h") / pl.col("saturated_at_cooling")
    cases = pl.col("case_electricity_w") / 1000 * drier_pct_h
    values = {name: pl.col(f"{strategy}.{name}") for name in (*END_USES, *WATER, "hours_above_limit", "peak_kw")} | {
        "electricity_kwh": electricity,
        "fuel_kwh": fuel,
        "dehumidification_kwh": extra_energy,
        "standing_kwh": _total(years.columns, *(f"dry.{strategy}.standing.{use}" for use in END_USES)),
        "water_removed_kg": water,
        "litres_per_kwh": pl.when((extra_energy > 0) & (extra_water > 0)).then(extra_water / extra_energy),
        "dew_point_p95_c": pl.col(f"{strategy}.p95"),  # as humidity ratios until all strategies are together
        "dew_point_highest_c": dampest,
        "refrigeration_saved_kwh": cases * refrigeration.ENERGY_PER_RH_PCT,
        "refrigeration_saved_high_kwh": cases * refrigeration.ENERGY_PER_RH_PCT_HIGH,
        "anti_sweat_saved_kwh": cases * refrigeration.ANTI_SWEAT_PER_RH_PCT,
        "device_capacity_l_day": _if_there(years, f"{strategy}.device_capacity_l_day", pl.Float64),
        "device_capacity_pints_day": _if_there(years, f"{strategy}.device_capacity_l_day", pl.Float64) / PINT_L,
        "device_units": _if_there(years, f"{strategy}.device_units", pl.Int64),
        "note": _if_there(years, f"{strategy}.note", pl.String),
    }
    available = pl.col(f"{strategy}.unavailable").is_null()
    return years.select(
        "site",
        "pressure_pa",
        "site_id",
        pl.lit(strategy).alias("strategy"),
        pl.col(f"{strategy}.unavailable").alias("unavailable"),
        (pl.col("dry.moisture_load_kg") + pl.col("moisture_load_kg")).alias("moisture_load_kg"),
        *(pl.when(available).then(value).alias(name) for name, value in values.items()),
    )
