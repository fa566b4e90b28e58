"""Windows of time in which a price holds: months as people write them, kinds of day, hours of the day.

A year of a tariff has 576 times: 12 months, two kinds of day, 24 hours. A window is a set of them. Monday to Friday are
working days; an hour belongs to the day on which it falls, so a window over midnight takes the first hours of each of
its days and the last.
"""

import re
from collections.abc import Iterable

import polars as pl

DAY_KINDS = ("working", "other")
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


def year() -> pl.DataFrame:
    """The 576 times of a year: month (1-12), day_kind, hour (0-23)."""
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
