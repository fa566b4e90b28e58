"""How people, process moisture, lights, equipment and ventilation follow the hour of the day, by building type.

A profile is 24 shares in any scale: other columns say how many people, how much moisture and heat there are in the mean of
the type's open hours, the profile only when. So shares are divided by their mean over those hours, but for those of the
ventilation, which are fractions of the site's outdoor air.
"""

from collections.abc import Iterator, Mapping
from functools import cache
from typing import Any

import polars as pl

from screener.calendar import ALL_DAYS, DAY_KINDS, WORKING_DAYS
from screener.contracts import load
from screener.contracts.hour import QUANTITIES
from screener.errors import no_faults
from screener.tables.checking import CheckedTable, checked, row_faults, rows_of
from screener.tables.files import Source
from screener.tables.reading import read_table
from screener.tables.shipped import DEFAULTS, EVERY_TYPE, building_types

NAME = "profiles"
HOURS = [f"hour_{hour}" for hour in range(24)]
OF_ITSELF = "ventilation"  # fractions of the site's figure, not a course about a mean
OWN_SOURCE = "profiles table of the portfolio"
KEY = ["building_type", "quantity", "day_kind"]
Day = tuple[tuple[float, ...], str]  # 24 shares, and where they are from


@cache
def shipped() -> pl.DataFrame:
    """The shipped profiles as they stand in their file; rows of `*` hold for the types without one of their own."""
    contract = load(NAME)
    return checked(read_table([Source(DEFAULTS / "profiles.csv")], contract), contract).values.drop("row")


def doubled(table: CheckedTable) -> pl.DataFrame:
    """Faults of rows for the same type, quantity and kind of day: none can be told to be the right one."""
    rows = table.values.with_columns(pl.col("day_kind").fill_null(ALL_DAYS))
    twice = rows.drop_nulls(KEY).filter(pl.struct(KEY).is_duplicated())
    if twice.is_empty():
        return no_faults()
    others = rows_of(*KEY)
    message = pl.concat_str(
        pl.lit("rows "), others, pl.lit(" give the same quantity of the same type and days; keep one of them")
    )
    return row_faults(
        NAME, twice.with_columns(message=message), "quantity", "duplicate", pl.col("quantity"), pl.col("message")
    )


def resolved(own: pl.DataFrame | None = None, types: pl.DataFrame | None = None) -> pl.DataFrame:
    """The profile of every building type, quantity and kind of day: columns of the contract, a row each, about a mean of one.

    `own`: good rows of a portfolio's table, which go before those that ship; `types`: the building types in use, one based
    on another has the rows of that one where it has none.
    """
    types = building_types().values if types is None else types
    known = _by_key(shipped(), None)
    mine = {} if own is None else _by_key(own, OWN_SOURCE)
    rows = [row for each in types.iter_rows(named=True) for row in _of_type(each, known, mine)]
    return pl.DataFrame(rows, schema=load(NAME).polars_schema(), orient="row")


def _by_key(rows: pl.DataFrame, source: str | None) -> dict[tuple[str, str, str], Day]:
    """The days of the rows by building type, quantity and kind; one for a kind of day goes before one for all."""
    found: dict[tuple[str, str, str], Day] = {}
    told = rows.with_columns(pl.col("day_kind").fill_null(ALL_DAYS))
    for row in told.sort(pl.col("day_kind") != ALL_DAYS, maintain_order=True).iter_rows(named=True):
        shares = tuple(row[hour] for hour in HOURS)
        for kind in DAY_KINDS if row["day_kind"] == ALL_DAYS else (row["day_kind"],):
            found[row["building_type"], row["quantity"], kind] = (shares, row["source"] or source or "")
    return found


def _of_type(
    about: Mapping[str, Any], known: Mapping[tuple[str, str, str], Day], own: Mapping[tuple[str, str, str], Day]
) -> Iterator[tuple[Any, ...]]:
    name, base = about["building_type"], about["based_on"] or about["building_type"]
    is_open = [_opens(about, hour) for hour in range(24)]
    if not any(is_open):
        is_open = [True] * 24
    days = (min(about["open_days_per_week"], WORKING_DAYS), max(about["open_days_per_week"] - WORKING_DAYS, 0))
    for quantity in QUANTITIES:
        chosen = [
            own.get((name, quantity, kind))
            or own.get((base, quantity, kind))
            or known.get((base, quantity, kind))
            or known[EVERY_TYPE, quantity, kind]
            for kind in DAY_KINDS
        ]
        mean = 1.0
        if quantity != OF_ITSELF:
            sums = [sum(s for s, o in zip(shares, is_open, strict=True) if o) for shares, _ in chosen]
            mean = sum(n * s for n, s in zip(days, sums, strict=True)) / (max(sum(days), 1) * sum(is_open))
        for kind, (shares, source) in zip(DAY_KINDS, chosen, strict=True):
            yield (name, quantity, kind, *(share / mean if mean > 0 else 0.0 for share in shares), source)


def _opens(about: Mapping[str, Any], hour: int) -> bool:
    middle, opens, closes = hour + 0.5, about["opens_hour"], about["closes_hour"]
    after, before = middle >= opens, middle < closes
    return bool(after and before if closes > opens else after or before)


def by_hour(profiles: pl.DataFrame) -> pl.DataFrame:
    """A row per building type of `resolved` profiles: `<quantity>_by_hour`, an array of 24 working hours and 24 others."""
    order = pl.col("day_kind").replace_strict({kind: place for place, kind in enumerate(DAY_KINDS)})
    whole = profiles.sort(order, maintain_order=True).with_columns(day=pl.concat_list(HOURS))
    listed = whole.group_by("building_type", "quantity", maintain_order=True).agg(pl.col("day").explode())
    wide = listed.with_columns(pl.col("day").list.to_array(len(DAY_KINDS) * 24)).pivot(
        "quantity", index="building_type", values="day", maintain_order=True
    )
    return wide.select("building_type", *(pl.col(quantity).alias(f"{quantity}_by_hour") for quantity in QUANTITIES))
