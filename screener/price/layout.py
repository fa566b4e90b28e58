"""Tariffs laid out by time: classes of hours that are billed alike, and the price of each.

In a month, the hours inside the same windows form a class. Windows of one tariff that set the same price never overlap,
so an hour has at most one window with an energy price and at most one with a demand price, and the two tell its class.
"""

from dataclasses import dataclass

import polars as pl

from screener import calendar

SET_BY_MONTH = ("fuel_price_per_kwh", "electricity_kg_co2_per_kwh", "fuel_kg_co2_per_kwh")
PRICE, DEMAND = "electricity_price_per_kwh", "demand_price_per_kw"


@dataclass(frozen=True)
class Rates:
    """What tariffs charge, as four small tables.

    `times`: tariff_id, month, day_kind, hour, class: all slots of every tariff, in their order.
    `classes`: tariff_id, month, class, electricity_price_per_kwh (null where blocks bill the month), demand_window (null
    where no window has a demand price) and its window_price_per_kw.
    `months`: tariff_id, month, demand_price_per_kw (none is zero), fuel_price_per_kwh and the emission factors [kg
    CO2/kWh], null where the tariff does not say.
    `blocks`: tariff_id, month, above_kwh (where a block begins), block_price_per_kwh, in order.
    """

    times: pl.DataFrame
    classes: pl.DataFrame
    months: pl.DataFrame
    blocks: pl.DataFrame


def rates(
    tariffs: pl.DataFrame,
    periods: pl.DataFrame,
    tiers: pl.DataFrame,
    electricity_kg_co2_per_kwh: float | None = None,
    fuel_kg_co2_per_kwh: float | None = None,
) -> Rates:
    """The rates of tables as their contracts have them (tariffs, tariff_periods, tariff_tiers), checked.

    The emission factors [kg CO2/kWh] stand in where a tariff names none. ValueError where hours have no price: tables
    that were read have none such.
    """
    factors = {
        "electricity_kg_co2_per_kwh": electricity_kg_co2_per_kwh,
        "fuel_kg_co2_per_kwh": fuel_kg_co2_per_kwh,
    }
    in_windows = calendar.times(periods.with_row_index("window"))
    priced = _by_time(tariffs, in_windows)
    blocks = _blocks(tiers)
    return Rates(
        times=priced.select("tariff_id", *calendar.TIME, "class"),
        classes=_classes(priced, tariffs, blocks),
        months=_by_month(tariffs, periods, factors),
        blocks=blocks,
    )


def indistinct(kept: Rates, wanted: Rates) -> list[str]:
    """Tariffs of `wanted` that bill apart what `kept`, the rates a monthly ledger was summed by, does not tell apart."""
    both = kept.times.join(wanted.times, on=["tariff_id", *calendar.TIME], suffix="_wanted")
    apart = both.group_by("tariff_id", "month", "class").agg(pl.col("class_wanted").n_unique())
    return apart.filter(pl.col("class_wanted") > 1)["tariff_id"].unique().sort().to_list()


def notes(sites: pl.DataFrame, rates: Rates) -> list[str]:
    """A remark on sites whose place in the blocks of their tariff is a guess."""
    count = sites.filter(
        pl.col("tariff_id").is_in(rates.blocks["tariff_id"].implode()) & pl.col("annual_electricity_kwh").is_null()
    ).height
    whose = "1 site has a tariff in tiers" if count == 1 else f"{count:,} sites have a tariff in tiers"
    return [f"{whose} and no annual_electricity_kwh: there the tiers count the air system alone"] if count else []


def _by_time(tariffs: pl.DataFrame, in_windows: pl.DataFrame) -> pl.DataFrame:
    """Every time of every tariff with the windows it lies in, their prices, and its class, numbered from 0 by month."""
    at = ["tariff_id", *calendar.TIME]
    energy = in_windows.filter(pl.col(PRICE).is_not_null()).select(*at, PRICE, energy_window="window")
    name = pl.coalesce("period", pl.concat_str(pl.lit("window "), pl.col("window").cast(pl.String)))
    demand = in_windows.filter(pl.col(DEMAND).is_not_null()).select(
        *at, demand_window=name, window_price_per_kw=pl.col(DEMAND)
    )
    demand = demand.unique(at, keep="first", maintain_order=True)  # rows of one period may overlap
    alike = pl.struct(pl.col("energy_window").cast(pl.Int64).fill_null(-1), pl.col("demand_window").fill_null(""))
    return (
        tariffs.select("tariff_id")
        .join(calendar.year(), how="cross")
        .join(energy, on=at, how="left", maintain_order="left")
        .join(demand, on=at, how="left", maintain_order="left")
        .with_columns((alike.rank("dense").over("tariff_id", "month") - 1).cast(pl.UInt32).alias("class"))
    )


def _classes(priced: pl.DataFrame, tariffs: pl.DataFrame, blocks: pl.DataFrame) -> pl.DataFrame:
    """What each class costs: the price of its window, else blocks, else the tariff's own price."""
    own = tariffs.select("tariff_id", own_price=pl.col(PRICE).cast(pl.Float64))
    in_blocks = blocks.select("tariff_id", "month", in_blocks=True).unique()
    keys = ["tariff_id", "month", "class"]
    classes = (
        priced.unique(keys, keep="first", maintain_order=True)
        .join(own, on="tariff_id", maintain_order="left")
        .join(in_blocks, on=["tariff_id", "month"], how="left", maintain_order="left")
        .with_columns(pl.coalesce(PRICE, pl.when(pl.col("in_blocks").is_null()).then("own_price")).alias(PRICE))
    )
    gap = classes.filter(pl.col(PRICE).is_null() & pl.col("in_blocks").is_null())
    if not gap.is_empty():
        raise ValueError(f"tariff {gap['tariff_id'][0]} has hours without a price of electricity")
    return classes.select(*keys, PRICE, "demand_window", "window_price_per_kw")


def _blocks(tiers: pl.DataFrame) -> pl.DataFrame:
    """Each block of each month from where it begins, which is where the one before it ends."""
    ends = calendar.by_month(tiers).sort("tariff_id", "month", "up_to_kwh", nulls_last=True)
    begin = pl.col("up_to_kwh").shift(1).over("tariff_id", "month").fill_null(0.0)
    return ends.select("tariff_id", "month", above_kwh=begin, block_price_per_kwh=pl.col(PRICE))


def _by_month(tariffs: pl.DataFrame, periods: pl.DataFrame, factors: dict[str, float | None]) -> pl.DataFrame:
    """What is charged by the month: a row of the periods for that month, else the tariff, else the `factors`."""
    own = tariffs.select("tariff_id", pl.col(DEMAND).fill_null(0.0), *SET_BY_MONTH)
    rows = own.join(pl.DataFrame({"month": range(1, 13)}), how="cross")
    for name in SET_BY_MONTH:
        set_by = calendar.by_month(periods.filter(pl.col(name).is_not_null())).select("tariff_id", "month", here=name)
        rows = rows.join(set_by, on=["tariff_id", "month"], how="left", maintain_order="left")
        stand_in = pl.lit(factors.get(name), pl.Float64)
        rows = rows.with_columns(pl.coalesce("here", name, stand_in).cast(pl.Float64).alias(name)).drop("here")
    return rows.select("tariff_id", "month", pl.col(DEMAND).cast(pl.Float64), *SET_BY_MONTH)
