"""A year of hourly prices as a tariff: the mean of every month, kind of day and hour, which is what a ledger tells apart.

A load that is the same on all days alike is billed as hour by hour; how far single hours lie from their mean is told.
"""

from collections.abc import Iterable

import polars as pl

from screener import calendar, units
from screener.rate_sheets.sheet import Sheet

PRICE, TIME = "electricity_price_per_kwh", "time"
NAMES = (PRICE, "electricity_price_per_mwh")
HOURS = 8760
CHARGE = "hourly price"
DECIMALS = 8  # of mean prices


def is_prices(header: Iterable[str]) -> bool:
    """Whether columns are those of hourly prices: one price, and perhaps the time."""
    names = {name.strip() for name in header}
    return len(names & {*NAMES}) == 1 and names <= {*NAMES, TIME}


def of_rows(rows: pl.DataFrame, label: str) -> Sheet:
    """The tariff of texts or numbers, a row an hour from 1 January, 0 h, on. `time` (2023-01-01 00:00) gives the weekdays and may
    have a 29 February, which is left out; without it 1 January is a Monday."""
    sheet = Sheet(label)
    rows = rows.rename(str.strip)
    name = next(each for each in NAMES if each in rows.columns)
    text = pl.col(name).cast(pl.String).str.strip_chars()
    read = rows.with_row_index("row", offset=2).with_columns(
        text=text, price=units.to_si(text.cast(pl.Float64, strict=False), name)
    )
    bad = read.filter(~pl.col("price").is_finite().fill_null(False))
    if not bad.is_empty():
        row, told = bad.select("row", pl.col("text").fill_null("")).row(0)
        sheet.lose(f'row {row}, {name}, "{told}": no price; {len(bad):,} such rows')
        return sheet
    hours = _dated(read, sheet)
    if sheet.lost:
        return sheet
    kind = pl.when(calendar.is_other(pl.col("weekday"))).then(pl.lit("Sat-Sun")).otherwise(pl.lit("Mon-Fri"))
    at = ["month", "days", "hour"]
    means = hours.with_columns(days=kind, mean=pl.col("price").mean().over(pl.col("month"), kind, pl.col("hour")))
    apart = means.select((pl.col("price") - pl.col("mean")).abs().mean()).item()
    sheet.remark(
        f"hours averaged by month, kind of day and hour; single ones lie {apart:.4f} per kWh from it on average"
    )
    for row in means.unique(at, keep="first", maintain_order=True).sort(at).iter_rows(named=True):
        sheet.lines.append(
            {
                "tariff_id": label,
                "charge": CHARGE,
                "months": str(row["month"]),
                "days": row["days"],
                "from_hour": row["hour"],
                "to_hour": row["hour"] + 1,
                PRICE: round(row["mean"], DECIMALS),
            }
        )
    return sheet


def _dated(read: pl.DataFrame, sheet: Sheet) -> pl.DataFrame:
    """The hours with month, weekday (0 Monday) and hour; what is no year is lost."""
    if TIME in read.columns:
        read = read.with_columns(
            date=pl.col(TIME).cast(pl.String).str.slice(0, 10).str.to_date("%Y-%m-%d", strict=False)
        )
        read = read.filter(pl.col("date").dt.strftime("%m-%d").ne_missing("02-29"))
    else:
        sheet.remark("no column time: 1 January is taken for a Monday")
    if read.height != HOURS:
        sheet.lose(f"{read.height:,} hours; hourly prices are {HOURS:,} from 1 January, 0 h, on")
        return read
    day = pl.int_range(HOURS) // 24
    plain = pl.date(2018, 1, 1) + pl.duration(days=day)  # begins on a Monday and has 365 days
    hours = read.with_columns(plain=plain, hour=pl.int_range(HOURS) % 24)
    if TIME in read.columns:
        same = pl.col("date").dt.strftime("%m-%d") == pl.col("plain").dt.strftime("%m-%d")
        wrong = hours.filter(~same.fill_null(False))
        if not wrong.is_empty():
            row, told, expected = wrong.select("row", TIME, pl.col("plain").dt.strftime("%m-%d")).row(0)
            sheet.lose(f'row {row}, time, "{told}": not an hour of {expected}; 24 rows a day in standard time')
        return hours.with_columns(month=pl.col("date").dt.month(), weekday=pl.col("date").dt.weekday() - 1)
    return hours.with_columns(month=pl.col("plain").dt.month(), weekday=pl.col("plain").dt.weekday() - 1)
