"""Energy by site, strategy, month, day kind, hour and end use: sums over the weighted hours.

The ledger keeps what pricing needs, so a new tariff never needs the engine again: per site, month, day kind and hour
each strategy's electricity, fuel and highest power. The totals keep the year's account of each site and strategy.

In an hour that temperature control alone keeps below the limit every strategy does what the reference does, so such
hours are summed once, for the reference, and the sums are given to all.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import polars as pl

from screener.physics import psychrometrics as air

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
WATER = {"water_by_coil_kg": "coil_kg_s", "water_by_device_kg": "device_kg_s"}
ELECTRICITY = tuple(name for name in END_USES if "fuel" not in name)
FUEL = tuple(name for name in END_USES if "fuel" in name)
OVER_LIMIT = 1.005  # above the limit counts from half a percent of humidity ratio, about 0.07 K of dew point
SHARE_ABOVE_P95 = 0.05
WORKING_DAYS = 5  # Monday to Friday: a day kind of tariffs; which days a site is open is another matter
DAY_KINDS = pl.Enum(["working", "other"])
SLOTS = 12 * 2 * 24  # month, day kind, hour


@dataclass(frozen=True)
class Accounts:
    """`ledger`: one row per site, month, day kind and hour, `totals`: one per site and strategy (see the contracts)."""

    ledger: pl.DataFrame
    totals: pl.DataFrame


def slot() -> pl.Expr:
    """Number of an hour's month, day kind and hour, 0 to 575: what the ledger sorts hours into. For the weather table."""
    other = pl.col("day_of_week").cast(pl.UInt32) // WORKING_DAYS
    return ((pl.col("month").cast(pl.UInt32) - 1) * 48 + other * 24 + pl.col("hour").cast(pl.UInt32)).alias("slot")


def wanted(strategy: str) -> list[str]:
    """The columns of a worked hour that the accounts are taken from, as far as the strategy has them."""
    names = [*END_USES.values(), *WATER.values(), "electricity_w", "humidity_ratio", "standing_w"]
    return [f"{strategy}.{name}" for name in names]


def accumulate(
    hours: pl.DataFrame, damp_hours: pl.DataFrame, sites: pl.DataFrame, strategies: Sequence[str], reference: str
) -> Accounts:
    """Take the accounts of a batch of sites. In memory and in order, so that sums come out the same to the last bit.

    `hours`: every hour of every site with the reference worked out (site u32, slot, weight_h, damp, limit_humidity_ratio,
    moisture_at_limit_kg_s and the `wanted` columns); `damp_hours`: those with `damp`, the other strategies worked out.
    `sites`: site, site_id, pressure_pa and per strategy `<strategy>.unavailable` (reason or null) and, where it has a
    device, `<strategy>.device_capacity_l_day`.
    """
    hours, damp_hours = (f.with_columns(group=pl.col("site") * SLOTS + pl.col("slot")) for f in (hours, damp_hours))
    acting = [s for s in strategies if s != reference]
    dry = hours.filter(~pl.col("damp")).group_by("group").agg(_dry_sums(hours.columns, reference, acting))
    damp = damp_hours.group_by("group").agg(_damp_sums(damp_hours.columns, strategies))
    slots = _add_up(dry, damp, strategies, reference)
    reached = _humidity_of_reference(hours, reference).join(_humidity_of(damp_hours, acting), on="site", how="left")
    reached = reached.with_columns(pl.col(f"{s}.p95").fill_null(pl.col(f"{reference}.p95")) for s in acting)
    return Accounts(_ledger(slots, sites, strategies), _totals(slots, reached, sites, strategies, reference))


def _sum(column: str, weight: pl.Expr, name: str) -> pl.Expr:
    return (pl.col(column) * weight).sum().alias(name)


def _uses(present: Sequence[str], strategy: str, prefix: str = "") -> list[pl.Expr]:
    kwh, kg = pl.col("weight_h") / 1000, pl.col("weight_h") * 3600
    return [
        _sum(f"{strategy}.{hourly}", weight, f"{prefix}{strategy}.{total}")
        for uses, weight in ((END_USES, kwh), (WATER, kg))
        for total, hourly in uses.items()
        if f"{strategy}.{hourly}" in present
    ]


def _site_sums(prefix: str) -> list[pl.Expr]:
    load = pl.max_horizontal("moisture_at_limit_kg_s", pl.lit(0.0)) * pl.col("weight_h") * 3600
    return [pl.col("weight_h").sum().alias(f"{prefix}hours"), load.sum().alias(f"{prefix}moisture_load_kg")]


def _dry_sums(present: Sequence[str], reference: str, acting: Sequence[str]) -> list[pl.Expr]:
    power = pl.col(f"{reference}.electricity_w")
    sums = [*_site_sums("dry."), *_uses(present, reference, "dry."), (power.max() / 1000).alias("dry.peak_kw")]
    for s in acting:
        if f"{s}.standing_w" in present:
            sums.append(_sum(f"{s}.standing_w", pl.col("weight_h") / 1000, f"dry.{s}.standing_kwh"))
            sums.append(((power + pl.col(f"{s}.standing_w")).max() / 1000).alias(f"dry.{s}.peak_kw"))
    return sums


def _damp_sums(present: Sequence[str], strategies: Sequence[str]) -> list[pl.Expr]:
    sums = _site_sums("")
    for s in strategies:
        over = pl.col(f"{s}.humidity_ratio") > OVER_LIMIT * pl.col("limit_humidity_ratio")
        sums += _uses(present, s)
        sums.append(pl.when(over).then(pl.col("weight_h")).otherwise(0.0).sum().alias(f"{s}.hours_above_limit"))
        sums.append((pl.col(f"{s}.electricity_w").max() / 1000).alias(f"{s}.peak_kw"))
    return sums


def _humidity_of_reference(hours: pl.DataFrame, reference: str) -> pl.DataFrame:
    humidity = pl.col(f"{reference}.humidity_ratio")
    return hours.group_by("site").agg(humidity.quantile(1 - SHARE_ABOVE_P95, "higher").alias(f"{reference}.p95"))


def _humidity_of(damp_hours: pl.DataFrame, strategies: Sequence[str]) -> pl.DataFrame:
    """The humidity that 5 % of all hours exceed, null where fewer than 5 % are damp: then it is the reference's.

    Dry hours lie below the limit and damp ones at it or above, so the dampest 5 % are looked for among the damp.
    """
    rank = (pl.col("hours_of_site").first() * SHARE_ABOVE_P95).floor().cast(pl.UInt32)
    return damp_hours.group_by("site").agg(
        pl.col(f"{s}.humidity_ratio").sort(descending=True).get(rank, null_on_oob=True).alias(f"{s}.p95")
        for s in strategies
    )


def _add_up(dry: pl.DataFrame, damp: pl.DataFrame, strategies: Sequence[str], reference: str) -> pl.DataFrame:
    """Both sums by site and slot, every strategy with every end use."""
    both = dry.join(damp, on="group", how="full", coalesce=True)
    have = set(both.columns)

    def of(*names: str) -> pl.Expr:
        found = [pl.col(name) for name in names if name in have]
        return pl.sum_horizontal(found) if found else pl.lit(0.0)

    columns = [pl.col("group"), of("dry.hours", "hours").alias("hours")]
    columns.append(of("dry.moisture_load_kg", "moisture_load_kg").alias("moisture_load_kg"))
    for s in strategies:
        for total in (*END_USES, *WATER):
            standing = [f"dry.{s}.standing_kwh"] if total == "dehumidifier_kwh" else []
            columns.append(of(f"dry.{reference}.{total}", f"{s}.{total}", *standing).alias(f"{s}.{total}"))
        columns.append(of(f"{s}.hours_above_limit").alias(f"{s}.hours_above_limit"))
        peak = f"dry.{s}.peak_kw" if f"dry.{s}.peak_kw" in have else "dry.peak_kw"
        columns.append(pl.max_horizontal(peak, f"{s}.peak_kw").alias(f"{s}.peak_kw"))
    slots = both.select(columns).with_columns(
        pl.sum_horizontal(f"{s}.{use}" for use in uses).alias(f"{s}.{carrier}")
        for s in strategies
        for carrier, uses in (("electricity_kwh", ELECTRICITY), ("fuel_kwh", FUEL))
    )
    return slots.with_columns(site=pl.col("group") // SLOTS, slot=pl.col("group") % SLOTS).sort("group")


def _ledger(slots: pl.DataFrame, sites: pl.DataFrame, strategies: Sequence[str]) -> pl.DataFrame:
    slot = pl.col("slot")
    unavailable = sites.select("site", "site_id", *(f"{s}.unavailable" for s in strategies))
    kind = pl.when(slot // 24 % 2 == 0).then(pl.lit("working")).otherwise(pl.lit("other"))
    return slots.join(unavailable, on="site", maintain_order="left").select(
        "site_id",
        (slot // 48 + 1).cast(pl.Int8).alias("month"),
        kind.cast(DAY_KINDS).alias("day_kind"),
        (slot % 24).cast(pl.Int8).alias("hour"),
        pl.col("hours").cast(pl.Float32),
        *(
            pl.when(pl.col(f"{s}.unavailable").is_null())
            .then(pl.col(f"{s}.{name}"))
            .cast(pl.Float32)
            .alias(f"{s}.{name}")
            for s in strategies
            for name in ("electricity_kwh", "fuel_kwh", "peak_kw")
        ),
    )


def _totals(
    slots: pl.DataFrame, reached: pl.DataFrame, sites: pl.DataFrame, strategies: Sequence[str], reference: str
) -> pl.DataFrame:
    summed = [*END_USES, *WATER, "electricity_kwh", "fuel_kwh", "hours_above_limit"]
    year = slots.group_by("site", maintain_order=True).agg(
        pl.col("moisture_load_kg").sum(),
        *(pl.col(f"{s}.{name}").sum() for s in strategies for name in summed),
        *(pl.col(f"{s}.peak_kw").max() for s in strategies),
    )
    year = year.join(reached, on="site").join(sites, on="site").sort("site")
    long = pl.concat([_of_strategy(year, s, reference, summed) for s in strategies])
    return long.sort("site", maintain_order=True).drop("site")


def _of_strategy(year: pl.DataFrame, strategy: str, reference: str, summed: Sequence[str]) -> pl.DataFrame:
    """One strategy's account; litres per kWh counts water and energy beyond the reference's."""
    s, ref = strategy, reference
    available = pl.col(f"{s}.unavailable").is_null()
    water = [pl.sum_horizontal(f"{name}.{part}" for part in WATER) for name in (s, ref)]
    energy = [pl.sum_horizontal(f"{name}.electricity_kwh", f"{name}.fuel_kwh") for name in (s, ref)]
    extra_water, extra_energy = water[0] - water[1], energy[0] - energy[1]
    device = f"{s}.device_capacity_l_day"
    capacity = pl.col(device) if device in year.columns else pl.lit(None, dtype=pl.Float64)
    values = {name: pl.col(f"{s}.{name}") for name in summed} | {
        "dehumidification_kwh": extra_energy,
        "water_removed_kg": water[0],
        "litres_per_kwh": pl.when((extra_energy > 0) & (extra_water > 0)).then(extra_water / extra_energy),
        "dew_point_p95_c": air.dew_point(pl.col(f"{s}.p95"), pl.col("pressure_pa")),
        "peak_kw": pl.col(f"{s}.peak_kw"),
        "device_capacity_l_day": capacity,
    }
    return year.select(
        "site",
        "site_id",
        pl.lit(s).alias("strategy"),
        pl.col(f"{s}.unavailable").alias("unavailable"),
        "moisture_load_kg",
        *(pl.when(available).then(value).alias(name) for name, value in values.items()),
    )
