"""The headings of a sheet of sites by their meaning: `Store #`, `Sq Ft`, `ZIP`, `Floor area (m²)`, `Tons`.

A heading is put into plain words (case, spaces, marks and brackets aside, units in one spelling) and looked up among the names
of columns, then in `defaults/headings.csv`: usual headings of the trade, common practice, no source.
"""

import csv
import re
from collections.abc import Collection, Sequence
from functools import cache
from pathlib import Path

from screener.contracts import Contract

WORDS = Path(__file__).parent / "defaults" / "headings.csv"
TABLE = "sites"  # whose headings people choose themselves
UNITS = (  # one spelling of a unit for each of those in use; longer ones first
    (r"\b(square feet|square foot|sq ?feet|sq ?ft|sqft|sq\. ?ft\.?|sf|ft ?2|ft\^2)\b\.?", "ft2"),
    (r"\b(square met(er|re)s?|sq ?m|sqm|m ?2|m\^2)\b", "m2"),
    (r"(°|º|\bdeg(rees)?\b\.?) ?([cf])\b", r" \3"),
    (r"\bset[ -]points?\b", "setpoint"),
    (r"\bdewpoint\b", "dew point"),
)
MARKS = re.compile(r"[\s_()\[\]{}/\\.,:;*\"'–—-]+")


def plain(heading: str) -> str:
    """A heading in plain words.

    >>> plain("Floor Area (Sq. Ft.)"), plain("Store #"), plain("Cooling Set-Point [°F]")
    ('floor area ft2', 'store number', 'cooling setpoint f')
    """
    text = re.sub(r"\s+", " ", heading[:200].lower().replace("²", "2").replace("#", " number "))
    for spelt, unit in UNITS:
        text = re.sub(spelt, unit, text)
    return MARKS.sub(" ", text).strip()


@cache
def usual() -> dict[str, str]:
    """The column that each usual heading means, by its plain words."""
    with WORDS.open(encoding="utf-8", newline="") as file:
        return {row["heading"]: row["column"] for row in csv.DictReader(file)}


def meant(heading: str, contract: Contract) -> str | None:
    """The name of a column that a heading which is none stands for; None where it means nothing known."""
    known = {name for field in contract.fields for name in field.names}
    words = plain(heading)
    if contract.name != TABLE or not words:
        return None
    if (name := words.replace(" ", "_")) in known:
        return name
    found = usual().get(words)
    return found if found in known else None


def taken(header: Sequence[str], contract: Contract) -> tuple[list[str], list[str], dict[str, list[str]]]:
    """The header with the columns that its headings mean, a note on each, and headings that mean one figure alike.

    `header`: lower-case names. A heading is taken only where no column of the figure stands there under a name of its own.
    """
    own = {name: field.name for field in contract.fields for name in field.names}
    there = {own[name] for name in header if name in own}
    means = {at: name for at, cell in enumerate(header) if cell not in own and (name := meant(cell, contract))}
    rivals: dict[str, list[int]] = {}
    for at, name in means.items():
        if own[name] not in there:
            rivals.setdefault(own[name], []).append(at)
    read = list(header)
    notes, doubtful = [], {}
    for figure, places in rivals.items():
        places = _nearest(places, header, figure)
        if len(places) > 1:
            doubtful[figure] = [header[at] for at in places]
            continue
        read[places[0]] = means[places[0]]
        if MARKS.sub("_", header[places[0]]).strip("_") != means[places[0]]:
            notes.append(f'{contract.name}: the heading "{header[places[0]]}" is taken for {means[places[0]]}')
    return read, notes, doubtful


def _nearest(places: list[int], header: Sequence[str], figure: str) -> list[int]:
    """Of several headings for one figure those that say it in full: `Store #` beside `Site` is the number."""
    exact = [at for at in places if "number" in plain(header[at]) or plain(header[at]).endswith(" id")]
    return exact if figure == "site_id" and exact else places


def words(contract: Contract) -> Collection[str]:
    """Lower-case headings that a sheet may have beside the names of columns, to find its header and its separator by."""
    return usual().keys() if contract.name == TABLE else ()
