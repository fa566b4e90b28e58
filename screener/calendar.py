"""The hour classes of a year, and windows of time in which a price holds.

A year has 576 classes of hours, its *slots*: 12 months, two kinds of day, 24 hours. They are numbered in that order: ledgers
sort hours into them, tariffs price them. A window is a set of them: months as people write them, kinds of day, hours of
the day. Monday to Friday are working days; an hour belongs to the day on which it falls, so a window over midnight takes
the first hours of each of its days and the last.
"""

import re
from collections.abc import Iterable

import polars as pl

DAY_KINDS = ("working", "other")
WORKING_DAYS = 5  # Monday to Friday: a day kind of tariffs; which days a site is open is another matter
SLOTS = 12 * len(DAY_KINDS) * 24
ALL_DAYS = "all"
TIME = ("month", "day_kind", "hour")
SPAN = re.compile(r"(\d{1,2})(?:\s*(?:-|–|to)\s*(\d{1,2}))?")


def months(text: str) -> list[int] | None:
    """The months of a text such as `6-9`, `11-2, 5` or `6 to 9`, in order; None where it is no such text."""
    found: set[int] = set()
    for part in text.lower().split(","):
        span = SPAN.fullmatch(part.strip())
        if span is None:
            return None
        first, last = int(span[1]), int(span[2] or span[1])
        if not (1 <= first <= 12 and 1 <= last <= 12):
            return None
        found |= {(first - 1 + step) % 12 + 1 for step in range((last - first) % 12 + 1)}
    return sorted(found)


def slot(month: pl.Expr, is_other: pl.Expr, hour: pl.Expr) -> pl.Expr:
    """Number of the slot of an hour, 0 to 575: month 1-12, whether the day is no working day, hour 0-23."""
    whole = [each.cast(pl.UInt32) for each in (month, is_other, hour)]
    return (((whole[0] - 1) * 2 + whole[1]) * 24 + whole[2]).alias("slot")


def is_other(day_of_week: pl.Expr) -> pl.Expr:
    """Whether a day (0 Monday) is no working day."""
    return day_of_week >= WORKING_DAYS


def of_slot(slot: pl.Expr) -> list[pl.Expr]:
    """Month, day kind and hour of a slot's number, in the types of ledgers."""
    kind = pl.when(slot // 24 % 2 == 0).then(pl.lit(DAY_KINDS[0])).otherwise(pl.lit(DAY_KINDS[1]))
    return [
        (slot // 48 + 1).cast(pl.Int8).alias("month"),
        kind.cast(pl.Enum(DAY_KINDS)).alias("day_kind"),
        (slot % 24).cast(pl.Int8).alias("hour"),
    ]


def year() -> pl.DataFrame:
    """The slots of a year in their order: month (1-12), day_kind, hour (0-23)."""
    times = pl.DataFrame({"month": range(1, 13)}).join(pl.DataFrame({"day_kind": DAY_KINDS}), how="cross")
    return times.join(pl.DataFrame({"hour": range(24)}), how="cross")


def by_month(rows: pl.DataFrame) -> pl.DataFrame:
    """A row of `rows` for each of its `months` (a text, or null for all), with the number in `month`.

    A text that names no months has no rows.
    """
    texts: Iterable[str] = rows["months"].drop_nulls().unique()
    read = [(text, months(text) or []) for text in texts]
    known = pl.DataFrame(read, schema={"months": pl.String, "month": pl.List(pl.Int64)}, orient="row")
    every = pl.lit(list(range(1, 13)), pl.List(pl.Int64))
    listed = rows.join(known, on="months", how="left", maintain_order="left")
    listed = listed.with_columns(month=pl.when(pl.col("months").is_null()).then(every).otherwise("month"))
    return listed.explode("month").drop_nulls("month")


def times(rows: pl.DataFrame) -> pl.DataFrame:
    """A row of `rows` for each time of its window, given by months, day_kind (null or `all`: both), from_hour and
    to_hour [h] (both null: all day). Adds month and hour; day_kind becomes the one of the time."""
    kind, first, last = pl.col("day_kind"), pl.col("from_hour").fill_null(0), pl.col("to_hour").fill_null(24)
    inside = (pl.col("hour") - first) % 24 < pl.when(last - first == 24).then(24).otherwise((last - first) % 24)
    days_hours = year().select("day_kind", "hour").unique(maintain_order=True)
    return (
        by_month(rows)
        .join(days_hours.rename({"day_kind": "kind"}), how="cross")
        .filter(inside & (kind.is_null() | (kind == ALL_DAYS) | (kind == pl.col("kind"))))
        .drop("day_kind")
        .rename({"kind": "day_kind"})
    )
