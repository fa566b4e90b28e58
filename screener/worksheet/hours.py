"""What is taken over the hours of a site, and the hours themselves: shared by both ways of working out worksheets."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import polars as pl
from numpy.typing import NDArray

from screener.errors import ResultsError
from screener.formula import Number

LEAST = float("-inf")
AT_ONCE = 8  # a year's hours are a multiple of so many, and its sums are taken in as many parts
Numbers = NDArray[np.float64]
Finish = Callable[[Numbers, Numbers], Numbers]
How = Literal["sum", "max"]


def check_filled(sites: pl.DataFrame, columns: Sequence[str]) -> None:
    """ResultsError, naming site and column, for a number that formulas of an hour read and a site does not have."""
    for column in columns:
        if sites[column].null_count():
            first = sites.filter(pl.col(column).is_null())
            site = first["site_id"][0] if "site_id" in first.columns else ""
            raise ResultsError(
                f"site {site}: {column} is empty, and formulas of its hours read it; fill it from the building type "
                f"(assumptions), or say in a step of the site what stands for a blank: first_given({column}, ...)"
            )


@dataclass(frozen=True)
class Tally:
    """A figure taken over hours: the sum or the largest of a formula."""

    name: str
    value: Number
    how: How = "sum"

    @property
    def beginning(self) -> float:
        """What it is of no hours."""
        return 0.0 if self.how == "sum" else LEAST


@dataclass(frozen=True)
class Tallies:
    """What is taken over the dry or over the damp hours: by slot (month, day kind and hour) and over the year."""

    slot: Sequence[Tally]
    year: Sequence[Tally]


@dataclass(frozen=True)
class Hours:
    """The hours of a place: columns [column, hour], and the slot of each hour. Their number is a multiple of AT_ONCE;
    hours that weigh nothing fill it up."""

    columns: Numbers
    slots: NDArray[np.int64]


@dataclass(frozen=True)
class Sums:
    """By the names of the tallies: `slots` [site, slot] and `years` [site]; `finished` [site, ...] is what `finish` made."""

    slots: dict[str, Numbers]
    years: dict[str, Numbers]
    finished: Numbers

    def wrong(self) -> tuple[str, int] | None:
        """The first tally that is not a finite number, and the place of its site; None where all are."""
        for tallies in (self.slots, self.years):
            for name, values in tallies.items():
                if not np.isfinite(values.sum()):
                    finite = np.isfinite(values.reshape(len(values), -1)).all(axis=1)
                    return (name, int(np.argmin(finite))) if not finite.all() else None
        return None
