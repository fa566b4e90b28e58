"""Tables and numbers for people: aligned columns of plain text."""

import os
import sys
from collections.abc import Callable, Mapping, Sequence
from typing import Any

LEAST_COLUMNS, SHORTEST = 3, 8  # of a table on a narrow terminal: columns, and characters of words cut short
Format = Callable[[Any], str]


def whole(value: float | None) -> str:
    """12,345; a dash where there is no figure."""
    return "-" if value is None else f"{round(value) + 0:,}"


def tenths(value: float | None) -> str:
    """1.2; a dash where there is no figure."""
    return "-" if value is None else f"{round(value, 1) + 0.0:,.1f}"


def plain(value: float | None) -> str:
    """A number of the user's own as it would be typed, thousands separated; a dash where there is none."""
    return "-" if value is None else f"{value:,.6f}".rstrip("0").rstrip(".")


def decimals(places: int) -> Format:
    """Numbers with so many decimal places; a dash where there is no figure."""
    return lambda value: "-" if value is None else f"{round(value, places) + 0.0:,.{places}f}"


def rounded(value: float | None) -> str:
    """Three significant digits, for headlines: 1,730,000; a dash where there is no figure."""
    if value is None:
        return "-"
    short = float(f"{value:.3g}") + 0.0
    return f"{short:,.0f}" if abs(short) >= 100 or short == 0 else f"{short:g}"


def percent(value: float | None) -> str:
    """A share as whole hundredths: 0.294 is 29; a dash where there is no figure."""
    return whole(None if value is None else 100 * value)


def count(number: int, what: str) -> str:
    """1 site, 2 sites."""
    return f"{number:,} {what}" + ("" if number == 1 else "s")


def duration(seconds: float) -> str:
    """8 s, 3 min, 1 h 10 min."""
    whole_seconds = max(round(seconds), 1)
    if whole_seconds < 60:
        return f"{whole_seconds} s"
    minutes = round(whole_seconds / 60)
    return f"{minutes} min" if minutes < 60 else f"{minutes // 60} h {minutes % 60} min"


def words(value: object) -> str:
    """Text as it is; underscores of names become spaces."""
    return "-" if value is None else str(value).replace("_", " ")


def shortened(width: int) -> Format:
    """Texts of so many characters at most."""

    def short(value: object) -> str:
        told = "-" if value is None else str(value)
        return told if len(told) <= width else told[: width - 3] + "..."

    return short


def printable(text: str) -> str:
    """The text with a mark for whatever a terminal would obey instead of show: what stands in a table is data."""
    return "".join(character if character.isprintable() else "\N{REPLACEMENT CHARACTER}" for character in text)


def room() -> int | None:
    """How many characters a line of the terminal has, by COLUMNS where that is set; None where the answer goes elsewhere."""
    stated = os.environ.get("COLUMNS", "")
    if stated.isdecimal() and int(stated) > 0:
        return int(stated)
    try:
        return os.get_terminal_size(sys.stdout.fileno()).columns or None
    except (OSError, ValueError, AttributeError):
        return None


def table(
    rows: Sequence[Mapping[str, Any]], columns: Mapping[str, tuple[str, Format]], spare: Sequence[str] = ()
) -> str:
    """`rows` as text; `columns` gives for each key its heading and format. Words to the left, numbers to the right.

    On a terminal too narrow for all columns the `spare` ones go first, then the last ones, and the line below says which; at
    last the longest words are cut short.
    """
    told = {key: [heading, *(printable(form(row[key])) for row in rows)] for key, (heading, form) in columns.items()}
    widths = {key: max(map(len, cells)) for key, cells in told.items()}
    width, gone = room(), list[str]()
    order = [key for key in spare if key in told] + [key for key in reversed(list(told)[2:]) if key not in spare]
    while width and _total(widths) > width and order and len(widths) > LEAST_COLUMNS:
        gone.append(order.pop(0))
        del widths[gone[-1]], told[gone[-1]]
    left = {key: form in (words, str) or form.__name__ == "short" for key, (_, form) in columns.items() if key in told}
    longest = max((key for key in told if left[key]), key=lambda key: widths[key], default=None)
    if width and longest is not None and (over := _total(widths) - width) > 0:
        widths[longest] = max(widths[longest] - over, SHORTEST)
        told[longest] = [shortened(widths[longest])(cell) for cell in told[longest]]
    lines = [
        "  ".join(
            cell.ljust(widths[key]) if left[key] else cell.rjust(widths[key])
            for key, cell in zip(told, line, strict=True)
        )
        for line in zip(*told.values(), strict=True)
    ]
    rule = "  ".join("-" * each for each in widths.values())
    more = [f"({', '.join(columns[key][0] for key in columns if key in gone)}: no room here)"] if gone else []
    return "\n".join(line.rstrip() for line in [lines[0], rule, *lines[1:], *more])


def _total(widths: Mapping[str, int]) -> int:
    return sum(widths.values()) + 2 * (len(widths) - 1)
