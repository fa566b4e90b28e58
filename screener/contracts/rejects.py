"""Rows that are left out of a run, and why: the kinds of them, counted and in words."""

import polars as pl

SITES = "sites"
KINDS = {  # kind of a row set aside: one and several
    "closed": ("closed", "closed"),
    "duplicate": ("duplicate", "duplicates"),
    "total": ("line of totals", "lines of totals"),
    "example": ("example row", "example rows"),
    "remark": ("remark", "remarks"),
    "not open yet": ("not open yet", "not open yet"),
}
FAULTS = "with faults"


def left_out(rejects: pl.DataFrame) -> dict[str, int]:
    """How many rows of the sites table are left out, by kind; those at fault last."""
    rules = rejects.filter(pl.col("table") == SITES)["rules"]
    counts = {kind: int((rules == kind).sum()) for kind in KINDS}
    counts[FAULTS] = rules.len() - sum(counts.values())
    return {kind: number for kind, number in counts.items() if number}


def in_words(ranked: int, rejects: pl.DataFrame) -> str:
    """The first line of every answer: how many of the rows are ranked, and what became of the others.

    >>> in_words(3, pl.DataFrame({"table": ["sites"] * 2, "rules": ["closed", "missing value"]}))
    '3 of 5 sites ranked; 2 left out: 1 closed, 1 with faults'
    """
    counts = left_out(rejects)
    lost = sum(counts.values())
    if not lost:
        return f"{ranked:,} of {ranked:,} sites ranked"
    parts = [f"{number:,} {KINDS[kind][number > 1] if kind in KINDS else kind}" for kind, number in counts.items()]
    return f"{ranked:,} of {ranked + lost:,} sites ranked; {lost:,} left out: {', '.join(parts)}"
