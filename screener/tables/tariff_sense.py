"""What is possible in a tariff and unlikely: prices out of their usual range, with the unit they would make sense in.

Notes, not faults: a price may be what it is. Ranges hold for currencies whose unit is of the order of a dollar; they are those
of commercial customers in the United States with room on both sides (of 1,847 published sheets the 1st and 99th percentile
lie inside), common practice, no source.
"""

from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass

import polars as pl

from screener import calendar, units
from screener.errors import no_faults
from screener.tables import written
from screener.tables.checking import CheckedTable, row_faults

DOLLAR_LIKE = ("USD", "EUR", "GBP", "CHF", "CAD", "AUD", "NZD", "SGD")
ADDING = "tariff_charges"  # whose prices add up: each may be small
MANY = 5  # rows listed in a note


@dataclass(frozen=True)
class Usual:
    """The usual range of a price and what it would be per one of it if the figure were in another unit."""

    low: float
    high: float
    per: str
    others: Mapping[str, float]


FUEL_UNITS = {"therm": 1 / units.THERM_KWH, "MMBtu": 1 / units.MMBTU_KWH, "Mcf": 1 / units.MCF_KWH, "MWh": 1e-3}
USUAL: Mapping[str, Usual] = {
    "electricity_price_per_kwh": Usual(0.03, 0.50, "kWh", {"in cents": 0.01, "per MWh": 1e-3}),
    "demand_price_per_kw": Usual(0.0, 60.0, "kW", {"in cents": 0.01, "per year": 1 / 12, "per MW": 1e-3}),
    "fuel_price_per_kwh": Usual(
        0.01,
        0.12,
        "kWh",
        {f"per {unit}": factor for unit, factor in FUEL_UNITS.items()}
        | {"in cents": 0.01, "in cents per therm": 0.01 / units.THERM_KWH, "per kWh": 1.0},
    ),
    "fuel_demand_price_per_kw": Usual(0.0, 5.0, "kW", {"per therm_h": 1 / units.THERM_KWH, "in cents": 0.01}),
}
PERCENTS = {"electricity_percent": (0.2, 40.0), "fuel_percent": (0.2, 40.0), "ratchet_percent": (5.0, 100.0)}


def notes(tables: Mapping[str, CheckedTable], currency: str, used: Collection[str] | None = None) -> list[str]:
    """Remarks on the tariff tables that are there, by name. `used`: the tariffs that sites are on (None: not known)."""
    found = [*_free(tables), *_unused(tables, used), *_single_days(tables), *_percents(tables)]
    if currency in DOLLAR_LIKE:
        for name, table in tables.items():
            for column in set(USUAL) & set(table.contract.columns):
                least = 0.0 if name == ADDING else USUAL[column].low
                found += _unusual(name, table.told(column), column, least, currency)
        found += [*_dear_fuel(tables), *_dear_together(tables, currency)]
    return sorted(found)


def doubtful(tables: Mapping[str, pl.DataFrame], currency: str) -> pl.DataFrame:
    """`tariff_id` and `note`: the tariffs with a price out of its usual range, for the rows of the sites that pay it. `tables`:
    the checked tariff tables by name."""
    found = [pl.DataFrame(schema={"tariff_id": pl.String, "note": pl.String})]
    for name, table in tables.items() if currency in DOLLAR_LIKE else ():
        for column in sorted(set(USUAL) & set(table.columns)):
            usual, value = USUAL[column], pl.col(column)
            least = 0.0 if name == ADDING else usual.low
            out = table.filter((value != 0) & ~value.is_between(least, usual.high))
            words = pl.concat_str(
                pl.lit(f"a price of its tariff is unusual, {column} "),
                value.round_sig_figs(3).cast(pl.String),
                pl.lit(f" where {least:g} to {usual.high:g} {currency}/{usual.per} is usual: check its unit"),
            )
            found.append(out.select("tariff_id", note=words).drop_nulls("tariff_id"))
    return pl.concat(found).unique("tariff_id", keep="first", maintain_order=True)


def fits(column: str, name: str, value: float) -> dict[str, tuple[float, float]]:
    """The units in which a price (SI, given under `name`) would be usual: what to divide it by in its column,
    and what it then is in SI."""
    usual, figure = USUAL[column], units.from_si(value, name)
    own, least = f"per {units.unit_of(name)}".lower(), max(usual.low, 0.5 if usual.per == "kW" else 0.0)
    found = {
        unit: (value / (figure * factor), figure * factor)
        for unit, factor in usual.others.items()
        if unit.lower() != own and figure * factor > 0  # a price may be too small to be told in another unit
    }
    return {unit: told for unit, told in found.items() if least <= told[1] <= usual.high}


def way_out(column: str, name: str, value: float) -> str:
    """What to do about a price that is none in the unit of its column."""
    others = [f"if it is {unit}, divide it by {by:.6g}" for unit, (by, _) in fits(column, name, value).items()]
    return " or ".join(others) or "check its unit"


def other_currencies(tables: Mapping[str, CheckedTable], currency: str) -> pl.DataFrame:
    """Prices whose sign or code is that of another currency than the portfolio's."""
    faults = [no_faults()]
    for table in tables.values():
        for field in table.contract.fields:
            for name in field.names if field.money else ():
                if name not in table.raw.frame.columns:
                    continue
                texts = table.raw.frame[name].drop_nulls().unique().to_list()
                foreign = [text for text in texts if (codes := written.currency_of(text)) and currency not in codes]
                frame = table.raw.frame.filter(pl.col(name).is_in(foreign))
                message = (
                    f"not in {currency}, the currency of the portfolio; convert it, or set currency in portfolio.toml"
                )
                faults.append(row_faults(table.contract.name, frame, name, "mixed currency", pl.col(name), message))
    return pl.concat(faults)


def _unusual(table: str, told: pl.DataFrame, column: str, least: float, currency: str) -> Iterator[str]:
    usual, value = USUAL[column], pl.col(column)
    out = told.filter((value != 0) & ~value.is_between(least, usual.high))
    for row in out.head(MANY).iter_rows(named=True):
        name, price = row[f"{column}:name"], row[column]
        figure = f"{row[f'{column}:text']} in row {row['row']}"
        same = "" if name == column else f", {price:.3g} {currency}/{usual.per},"
        others = [f"{unit} ({told:.3g})" for unit, (_, told) in fits(column, name, price).items()]
        instead = f"; it would be usual {' or '.join(others)}" if others else ""
        span = f"{least:g} to {usual.high:g} {currency}/{usual.per}"
        yield f"{table}: {name} {figure}{same} is unusual, {span} is usual{instead}: check the unit"
    if out.height > MANY:
        yield f"{table}: {column} is unusual in {out.height - MANY:,} more rows: check the unit"


def _dear_together(tables: Mapping[str, CheckedTable], currency: str) -> Iterator[str]:
    """Electricity whose charges, each of which is usual, add up to more than is."""
    if not {"tariffs", ADDING} <= {*tables}:
        return
    column = "electricity_price_per_kwh"
    most = USUAL[column].high
    told = tables[ADDING].values.filter(pl.col(column) > most)["tariff_id"]  # they have a note of their own
    highest = _highest(tables, column).filter(pl.col("price") > most, ~pl.col("tariff_id").is_in(told.implode()))
    for name, price in (
        highest.group_by("tariff_id").agg(pl.col("price").max()).sort("tariff_id").head(MANY).iter_rows()
    ):
        yield (
            f"{ADDING}: electricity of {name} adds up to {price:.3g} {currency}/kWh, {USUAL[column].low:g} to {most:g} is usual: "
            "check the units of its charges"
        )


def _percents(tables: Mapping[str, CheckedTable]) -> Iterator[str]:
    """Per cent that were meant as shares, and more than any rider or tax."""
    if ADDING not in tables:
        return
    for column, (low, high) in PERCENTS.items():
        told, value = tables[ADDING].told(column), pl.col(column).abs()
        for row in told.filter((value > 0) & ~value.is_between(low, high)).head(MANY).iter_rows(named=True):
            share = f"; if it is a share, write {row[column] * 100:.4g}" if abs(row[column]) < low else ""
            yield (
                f"{ADDING}: {column} {row[f'{column}:text']} in row {row['row']} is unusual, {low:g} to {high:g} per cent is "
                f"usual{share}"
            )


def _dear_fuel(tables: Mapping[str, CheckedTable]) -> Iterator[str]:
    """Fuel that costs more than electricity in some month, per kilowatt-hour of either."""
    if "tariffs" not in tables:
        return
    electricity, fuel = (_highest(tables, f"{carrier}_price_per_kwh") for carrier in ("electricity", "fuel"))
    both = electricity.join(fuel, on=["tariff_id", "month"], suffix="_fuel").sort("tariff_id", "month")
    dear = both.filter(pl.col("price_fuel") > pl.col("price")).group_by("tariff_id", maintain_order=True)
    months = pl.col("month").cast(pl.String).str.join(", ")
    for row in dear.agg(pl.col("price", "price_fuel").first(), months).head(MANY).iter_rows(named=True):
        when = "" if row["month"].count(",") == 11 else f" in month {row['month']}"
        yield (
            f"tariffs: fuel of {row['tariff_id']} costs {row['price_fuel']:.3g} per kWh{when}, more than its electricity "
            f"({row['price']:.3g}): check the price of fuel and its unit"
        )


def _highest(tables: Mapping[str, CheckedTable], column: str) -> pl.DataFrame:
    """What a kilowatt-hour costs at most in each month: `tariff_id`, `month`, `price`. Of tariffs, windows and tiers the dearest,
    and what the dearest rows of each charge add to it."""
    every = pl.lit(None, pl.String)
    dearest = [tables["tariffs"].values.select("tariff_id", every.alias("months"), price=column)]
    for name in ("tariff_periods", "tariff_tiers"):
        if name in tables and column in tables[name].contract.columns:
            dearest.append(tables[name].values.select("tariff_id", "months", price=column))
    known = [calendar.by_month(pl.concat(dearest)).select("tariff_id", "month", "price", charge=pl.lit(""))]
    if ADDING in tables:
        charge = pl.coalesce("charge", pl.col("row").cast(pl.String))
        added = tables[ADDING].values.select("tariff_id", "months", charge, price=column)
        known.append(calendar.by_month(added).select("tariff_id", "month", "price", "charge"))
    priced = pl.concat(known).drop_nulls("price")
    return (
        priced.group_by("tariff_id", "month", "charge")
        .agg(pl.col("price").max())
        .group_by("tariff_id", "month")
        .agg(pl.col("price").sum())
    )


def _free(tables: Mapping[str, CheckedTable]) -> Iterator[str]:
    """Tariffs that charge nothing for anything."""
    if "tariffs" not in tables:
        return
    priced = []
    for table in tables.values():
        money = [field.name for field in table.contract.fields if field.money]
        charged = table.values.filter(pl.any_horizontal(pl.lit(False), *(pl.col(name) != 0 for name in money)))
        priced += charged["tariff_id"].drop_nulls().to_list()
    free = sorted({*tables["tariffs"].values["tariff_id"].drop_nulls()} - {*priced})
    if free:
        yield f"tariffs: every price of {_listed(free)} is zero or empty: what it bills costs nothing"


def _single_days(tables: Mapping[str, CheckedTable]) -> Iterator[str]:
    """Charges on days that a ledger does not tell apart."""
    named: tuple[tuple[str, str, Callable[[str], str | None]], ...] = (
        (ADDING, "days", calendar.day_kind),
        ("tariff_periods", "day_kind", calendar.spelt_kind),
    )
    for table, column, kind in named:
        if table not in tables:
            continue
        rows = tables[table].told(column).filter(pl.col(column).is_not_null())
        odd = rows.filter(~pl.col(column).map_elements(kind, pl.String).is_in(list(calendar.WHOLE_KINDS)))
        if odd.is_empty():
            continue
        listed = _listed([f"{row} ({text})" for row, text in odd.select("row", f"{column}:text").iter_rows()])
        where = "row" if odd.height == 1 else "rows"
        yield (
            f"{table}: {where} {listed}: a ledger tells Monday to Friday from Saturday and Sunday, not single days: energy is "
            "apportioned by the count of days, demand is that of all days of the kind (an approximation; tariffs show is exact)"
        )


def _unused(tables: Mapping[str, CheckedTable], used: Collection[str] | None) -> Iterator[str]:
    if used is None or "tariffs" not in tables:
        return
    idle = sorted({*tables["tariffs"].values["tariff_id"].drop_nulls()} - {*used})
    if idle:
        yield f"tariffs: no site is on {_listed(idle)}"


def _listed(names: list[str]) -> str:
    return ", ".join(names[:MANY]) + (f" and {len(names) - MANY:,} more" if len(names) > MANY else "")
