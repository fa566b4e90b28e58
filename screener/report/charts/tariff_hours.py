"""The price of electricity over the hours of the day, for every kind of day and season of a tariff."""

from collections.abc import Iterator, Mapping, Sequence
from itertools import groupby, pairwise
from typing import Any

from markupsafe import Markup

from screener import calendar, text
from screener.report.palette import SHADES
from screener.report.svg import WIDTH, Chart, element, join, label, line, nothing_to_show

NAME = "tariff-hours"
SOURCE = "the tariff tables; first block, demand charges are not in it"
LEFT, RIGHT, HEAD, ROW = 92.0, WIDTH - 8, 40.0, 20.0
HOUR = (RIGHT - LEFT) / 24
LETTER = 6.6  # width of one in a cell
DARK = 3  # the shade that carries white letters
Season = tuple[str, tuple[float, ...]]


def tariff_hours(prices: Sequence[Mapping[str, Any]], tariff: str) -> Chart:
    """A row for each kind of day and the months that share its 24 prices; equal hours in a row are one bar, with its price where
    there is room, darker the dearer.

    `prices`: month, day_kind and 24 prices [currency/kWh] each, as `explain.tariff` has them.
    """
    title = f"What a kilowatt-hour costs at {tariff}"
    seasons = _seasons(prices)
    levels = sorted({price for _, hours in seasons for price in hours})
    if not levels or levels[-1] == 0:
        return nothing_to_show(NAME, title, SOURCE, "It charges nothing for energy.")
    shades = _shades(levels)
    rows = [*_rows(seasons)]
    rows.sort(key=lambda row: (row[1][0], row[0] != calendar.DAY_KINDS[0], row[0]))
    bottom = HEAD + len(rows) * ROW
    parts = [_clock(bottom)]
    for at, (kind, months, hours) in enumerate(rows):
        top = HEAD + at * ROW
        parts.append(label(4, top + 14, f"{_span(months)} {kind}", class_="small"))
        begin = 0
        for price, run in groupby(hours):
            length = len([*run])
            parts.append(_bar(begin, length, price, shades[price], top, kind, months))
            begin += length
    return Chart(
        NAME,
        title,
        "currency per kWh by the hour of the day; months and kind of day at the left",
        SOURCE,
        f"From {levels[0]:.4f} to {levels[-1]:.4f} per kWh, in {text.count(len(levels), 'price')}.",
        WIDTH,
        bottom + 34,
        join(parts) + _key(levels, shades, bottom + 22),
    )


def _seasons(prices: Sequence[Mapping[str, Any]]) -> dict[Season, list[int]]:
    """The months that share the prices of a kind of day."""
    found: dict[Season, list[int]] = {}
    for row in prices:
        found.setdefault((row["day_kind"], tuple(row["prices"])), []).append(row["month"])
    return found


def _rows(seasons: Mapping[Season, list[int]]) -> Iterator[tuple[str, list[int], tuple[float, ...]]]:
    """Kind of day, months and prices of each row; days of both kinds together where they cost the same."""
    for (kind, hours), months in seasons.items():
        alike = [each for each in calendar.DAY_KINDS if seasons.get((each, hours)) == months]
        if kind not in alike or len(alike) < len(calendar.DAY_KINDS):
            yield kind, months, hours
        elif kind == alike[0]:
            yield "all days", months, hours


def _shades(levels: Sequence[float]) -> dict[float, int]:
    """Which shade each price has: one each where there are few, else as many to a shade, in their order."""
    each = max(len(levels), len(SHADES)) / len(SHADES)
    return {level: int(at / each) for at, level in enumerate(levels)}


def _clock(bottom: float) -> Markup:
    marks = [LEFT + hour * HOUR for hour in range(0, 25, 6)]
    return join(
        line(x, HEAD - 8, x, bottom, class_="grid") + label(x, HEAD - 14, f"{6 * at}", anchor="middle", class_="small")
        for at, x in enumerate(marks)
    )


def _bar(begin: int, length: int, price: float, shade: int, top: float, kind: str, months: Sequence[int]) -> Markup:
    left, width, words = LEFT + begin * HOUR, length * HOUR, f"{price:.4f}"
    ground = element(
        "rect",
        x=left,
        y=top + 1,
        width=width - 1,
        height=ROW - 2,
        fill=SHADES[shade],
        data_day_kind=kind,
        data_months=",".join(map(str, months)),
        data_from_hour=begin,
        data_to_hour=begin + length,
        data_price=price,
    )
    if len(words) * LETTER > width - 2:
        return ground
    ink = "small on-dark" if shade >= DARK else "small"
    return ground + label(left + width / 2, top + 14, words, anchor="middle", class_=ink)


def _key(levels: Sequence[float], shades: Mapping[float, int], top: float) -> Markup:
    used = sorted({*shades.values()})
    step = (WIDTH - 12) / len(used)
    parts = []
    for at, shade in enumerate(used):
        mine = [level for level in levels if shades[level] == shade]
        told = f"{mine[0]:.3f}" + (f" to {mine[-1]:.3f}" if len(mine) > 1 else "")
        parts.append(element("rect", x=4 + at * step, y=top - 10, width=12, height=12, fill=SHADES[shade]))
        parts.append(label(20 + at * step, top, told, class_="small"))
    return join(parts)


def _span(months: Sequence[int]) -> str:
    """`Jan-Mar, Dec`; several spans by number, since letters take room."""
    names = [month[:3].capitalize() for month in calendar.MONTHS]
    if len(months) == len(names):
        return "all year,"
    cuts = [0, *(at for at in range(1, len(months)) if months[at] != months[at - 1] + 1), len(months)]
    spans = [months[first:last] for first, last in pairwise(cuts)]
    if len(spans) > 1:
        return ",".join(f"{each[0]}-{each[-1]}" if len(each) > 1 else f"{each[0]}" for each in spans)
    return names[months[0] - 1] + (f"-{names[months[-1] - 1]}" if len(months) > 1 else "")
