"""Energy by site, strategy, month, day kind, hour and end use: sums over the weighted hours.

The ledger keeps what pricing needs, so a new tariff never needs the engine again: per site, month, day kind and hour
each strategy's electricity, fuel and highest power. The totals keep the year's account of each site and strategy.

In an hour that temperature control alone keeps below the limit every strategy does what the reference does, so such
hours are summed once, for the reference, and the sums are given to all.
"""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from screener.bounds import at_least
from screener.exact import grained, in_order
from screener.physics import psychrometrics as air
from screener.physics import refrigeration
from screener.units import PINT_L
from screener.worksheet.compiled import Sums, Tallies, Tally

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


def dry(present: Collection[str], strategies: Sequence[str], reference: str) -> Tallies:
    """What is added up over the dry hours, in which the steps `present` are worked out: the reference, and what the
    others draw or save beside it."""
    acting = [s for s in strategies if s != reference]
    power = pl.col(f"{reference}.electricity_w")
    slot = [Tally("dry.hours", pl.col("weight_h")), Tally("dry.peak_kw", power / 1000, "max")]
    slot += _carriers(present, reference, "dry.")
    for s in acting:
        slot += _carriers(present, f"{s}.standing", f"dry.{s}.standing.")
        if (standing := f"{s}.standing.electricity_w") in present:
            slot.append(Tally(f"dry.{s}.peak_kw", (power + pl.col(standing)) / 1000, "max"))
    year = [_moisture_load("dry.moisture_load_kg")]
    year.append(Tally("dry.most_humidity_ratio", pl.col(f"{reference}.humidity_ratio"), "max"))
    year += _uses(present, reference, "dry.")
    year += [use for s in acting for use in _uses(present, f"{s}.standing", f"dry.{s}.standing.")]
    return Tallies(slot, year)


def damp(present: Collection[str], strategies: Sequence[str], reference: str) -> Tallies:
    """What is added up over the damp hours, in which every strategy is worked out."""
    slot, year = [Tally("hours", pl.col("weight_h"))], [_moisture_load("moisture_load_kg")]
    undried = pl.col(f"{reference}.humidity_ratio")
    for s in strategies:
        slot += _carriers(present, s, f"{s}.")
        slot.append(Tally(f"{s}.peak_kw", pl.col(f"{s}.electricity_w") / 1000, "max"))
        humidity = pl.col(f"{s}.humidity_ratio")
        over = humidity > OVER_LIMIT * pl.col("limit_humidity_ratio")
        year += _uses(present, s, f"{s}.")
        year += [
            Tally(f"{s}.most_humidity_ratio", humidity, "max"),
            Tally(f"{s}.drier_h", (undried - humidity) * pl.col("weight_h")),
            Tally(f"{s}.hours_above_limit", pl.when(over).then(pl.col("weight_h")).otherwise(0.0)),
        ]
    return Tallies(slot, year)


def dampest(dry_hours: NDArray[np.float64], damp_hours: NDArray[np.float64]) -> NDArray[np.float64]:
    """The humidity ratio that 5 % of a site's hours exceed, of each strategy.

    `dry_hours`: the humidity ratios of dry hours, the same for all, among -inf for others; `damp_hours` [strategy, hour]:
    those of damp ones, which lie at the limit or above it in most cases and so are looked at first.
    """
    count = damp_hours.shape[1]
    rank = int((np.count_nonzero(dry_hours > -np.inf) + count) * SHARE_ABOVE_P95)
    damp = np.sort(damp_hours, axis=1)[:, -1 - rank :]  # faster than a partition of so few
    if count > rank and damp[:, 0].min() >= dry_hours.max():
        return damp[:, 0]
    dry = np.partition(dry_hours, -1 - rank)[-1 - rank :]
    return np.sort(np.hstack([damp, np.tile(dry, (len(damp), 1))]), axis=1)[:, -1 - rank]


def accumulate(sums: Sums, sites: pl.DataFrame, strategies: Sequence[str]) -> Accounts:
    """The accounts of a batch of sites from the sums over their hours, `finished` by `dampest`.

    `sites`, in the order of the sums: site_id, pressure_pa, saturated_at_cooling, case_electricity_w and per
    strategy `<strategy>.unavailable` (reason or null) and, where they are known, `<strategy>.device_capacity_l_day`,
    `.device_units` and `.note`.
    """
    ledger = _ledger(sums.slots, sites, strategies)
    reached = {f"{s}.p95": sums.finished[:, i] for i, s in enumerate(strategies)}
    peaks = ledger.group_by("site_id").agg(pl.col(f"{s}.peak_kw").max().cast(pl.Float64) for s in strategies)
    years = sites.with_columns(pl.Series(name, values) for name, values in (sums.years | reached).items())
    return Accounts(ledger, years.join(peaks, on="site_id", maintain_order="left"))


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


def _kwh(power: str, name: str) -> Tally:
    return Tally(name, pl.col(power) * (pl.col("weight_h") / 1000))


def _carriers(present: Collection[str], strategy: str, prefix: str) -> list[Tally]:
    return [_kwh(f"{strategy}.{c}_w", f"{prefix}{c}_kwh") for c in CARRIERS if f"{strategy}.{c}_w" in present]


def _uses(present: Collection[str], strategy: str, prefix: str) -> list[Tally]:
    """End uses and water of a year, as far as the strategy has them."""
    kg = pl.col("weight_h") * 3600
    uses = [_kwh(f"{strategy}.{w}", f"{prefix}{kwh}") for kwh, w in END_USES.items() if f"{strategy}.{w}" in present]
    return uses + [
        Tally(f"{prefix}{total}", pl.col(f"{strategy}.{flow}") * kg)
        for total, flow in WATER.items()
        if f"{strategy}.{flow}" in present
    ]


def _moisture_load(name: str) -> Tally:
    return Tally(name, at_least(pl.col("moisture_at_limit_kg_s"), 0.0) * pl.col("weight_h") * 3600)


def _total(have: Sequence[str], *names: str) -> pl.Expr:
    """What is there of these columns, added up."""
    total = pl.lit(0.0)
    for found in (name for name in names if name in have):
        total = total + pl.col(found)
    return total


def _ledger(sums: Mapping[str, NDArray[np.float64]], sites: pl.DataFrame, strategies: Sequence[str]) -> pl.DataFrame:
    there = {f"{s}.there": pl.col(f"{s}.unavailable").is_null() for s in strategies}
    each = sites.select("site_id", **there)[np.repeat(np.arange(sites.height, dtype=np.uint32), SLOTS)]
    slots = each.with_columns(
        pl.Series("slot", np.tile(np.arange(SLOTS, dtype=np.int16), sites.height)),
        *(pl.Series(name, values.ravel()) for name, values in sums.items()),
    )
    if (slots["dry.hours"] + slots["hours"]).min() == 0:  # a file without some of them
        slots = slots.filter(pl.col("dry.hours") + pl.col("hours") > 0)
    have, slot = slots.columns, pl.col("slot")
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
        columns += [pl.when(f"{s}.there").then(v).cast(pl.Float32).alias(f"{s}.{name}") for name, v in values.items()]
    return slots.select(
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
