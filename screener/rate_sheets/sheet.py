"""A rate sheet that was read: its lines as rows of `tariff_charges`, what is lost, and what a reader should know."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from screener import calendar

Line = Mapping[str, Any]  # a row of tariff_charges by column, under names as they are written
DAYS = {(0, 4): "Mon-Fri", (5, 6): "Sat-Sun", (0, 6): None}
DAY_NAMES = [name[:3].capitalize() for name in calendar.WEEK]
DAILY = "demand by the day: a run takes each day's highest from the mean of each hour of the day"
SINGLE_DAYS = (
    "charges on single days of the week: a run apportions energy by the count of days and takes the highest hour of all days "
    "of the kind for demand"
)


@dataclass
class Sheet:
    """One tariff. `lost` says what of it the tables cannot hold: a sheet with any of it is not imported; `remarks` what was
    carried over and is worth knowing."""

    label: str
    lines: list[Line] = field(default_factory=list)
    lost: list[str] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)

    def lose(self, reason: str) -> None:
        """Something that the tables cannot hold."""
        if reason not in self.lost:
            self.lost.append(reason)

    def remark(self, text: str) -> None:
        """Something worth knowing."""
        if text not in self.remarks:
            self.remarks.append(text)


@dataclass(frozen=True)
class Imported:
    """What was read: every sheet, those that were lost too."""

    sheets: Sequence[Sheet]

    @property
    def whole(self) -> list[Sheet]:
        """The sheets of which nothing is lost."""
        return [sheet for sheet in self.sheets if not sheet.lost]


def months_text(months: Iterable[int]) -> str | None:
    """Months as the tables write them: `1-5,10-12`; None for all of them."""
    spans = _spans(months)
    return None if spans == [(1, 12)] else ",".join(f"{a}-{b}" if a != b else f"{a}" for a, b in spans)


def days_text(first: int, last: int) -> str | None:
    """Days of the week (0 Monday) as the tables write them; None for all of them."""
    if (first, last) in DAYS:
        return DAYS[first, last]
    return DAY_NAMES[first] if first == last else f"{DAY_NAMES[first]}-{DAY_NAMES[last]}"


def hour_spans(hours: Iterable[int]) -> list[tuple[int, int]]:
    """Hours of the day as spans from one hour to the one at which it ends, over midnight where they meet there."""
    spans = [(first, last + 1) for first, last in _spans(hours)]
    if len(spans) > 1 and spans[0][0] == 0 and spans[-1][1] == 24:
        return [*spans[1:-1], (spans[-1][0], spans[0][1])]
    return spans


def free_times(sheet: Sheet) -> int:
    """How many of the 576 times of a year no line for energy covers on all of their days."""
    covered: set[tuple[int, int, int]] = set()
    for line in sheet.lines:
        if "electricity_price_per_kwh" in line:
            covered |= {*times(line)}
    every = {(month, day, hour) for month in range(1, 13) for day in range(7) for hour in range(24)}
    return len({(month, day >= calendar.WORKING_DAYS, hour) for month, day, hour in every - covered})


def times(line: Line) -> Iterable[tuple[int, int, int]]:
    """The times (month, day of the week, hour) at which a line holds."""
    months = calendar.months(line["months"]) if "months" in line else range(1, 13)
    days = calendar.days(line["days"]) if "days" in line else range(7)
    first, last = line.get("from_hour", 0), line.get("to_hour", 24)
    length = 24 if last - first == 24 else (last - first) % 24
    for month in months or ():
        for day in days or ():
            for step in range(length):
                yield month, day, (first + step) % 24


def _spans(numbers: Iterable[int]) -> list[tuple[int, int]]:
    """Ascending numbers as first and last of what follows without a gap."""
    spans: list[tuple[int, int]] = []
    for number in sorted({*numbers}):
        if spans and spans[-1][1] == number - 1:
            spans[-1] = (spans[-1][0], number)
        else:
            spans.append((number, number))
    return spans
