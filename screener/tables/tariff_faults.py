"""What is wrong with tariffs as a whole: windows that leave gaps or overlap, blocks that do not add up, cents for money.

A row at fault in another table than `tariffs` takes its tariff with it: a tariff that lost a window would look
complete and bill the wrong amount.
"""

from collections.abc import Callable, Mapping, Sequence

import polars as pl

from screener import calendar
from screener.contracts import load
from screener.errors import no_faults
from screener.tables import tariff_sense
from screener.tables.charge_faults import charge_faults
from screener.tables.checking import CheckedTable, row_faults

TARIFFS, PERIODS, TIERS, CHARGES = "tariffs", "tariff_periods", "tariff_tiers", "tariff_charges"
TABLES = (TARIFFS, PERIODS, TIERS, CHARGES)
PRICE, DEMAND, FUEL = "electricity_price_per_kwh", "demand_price_per_kw", "fuel_price_per_kwh"
BY_MONTH = (FUEL, "electricity_kg_co2_per_kwh", "fuel_kg_co2_per_kwh")
SETTABLE = (PRICE, DEMAND, *BY_MONTH)
DEAREST_KWH = 2.0  # of a currency whose unit is of the order of a dollar: more are cents, or per megawatt-hour
NO_MONTHS = "not months; write them by number: 6-9 or 11-2,5, or 6 to 9 where a spreadsheet makes a date of it"
NO_DAYS = "no kind of day; write working, other or all, or days of the week: Mon-Thu, Fri (holidays are other days)"
Checks = tuple[Callable[[pl.DataFrame], pl.DataFrame], ...]


def tariff_faults(tables: Mapping[str, CheckedTable], currency: str) -> pl.DataFrame:
    """The faults of the tariff tables that are there, by name in `TABLES`, beyond those of single cells."""
    periods, of_periods = _checked(PERIODS, tables, (_window_faults, _overlaps, _unequal_demand))
    tiers, of_tiers = _checked(TIERS, tables, (_unreadable_months, _block_faults))
    charges, of_charges = _checked(CHARGES, tables, (charge_faults,))
    prices = [_cents(table, currency) for table in tables.values()]
    foreign = tariff_sense.other_currencies(tables, currency)
    rows = pl.concat([*prices, foreign, of_periods, of_tiers, of_charges, _both_ways(periods, tiers)])
    if TARIFFS not in tables:
        return rows
    lost = pl.concat([rows, *(table.faults for table in tables.values())])
    incomplete = [_incomplete(tables[TARIFFS], tables[name], lost) for name in TABLES[1:] if name in tables]
    at_fault = pl.concat([lost.filter(pl.col("table") == TARIFFS), *incomplete])
    adding = charges.filter(pl.col(PRICE).is_not_null())[
        "tariff_id"
    ]  # hours without a charge are free, and a note says so
    whole = _without(tables[TARIFFS].told("tariff_id", PRICE), at_fault)
    whole = whole.filter(~pl.col("tariff_id").is_in(adding.implode()).fill_null(False))
    return pl.concat([rows, *incomplete, _gaps(whole, periods, tiers)])


def _checked(name: str, tables: Mapping[str, CheckedTable], checks: Checks) -> tuple[pl.DataFrame, pl.DataFrame]:
    """A table's rows without faults, and the faults found; each check sees the rows that passed those before it."""
    if name not in tables:
        return pl.DataFrame(schema={"row": pl.Int64, **load(name).polars_schema()}), no_faults()
    table, found = tables[name], no_faults()
    rows = _without(table.told(*table.contract.columns), table.faults)
    for check in checks:
        bad = check(rows)
        rows, found = _without(rows, bad), pl.concat([found, bad])
    return rows, found


def _without(rows: pl.DataFrame, faults: pl.DataFrame) -> pl.DataFrame:
    return rows.filter(~pl.col("row").is_in(faults["row"].drop_nulls().implode()))


def _cents(table: CheckedTable, currency: str) -> pl.DataFrame:
    """Energy prices that can only be in another unit."""
    faults = [no_faults()]
    for column in (PRICE, FUEL):
        if column in table.contract.columns and currency in tariff_sense.DOLLAR_LIKE:
            dear = table.told(column).filter(pl.col(column) > DEAREST_KWH)
            if table.contract.name == CHARGES:  # a first block at a high price is how some sheets write a minimum
                in_block = table.values.filter(pl.any_horizontal(pl.col("above", "up_to").is_not_null()))["row"]
                dear = dear.filter(~pl.col("row").is_in(in_block.implode()))
            told = dear.select(f"{column}:name", column).iter_rows()
            ways = [f"too dear for a price in {currency}; {tariff_sense.way_out(column, *each)}" for each in told]
            dear = dear.with_columns(way_out=pl.Series(ways, dtype=pl.String))
            name, text = pl.col(f"{column}:name"), pl.col(f"{column}:text")
            faults.append(row_faults(table.contract.name, dear, name, "too large", text, pl.col("way_out")))
    return pl.concat(faults)


def _window_faults(rows: pl.DataFrame) -> pl.DataFrame:
    """Windows that cannot be read one by one."""
    c = pl.col
    half = rows.filter(c("from_hour").is_null() != c("to_hour").is_null())
    empty = rows.filter(c("from_hour") == c("to_hour"))
    nothing = rows.filter(pl.all_horizontal(c(SETTABLE).is_null()))
    part_of_day = (c("to_hour") - c("from_hour") != 24).fill_null(False)
    timed = (c("day_kind").fill_null(calendar.ALL_DAYS) != calendar.ALL_DAYS) | part_of_day
    monthly = [
        row_faults(
            PERIODS,
            rows.filter(timed & c(name).is_not_null()),
            c(f"{name}:name"),
            "goes by the month",
            c(f"{name}:text"),
            "holds for whole months; give it in a row for all days and hours",
        )
        for name in BY_MONTH
    ]
    no_days = [word for word in rows["day_kind"].drop_nulls().unique() if calendar.spelt_kind(word) is None]
    unread = rows.filter(c("day_kind").is_in(no_days))
    hours = pl.concat_str(c("from_hour:text"), pl.lit(" to "), c("to_hour:text"), ignore_nulls=True)
    return pl.concat(
        [
            _unreadable_months(rows, PERIODS),
            row_faults(PERIODS, unread, "day_kind", "not days", c("day_kind:text"), NO_DAYS),
            row_faults(PERIODS, half, "from_hour, to_hour", "half a window", hours, "one hour is missing; give both"),
            row_faults(
                PERIODS,
                empty,
                "from_hour, to_hour",
                "empty window",
                hours,
                "closes when it opens; the whole day is 0 to 24, or no hours at all",
            ),
            row_faults(PERIODS, nothing, pl.lit(None), "no price", pl.lit(None), "changes nothing; give a price in it"),
            *monthly,
        ]
    )


def _unreadable_months(rows: pl.DataFrame, table: str = TIERS) -> pl.DataFrame:
    wrong = [text for text in rows["months"].drop_nulls().unique() if calendar.months(text) is None]
    return row_faults(
        table, rows.filter(pl.col("months").is_in(wrong)), "months", "not months", pl.col("months:text"), NO_MONTHS
    )


def _overlaps(rows: pl.DataFrame) -> pl.DataFrame:
    """Rows of a tariff that set the same price at the same time. Demand charges may hold at once: only the same window twice,
    without a period's name to say that it is one charge, is at fault."""
    faults = [no_faults()]
    times = _times(rows, _kinds(rows))
    key = ["tariff_id", *calendar.TIME]
    for column in SETTABLE:
        setting = times.filter(pl.col(column).is_not_null()).select("row", "period", f"{column}:text", *key)
        pairs = setting.join(setting.select("row", "period", *key), on=key, suffix="_other", maintain_order="left")
        pairs = pairs.filter(pl.col("row") != pl.col("row_other"))
        if column == DEMAND:
            pairs = _same_windows(pairs, setting)
        first = pairs.sort("row", "row_other", "month", "hour").unique("row", keep="first", maintain_order=True)
        other = pl.col("row_other").cast(pl.String)
        message = pl.concat_str(
            pl.lit("row "), other, pl.lit(" sets it too, first "), _time(), pl.lit("; let windows not overlap")
        )
        text = pl.col(f"{column}:text")
        faults.append(row_faults(PERIODS, first, column, "windows overlap", text, message))
    return pl.concat(faults)


def _same_windows(pairs: pl.DataFrame, setting: pl.DataFrame) -> pl.DataFrame:
    """Pairs of rows without the names of periods that hold at exactly the same times."""
    size = setting.group_by("row").agg(times=pl.len())
    shared = pairs.group_by("row", "row_other").agg(shared=pl.len()).join(size, on="row")
    shared = shared.join(size.rename({"row": "row_other", "times": "times_other"}), on="row_other")
    same = shared.filter((pl.col("shared") == pl.col("times")) & (pl.col("shared") == pl.col("times_other")))
    nameless = pairs.filter(pl.col("period").is_null() & pl.col("period_other").is_null())
    return nameless.join(same.select("row", "row_other"), on=["row", "row_other"], how="semi", maintain_order="left")


def _unequal_demand(rows: pl.DataFrame) -> pl.DataFrame:
    """Rows of one period that disagree on its demand price in some month."""
    key = ["tariff_id", "period", "month"]
    named = calendar.by_month(rows).filter(pl.col("period").is_not_null() & pl.col(DEMAND).is_not_null())
    named = named.select("row", f"{DEMAND}:text", *key, price=DEMAND)
    pairs = named.join(named.select("row", "price", *key), on=key, suffix="_other")
    unlike = pairs.filter(pl.col("price") != pl.col("price_other"))
    first = unlike.sort("row", "row_other", "month").unique("row", keep="first", maintain_order=True)
    message = pl.concat_str(
        pl.lit("row "),
        pl.col("row_other").cast(pl.String),
        pl.lit(" has another for this period in month "),
        pl.col("month").cast(pl.String),
        pl.lit("; rows of one period share one demand price"),
    )
    return row_faults(PERIODS, first, DEMAND, "two demand prices", pl.col(f"{DEMAND}:text"), message)


def _block_faults(rows: pl.DataFrame) -> pl.DataFrame:
    """Blocks of a month that end at the same point, or leave off without a last one."""
    key = ["tariff_id", "month"]
    blocks = calendar.by_month(rows).sort("month", "row").with_columns(end=pl.col("up_to_kwh").fill_null(float("inf")))
    ends, month = pl.col("end"), pl.col("month").cast(pl.String)
    twice = blocks.filter(pl.struct(*key, "end").is_duplicated()).unique("row", keep="first", maintain_order=True)
    again = pl.concat_str(pl.lit("another block ends here too in month "), month, pl.lit("; keep one of them"))
    is_last = (ends == ends.max().over(key)) & ends.is_finite()
    open_end = blocks.filter(is_last).unique("row", keep="first", maintain_order=True)
    no_last = pl.concat_str(
        pl.lit("no block follows in month "), month, pl.lit("; add a row for the rest, with up_to_kwh empty")
    )
    return pl.concat(
        [
            row_faults(TIERS, twice, "up_to_kwh", "blocks overlap", pl.col("up_to_kwh:text"), again),
            row_faults(TIERS, open_end, "up_to_kwh", "no last block", pl.col("up_to_kwh:text"), no_last),
        ]
    )


def _both_ways(periods: pl.DataFrame, tiers: pl.DataFrame) -> pl.DataFrame:
    """Blocks in months that have windows with a price of their own."""
    windowed = calendar.by_month(periods.filter(pl.col(PRICE).is_not_null())).select("tariff_id", "month", other="row")
    both = calendar.by_month(tiers).join(windowed, on=["tariff_id", "month"])
    first = both.sort("row", "other", "month").unique("row", keep="first", maintain_order=True)
    message = pl.concat_str(
        pl.lit("row "),
        pl.col("other").cast(pl.String),
        pl.lit(f" of {PERIODS} has a price for month "),
        pl.col("month").cast(pl.String),
        pl.lit("; bill a month by tiers or by windows"),
    )
    return row_faults(TIERS, first, "months", "tiers and windows", pl.col("tariff_id"), message)


def _gaps(tariffs: pl.DataFrame, periods: pl.DataFrame, tiers: pl.DataFrame) -> pl.DataFrame:
    """Tariffs without a price of their own whose windows and tiers leave times without one."""
    unpriced = tariffs.filter(pl.col(PRICE).is_null() & pl.col("tariff_id").is_not_null()).select("row", "tariff_id")
    kinds = _kinds(periods)
    every = unpriced.join(calendar.year(kinds), how="cross", maintain_order="left_right")
    priced = _times(periods.filter(pl.col(PRICE).is_not_null()), kinds).select("tariff_id", *calendar.TIME)
    in_tiers = calendar.by_month(tiers).select("tariff_id", "month")
    open_times = every.join(priced, on=["tariff_id", *calendar.TIME], how="anti", maintain_order="left")
    open_times = open_times.join(in_tiers, on=["tariff_id", "month"], how="anti", maintain_order="left")
    first = open_times.group_by("row", maintain_order=True).agg(pl.len().alias("times"), pl.first(*calendar.TIME))
    whole = calendar.year(kinds).height
    message = (
        pl.when(pl.col("times") == whole)
        .then(pl.lit(f"empty; give {PRICE}, or windows or tiers that cover the year"))
        .otherwise(
            pl.concat_str(
                pl.lit("no price at "),
                pl.col("times").cast(pl.String),
                pl.lit(f" of the {whole} times of a year (month, kind of day, hour), first "),
                _time(),
                pl.lit("; give the tariff a price of its own or close the gap"),
            )
        )
    )
    rule = pl.when(pl.col("times") == whole).then(pl.lit("missing value")).otherwise(pl.lit("gap between windows"))
    return row_faults(TARIFFS, first, PRICE, rule, pl.lit(None), message)


def _time() -> pl.Expr:
    """`in month 6, working days, hour 12`, or of single days `mondays`."""
    month, hour = (pl.col(name).cast(pl.String) for name in ("month", "hour"))
    single = pl.col("day_kind").is_in(list(calendar.WEEK))
    plural = pl.when(single).then(pl.lit("s, hour ")).otherwise(pl.lit(" days, hour "))
    return pl.concat_str(pl.lit("in month "), month, pl.lit(", "), pl.col("day_kind"), plural, hour)


def _kinds(periods: pl.DataFrame) -> Sequence[str]:
    """The kinds of day that windows have to be told apart by: the days of the week where one names single days."""
    named = periods["day_kind"].drop_nulls().unique()
    return calendar.DAY_KINDS if {*named} <= {*calendar.WHOLE_KINDS} else calendar.WEEK


def _times(periods: pl.DataFrame, kinds: Sequence[str]) -> pl.DataFrame:
    kind = pl.col("day_kind").map_elements(calendar.spelt_kind, return_dtype=pl.String)
    return calendar.times(periods.with_columns(day_kind=kind), kinds)


def _incomplete(tariffs: CheckedTable, part: CheckedTable, lost: pl.DataFrame) -> pl.DataFrame:
    """Tariffs of which a row in another table is at fault."""
    name = part.contract.name
    bad = lost.filter(pl.col("table") == name)["row"].drop_nulls()
    rows = part.values.filter(pl.col("row").is_in(bad.implode())).group_by("tariff_id", maintain_order=True)
    listed = rows.agg(rows=pl.col("row").cast(pl.String).str.join(", "))
    frame = tariffs.values.select("row", "tariff_id").join(listed, on="tariff_id", maintain_order="left")
    message = pl.concat_str(pl.lit("row "), "rows", pl.lit(f" of {name} is at fault; correct it first"))
    return row_faults(TARIFFS, frame, "tariff_id", "incomplete tariff", pl.col("tariff_id"), message)
