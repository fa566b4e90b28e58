"""Tables and numbers for people: aligned columns of plain text."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any

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


def table(rows: Sequence[Mapping[str, Any]], columns: Mapping[str, tuple[str, Format]]) -> str:
    """`rows` as text; `columns` gives for each key its heading and format. Words to the left, numbers to the right."""
    cells = [[heading for heading, _ in columns.values()]]
    cells += [[printable(form(row[key])) for key, (_, form) in columns.items()] for row in rows]
    widths = [max(map(len, column)) for column in zip(*cells, strict=True)]
    left = [form in (words, str) or form.__name__ == "short" for _, form in columns.values()]
    lines = [
        "  ".join(
            cell.ljust(w) if is_left else cell.rjust(w) for cell, w, is_left in zip(line, widths, left, strict=True)
        )
        for line in cells
    ]
    rule = "  ".join("-" * w for w in widths)
    return "\n".join(line.rstrip() for line in [lines[0], rule, *lines[1:]])
