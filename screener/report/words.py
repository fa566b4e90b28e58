"""Sentences that pages and workbook share."""

import re
from collections.abc import Sequence

from screener import text
from screener.contracts import Field

CAUTIONS = (
    "These are screening estimates, not designs. Before anything is bought or changed, have a licensed professional "
    "verify the site.",
    "Local codes decide ventilation. The calculation never takes less outdoor air than the table or the code's rate says.",
    "Work on electrical equipment, refrigerant circuits, fuel-burning equipment, condensate drains and ventilation can "
    "injure people and damage buildings. It belongs to licensed trades under local codes, with power locked out, "
    "refrigerant recovered, combustion air and venting checked, and condensate trapped and drained.",
    "What a building stores of heat and moisture from hour to hour is lumped into one mass and one buffer, typical of its "
    "kind where the table gives none.",
)


def placeholder_caution(strategies: Sequence[str]) -> str:
    """What to think of money that comes from the prices that ship with the program."""
    return (
        f"Investment is a placeholder that ships with the program, not a quotation, for {listed(strategies)}. Whatever "
        "follows from it, net savings, payback and the order of the sites, is only as good."
    )


def figure_name(field: Field) -> str:
    """What a column is, in a few words: the beginning of its description."""
    return re.split(r"[.;](?:\s|$)", field.description)[0]


def unit_name(unit: str | None) -> str:
    """A unit as people write it; nothing where it is a bare number.

    >>> unit_name("degC"), unit_name("degrees"), unit_name("W/m2"), unit_name("1")
    ('°C', '°', 'W/m²', '')
    """
    return "" if unit in (None, "1") else str(unit).replace("degrees", "°").replace("deg", "°").replace("m2", "m²")


def listed(things: Sequence[object], most: int = 8) -> str:
    """a, b and c; of many the first, and how many more."""
    words = [text.words(thing) for thing in things]
    if len(words) > most:
        return ", ".join(words[:most]) + f" and {len(words) - most:,} more"
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)
