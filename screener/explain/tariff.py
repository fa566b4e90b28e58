"""One tariff seen: its prices hour by hour for every month, its charges, and the bill of a load hour by hour."""

from collections.abc import Iterator, Mapping
from itertools import pairwise
from pathlib import Path
from typing import Any

import polars as pl

from screener import calendar, price, tables
from screener.errors import UsageError

HOURS = 8760
STEADY_KW = 100.0
LEDGER: Mapping[str, Any] = {"month": pl.Int8, "day_kind": pl.Enum(calendar.WEEK), "hour": pl.Int8}
ROUND = 6  # decimals of prices that are told apart


def of_folder(folder: Path, tariff_id: str, load: Path | None = None, currency: str = "USD") -> dict[str, Any]:
    """A tariff of a portfolio or folder of tariff tables (or a file of tariffs alone): `prices` (a row per month and kind of
    day, 24 prices of the first block; single days where they differ), `charges` as they hold, and `bills` by month of a
    load [kW].

    `load`: a CSV file with `electricity_kw` and, if any, `fuel_kw` of 8,760 hours from 1 January, a Monday, on; without one a
    steady 100 kW. Blocks fill hour by hour. UsageError where there is no such tariff, or the load is none.
    """
    read = tables.read_tariffs(folder, currency)
    if tariff_id not in read.tariffs["tariff_id"]:
        listed = ", ".join(read.tariffs["tariff_id"].drop_nulls().head(10))
        raise UsageError(f"{folder} has no tariff {tariff_id}; it has {listed}")
    mine = {name: table.filter(pl.col("tariff_id") == tariff_id) for name, table in read.tables.items()}
    rates = price.rates(**tables.of_rates(mine.__getitem__), kinds=calendar.WEEK)
    site = pl.DataFrame(
        {
            "site_id": [tariff_id],
            "tariff_id": [tariff_id],
            "current_strategy": [None],
            "annual_electricity_kwh": [None],
        },
        schema_overrides={"current_strategy": pl.String, "annual_electricity_kwh": pl.Float64},
    )
    hours = _hours(load).with_columns(site_id=pl.lit(tariff_id))
    lines = price.charges(price.lay_out(hours, rates, site, in_order=True), rates, "load")
    fixed = rates.months.select("month", "fixed")
    return {
        "tariff": tariff_id,
        "prices": list(_prices(rates)),
        "charges": [*_charges(rates)],
        "load": "100 kW round the clock" if load is None else load.name,
        "bills": list(_bills(price.bills(hours, rates, site, in_order=True), lines, fixed)),
    }


def _hours(load: Path | None) -> pl.DataFrame:
    """The hours of a load as a ledger has them, one after another."""
    if load is None:
        drawn = pl.DataFrame({"electricity_kw": [STEADY_KW] * HOURS, "fuel_kw": [0.0] * HOURS})
    else:
        try:
            drawn = pl.read_csv(load, glob=False)
            if "fuel_kw" not in drawn.columns:
                drawn = drawn.with_columns(fuel_kw=0.0)
            drawn = drawn.select(pl.col("electricity_kw", "fuel_kw").cast(pl.Float64))
        except (OSError, pl.exceptions.PolarsError) as error:
            raise UsageError(f"{load} is no load ({error}); give a CSV file with electricity_kw and fuel_kw") from error
    if drawn.height != HOURS or drawn.null_count().sum_horizontal().item() or drawn.min_horizontal().min() < 0:  # type: ignore[operator]
        raise UsageError(
            f"{load} has {drawn.height:,} rows; a load is {HOURS:,} hours of kilowatts, none empty or below zero"
        )
    day = pl.int_range(HOURS) // 24
    dates = pl.date(2018, 1, 1) + pl.duration(days=day)  # begins on a Monday and has 365 days
    kind = (day % 7).replace_strict(dict(enumerate(calendar.WEEK)), return_dtype=pl.String)
    return drawn.select(
        dates.dt.month().cast(LEDGER["month"]).alias("month"),
        kind.cast(LEDGER["day_kind"]).alias("day_kind"),
        (pl.int_range(HOURS) % 24).cast(LEDGER["hour"]).alias("hour"),
        pl.lit(1.0).alias("hours"),
        pl.col("electricity_kw").alias("load.electricity_kwh"),
        pl.col("fuel_kw").alias("load.fuel_kwh"),
        pl.col("electricity_kw").alias("load.peak_kw"),
        pl.col("fuel_kw").alias("load.fuel_peak_kw"),
    )


def _prices(rates: price.Rates) -> Iterator[dict[str, Any]]:
    """Month, kind of day (days in a row that differ from others of their kind: mon-thu) and 24 prices of electricity, of the
    first block where there are several."""
    energy = rates.lines.filter((pl.col("kind") == "energy") & (pl.col("above") == 0)).select("line")
    priced = rates.members.join(energy, on="line", how="semi")
    sums = priced.sort("line").group_by("month", "class").agg(pl.col("price").sum())
    times = rates.times.join(sums, on=["month", "class"], how="left", maintain_order="left")
    working = calendar.WORKING_DAYS
    for (month,), hours in times.group_by("month", maintain_order=True):
        every = [round(each or 0.0, ROUND) for each in hours["price"]]
        days = [every[24 * day : 24 * day + 24] for day in range(len(calendar.WEEK))]
        for kind, first, last in zip(calendar.DAY_KINDS, (0, working), (working, len(days)), strict=True):
            cuts = [day for day in range(first + 1, last) if days[day] != days[day - 1]]
            for begin, end in pairwise([first, *cuts, last]):
                yield {"month": month, "day_kind": _days(begin, end - 1) if cuts else kind, "prices": days[begin]}


def _days(first: int, last: int) -> str:
    """`mon-thu`."""
    begin, end = calendar.WEEK[first][:3], calendar.WEEK[last][:3]
    return begin if first == last else f"{begin}-{end}"


def _charges(rates: price.Rates) -> Iterator[dict[str, Any]]:
    """Each line once: what it charges, in which months, how many of their hours, and the block."""
    hours = rates.times.group_by("month", "class").agg(slots=pl.len())
    held = rates.members.join(hours, on=["month", "class"]).join(rates.lines.drop("tariff_id", "month"), on="line")
    keys = ["kind", "charge", "above", "up_to", "per_kw", "price"]
    found = held.group_by(keys).agg(pl.col("month").unique().sort(), pl.col("slots").sum())
    for row in found.sort("kind", "charge", "above", "price").iter_rows(named=True):
        endless = row["up_to"] == price.ENDLESS
        yield {
            "kind": row["kind"],
            "charge": row["charge"],
            "months": row["month"],
            "share_of_hours": row["slots"] / (24 * len(rates.kinds) * len(row["month"])),
            "above": row["above"],
            "up_to": None if endless else row["up_to"],
            "block_unit": "kWh per kW" if row["per_kw"] else "kW" if "demand" in row["kind"] else "kWh",
            "price": row["price"],
        }


def _bills(bills: pl.DataFrame, lines: Mapping[str, pl.DataFrame], fixed: pl.DataFrame) -> Iterator[Mapping[str, Any]]:
    """Each month: energies, highest power, what each charge comes to, and the total with what is fixed."""
    for at, row in enumerate(bills.join(fixed, on="month", maintain_order="left").iter_rows(named=True)):
        charges = [
            {"charge": charge, "amount": amount}
            for told in lines.values()
            for charge, amount in told.filter(pl.col("at") == at).select("charge", "amount").iter_rows()
        ]
        costs = {name: row[name] for name in price.COSTS}
        yield {
            "month": row["month"],
            **{name: row[name] for name in ("electricity_kwh", "peak_kw", "fuel_kwh")},
            "charges": charges,
            **costs,
            "fixed": row["fixed"],
            "total": None if None in costs.values() else row["fixed"] + sum(costs.values()),
        }
