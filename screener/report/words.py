"""Sentences that pages and workbook share."""

from collections.abc import Sequence

from screener import text

CAUTIONS = (
    "These are screening estimates, not designs. Before anything is bought or changed, have a licensed professional "
    "verify the site.",
    "Local codes decide ventilation. The calculation never takes less outdoor air than the table or the code's rate says.",
    "Work on electrical equipment, refrigerant circuits, fuel-burning equipment, condensate drains and ventilation can "
    "injure people and damage buildings. It belongs to licensed trades under local codes, with power locked out, "
    "refrigerant recovered, combustion air and venting checked, and condensate trapped and drained.",
    "Each hour stands alone: no heat or water is stored, so peaks of massive or very absorbent buildings come out too "
    "high.",
)


def placeholder_caution(strategies: Sequence[str]) -> str:
    """What to think of money that comes from the prices that ship with the program."""
    return (
        f"Investment is a placeholder that ships with the program, not a quotation, for {listed(strategies)}. Whatever "
        "follows from it, net savings, payback and the order of the sites, is only as good."
    )


def listed(things: Sequence[object], most: int = 8) -> str:
    """a, b and c; of many the first, and how many more."""
    words = [text.words(thing) for thing in things]
    if len(words) > most:
        return ", ".join(words[:most]) + f" and {len(words) - most:,} more"
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)
