"""The hour classes of a year, and windows of time in which a price holds.

A year has 576 classes of hours, its *slots*: 12 months, two kinds of day, 24 hours. They are numbered in that order: ledgers
sort hours into them, tariffs price them. A window is a set of them: months as people write them, kinds of day, hours of the
day. Where every day of the week is a kind of its own there are 2,016. Monday to Friday are working days; an hour belongs to
the day on which it falls, so a window over midnight takes the first hours of each of its days and the last.

On which day of the week a year without dates begins the portfolio says, and which days are holidays. A holiday counts as
an eighth kind of day, after Sunday: no working day, and sites are closed unless they say that they open on holidays.
"""

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date

import polars as pl

DAY_KINDS = ("working", "other")
WORKING_DAYS = 5  # Monday to Friday: a day kind of tariffs; which days a site is open is another matter
SLOTS = 12 * len(DAY_KINDS) * 24
ALL_DAYS = "all"
TIME = ("month", "day_kind", "hour")
WEEK = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
HOLIDAY = len(WEEK)  # day_of_week of a holiday
GROUPS = {"weekdays": (0, 4), "weekends": (5, 6), "daily": (0, 6), "holidays": (HOLIDAY, HOLIDAY)}
DAY_SPAN = re.compile(r"([a-z]+)\.?(?:\s*(?:-|–|—|to|through)\s*([a-z]+)\.?)?")
DAY_BITS = re.compile(r"[01]{7,8}")
SUMMER_TIME = range(3, 11)
"""The months most of whose days have daylight saving time: second Sunday of March to first Sunday of November (15 USC 260a)."""
TO = r"\s*(?:-|–|—|to|through|until)\s*"
SPAN = re.compile(rf"(\d{{1,2}})(?:{TO}(\d{{1,2}}))?")
NAMED_SPAN = re.compile(rf"([a-z]{{3,9}})\.?(?:{TO}([a-z]{{3,9}})\.?)?")
NEVER = ("none", "never", "0")
EVERY_MONTH = ("all", "all year", "year-round", "every month")
MONTHS = (
    *("january", "february", "march", "april", "may", "june"),
    *("july", "august", "september", "october", "november", "december"),
)


def months(text: str) -> list[int] | None:
    """The months of a text such as `6-9`, `11-2, 5`, `Jun-Sep` or `June to September`, in order; None where it is no such
    text. A number beside a name is none: 9-Jun is what spreadsheets make of a date.

    >>> months("Nov to Jan, 6"), months("9-Jun")
    ([1, 6, 11, 12], None)
    """
    if text.strip().lower() in EVERY_MONTH:
        return list(range(1, 13))
    found: set[int] = set()
    for part in re.split(r"[,;]|\band\b|&", text.lower()):
        if not (span := SPAN.fullmatch(part.strip()) or NAMED_SPAN.fullmatch(part.strip())):
            return None
        first, last = (_month(each) for each in (span[1], span[2] or span[1]))
        if first is None or last is None:
            return None
        found |= {(first - 1 + step) % 12 + 1 for step in range((last - first) % 12 + 1)}
    return sorted(found)


def _month(text: str) -> int | None:
    """The number of a month given by number, name or the beginning of its name."""
    if text.isdigit():
        return int(text) if 1 <= int(text) <= 12 else None
    name = "sep" if text == "sept" else text
    return next((number for number, full in enumerate(MONTHS, start=1) if full.startswith(name)), None)


def closed_months(text: str) -> list[int] | None:
    """The months in which a site does not open: as `months`, or none where the text says that there is none.

    >>> closed_months("7-8"), closed_months("none"), closed_months("summer")
    ([7, 8], [], None)
    """
    return [] if text.strip().lower() in NEVER else months(text)


def days(text: str) -> list[int] | None:
    """The days (0 Monday to 6 Sunday, 7 holidays) of a text such as `Mon-Fri, Sun`, `daily, holidays` or `1111001`, a digit
    a day from Monday on, an eighth for holidays; in order. None where it is no such text.

    >>> days("Sat to Mon"), days("0000101")
    ([0, 5, 6], [4, 6])
    """
    text = text.strip().lower()
    if DAY_BITS.fullmatch(text):
        return [day for day, bit in enumerate(text) if bit == "1"]
    found: set[int] = set()
    for part in re.split(r"[,;]|\band\b", text):
        span = DAY_SPAN.fullmatch(part.strip())
        begins, ends = (_day(span[1]), _day(span[2] or span[1])) if span else (None, None)
        if begins is None or ends is None:
            return None
        first, last = begins[0], ends[1]
        if HOLIDAY in (first, last):
            found |= {HOLIDAY} if first == last else set()
            if first != last:
                return None
        else:
            found |= {(first + step) % 7 for step in range((last - first) % 7 + 1)}
    return sorted(found)


def _day(name: str) -> tuple[int, int] | None:
    """First and last day of a name, or of one cut short to two letters or more."""
    for group, ends in GROUPS.items():
        if len(name) > 3 and group.startswith(name.removesuffix("s")):
            return ends
    day = next((day for day, full in enumerate(WEEK) if len(name) > 1 and f"{full}s".startswith(name)), None)
    return None if day is None else (day, day)


def dates(text: str) -> tuple[int, int] | None:
    """Month and day of a text such as `12-25`. None where no year has such a day."""
    try:
        there = date(2024, *(int(part) for part in text.split("-")))  # a leap year
    except (ValueError, TypeError):
        return None
    return (there.month, there.day)


@dataclass(frozen=True)
class Dates:
    """What the days of a year are: `year` gives the weekday of 1 January (None: a Monday) where hours have no dates of
    their own, `holidays` are texts as `dates` reads them."""

    year: int | None = None
    holidays: tuple[str, ...] = ()

    def of(self, hours: pl.DataFrame) -> pl.DataFrame:
        """Hours of `climate.hours` with `day` of the month and the `day_of_week` [0 Monday to 6, 7 a holiday] of these dates."""
        first = date(self.year, 1, 1).weekday() if self.year else 0
        week = (pl.int_range(pl.len()).over("weather_id") // 24 + first) % 7
        days = hours.with_columns(
            day=pl.int_range(1, pl.len() + 1).over("weather_id", "month", "hour").cast(pl.Int8),
            day_of_week=pl.when("dated").then("day_of_week").otherwise(week.cast(pl.Int8)),
        )
        off = [day for text in self.holidays if (day := dates(text))]
        is_off = pl.any_horizontal(
            pl.lit(False), *((pl.col("month") == month) & (pl.col("day") == day) for month, day in off)
        )
        return days.with_columns(day_of_week=pl.when(is_off).then(HOLIDAY).otherwise("day_of_week").cast(pl.Int8))


def bits(numbers: Iterable[int]) -> float:
    """A number whose binary digits tell which of 0, 1, 2 ... are among these."""
    return float(sum(1 << number for number in {*numbers}))


def bit(number: pl.Expr) -> pl.Expr:
    """The `bits` of one number, 0 to 62."""
    return (pl.lit(1, pl.Int64) * 2 ** number.cast(pl.Int64)).cast(pl.Float64)


def open_bits(sites: pl.DataFrame) -> pl.DataFrame:
    """Sites with the `bits` of the days they open (0 Monday to 6, 7 holidays) and of the months they are closed (1-12), from
    their columns open_days, or open_days_per_week counted from Monday where it is blank, and closed_months."""

    def read(column: str, reader: Callable[[str], list[int] | None]) -> pl.Expr:
        texts = sites[column].drop_nulls().unique().to_list()
        table = {text: bits(reader(text) or []) for text in texts}
        return pl.col(column).replace_strict(table, default=None, return_dtype=pl.Float64)

    first_days = bit(pl.col("open_days_per_week")) - 1
    return sites.with_columns(
        open_days_bits=pl.coalesce(read("open_days", days), first_days),
        closed_months_bits=read("closed_months", closed_months).fill_null(0.0),
    )


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


def year(kinds: Sequence[str] = DAY_KINDS) -> pl.DataFrame:
    """The slots of a year in their order: month (1-12), day_kind (DAY_KINDS, or the days of the WEEK), hour (0-23)."""
    times = pl.DataFrame({"month": range(1, 13)}).join(pl.DataFrame({"day_kind": kinds}), how="cross")
    return times.join(pl.DataFrame({"hour": range(24)}), how="cross")


def of_week(days: Iterable[int]) -> str:
    """Days (0 Monday to 6) as a digit a day from Monday on, `1111001`."""
    found = {*days}
    return "".join("1" if day in found else "0" for day in range(len(WEEK)))


WHOLE_KINDS = {
    DAY_KINDS[0]: of_week(range(WORKING_DAYS)),
    DAY_KINDS[1]: of_week(range(WORKING_DAYS, len(WEEK))),
    ALL_DAYS: of_week(range(len(WEEK))),
}


def spelt_kind(word: str) -> str | None:
    """The `day_kind` of a word as categories are spelt: one of DAY_KINDS, `all`, or days of the week, `mon_thu` or `sat,_sun`.
    None where it is none."""
    if word in WHOLE_KINDS:
        return word
    text = re.sub(r"_?[,;]_?|_and_", ",", word).replace("_", "-").replace("-to-", "-").replace("-through-", "-")
    return None if days(text) in (None, [HOLIDAY]) else day_kind(text)


def both(days: str, kind: str) -> str | None:
    """The days that a `day_kind` and one of DAY_KINDS have in common, as `day_kind` writes them; None for none."""
    pairs = zip(WHOLE_KINDS.get(days, days), WHOLE_KINDS[kind], strict=True)
    found = "".join("1" if pair == ("1", "1") else "0" for pair in pairs)
    return None if "1" not in found else kind if found == WHOLE_KINDS[kind] else found


def day_kind(text: str) -> str:
    """The kind of day whose days a text as `days` reads it names, `all`, or else its days as `of_week` writes them. Holidays are
    billed like Saturdays and Sundays, whether they are named or not."""
    found = of_week(days(text) or ())
    return next((kind for kind, whole in WHOLE_KINDS.items() if whole == found), found)


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


def times(rows: pl.DataFrame, kinds: Sequence[str] = DAY_KINDS) -> pl.DataFrame:
    """A row of `rows` for each time of its window, given by months, day_kind (null or `all`: all; in a WEEK also a digit a day,
    `of_week`), from_hour and to_hour [h] (both null: all day). Adds month and hour; day_kind becomes the one of the time."""
    first, last = pl.col("from_hour").fill_null(0), pl.col("to_hour").fill_null(24)
    inside = (pl.col("hour") - first) % 24 < pl.when(last - first == 24).then(24).otherwise((last - first) % 24)
    days_hours = year(kinds).select("day_kind", "hour").unique(maintain_order=True)
    return (
        by_month(rows)
        .join(days_hours.rename({"day_kind": "its_kind"}), how="cross")
        .filter(inside & _on_day(kinds))
        .drop("day_kind")
        .rename({"its_kind": "day_kind"})
    )


def _on_day(kinds: Sequence[str]) -> pl.Expr:
    """Whether a window's `day_kind` holds on `its_kind` of day."""
    kind, its_kind = pl.col("day_kind"), pl.col("its_kind")
    if kinds != WEEK:
        return kind.is_null() | (kind == ALL_DAYS) | (kind == its_kind)
    digits = kind.fill_null(ALL_DAYS).replace(WHOLE_KINDS)
    number = its_kind.replace_strict({name: day for day, name in enumerate(WEEK)}, return_dtype=pl.Int64)
    return digits.str.slice(number, 1) == "1"
