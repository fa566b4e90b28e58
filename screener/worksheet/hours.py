"""What is taken over the hours of a site, and the hours themselves: shared by both ways of working out worksheets."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
import polars as pl
from numpy.typing import NDArray

from screener.errors import ResultsError
from screener.formula import Number, Truth
from screener.worksheet.steps import Worksheet

LEAST = float("-inf")
Numbers = NDArray[np.float64]
Finish = Callable[[Numbers], Numbers]
How = Literal["sum", "max"]
BEGINNINGS: Mapping[How, float] = {"sum": 0.0, "max": LEAST}  # what a figure is of no hours


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


@dataclass(frozen=True)
class Tallies:
    """What is taken over the hours: by slot (month, day kind and hour) and over the year."""

    slot: Sequence[Tally]
    year: Sequence[Tally]


@dataclass(frozen=True)
class Part:
    """The hours of one strategy, one after another.

    `sheets` hold the steps of an hour. `carried`: by the name of a column what it is in the next hour; `first`: likewise the
    column of a site that it begins with, `warm_up` hours of the year's end before the year begins. `kept`: formulas of
    which each hour's value is handed out. `acts`: a truth; what is chosen by it need not be worked out where it is false.
    """

    sheets: Sequence[Worksheet]
    tallies: Tallies
    kept: Sequence[Number] = ()
    carried: Mapping[str, Number] = field(default_factory=dict)
    first: Mapping[str, str] = field(default_factory=dict)
    warm_up: int = 0
    acts: Truth | None = None


@dataclass(frozen=True)
class Hours:
    """The hours of a place: columns [column, hour], and the slot of each hour."""

    columns: Numbers
    slots: NDArray[np.int64]


def side_by_side(
    places: Sequence[Hours], sites: pl.DataFrame, of_site: Mapping[str, str]
) -> Callable[[Sequence[int]], Numbers]:
    """A function that gives the hours of some sites, by their numbers, side by side: [column, hour, site].

    First come the columns of their places, then one for each of `of_site`: an array of the site, taken by the hour's slot,
    over and over. The places of sites that are asked for together must have the same slots.
    """
    courses = [np.asarray(sites[column].to_list(), dtype=np.float64) for column in of_site.values()]

    def hours(chosen: Sequence[int]) -> Numbers:
        first = places[chosen[0]]
        of_place, count = first.columns.shape
        found = np.empty((of_place + len(courses), count, len(chosen)))
        for lane, site in enumerate(chosen):
            found[:of_place, :, lane] = places[site].columns
        for row, course in enumerate(courses, of_place):
            found[row] = course[chosen].T[first.slots % course.shape[1]]
        return found

    return hours


def alike(places: Sequence[Hours]) -> list[list[int]]:
    """The numbers of the places, together where their hours fall into the same slots."""
    known: dict[int, bytes] = {}
    groups: dict[bytes, list[int]] = {}
    for number, place in enumerate(places):
        if id(place.slots) not in known:
            known[id(place.slots)] = place.slots.tobytes()
        groups.setdefault(known[id(place.slots)], []).append(number)
    return [*groups.values()]


@dataclass(frozen=True)
class Sums:
    """By the names of the tallies: `slots` [site, slot] and `years` [site]; `finished` [site, ...] is what `finish` made."""

    slots: dict[str, Numbers]
    years: dict[str, Numbers]
    finished: Numbers

    def nothing(self) -> "Sums":
        """The same tallies of the same sites, all zero."""
        slots, years = ({name: np.zeros_like(v) for name, v in each.items()} for each in (self.slots, self.years))
        return Sums(slots, years, np.zeros_like(self.finished))

    def put(self, sites: NDArray[Any], other: "Sums", at: NDArray[Any]) -> None:
        """Take the figures of `sites` from those that `other` has in its places `at`; a tally new to this begins with zeros."""
        for mine, others in ((self.slots, other.slots), (self.years, other.years)):
            for name, values in others.items():
                mine.setdefault(name, np.zeros((len(self.finished), *values.shape[1:])))[sites] = values[at]
        self.finished[sites] = other.finished[at]

    def wrong(self) -> tuple[str, int] | None:
        """The first tally that is not a finite number, and the place of its site; None where all are."""
        for tallies in (self.slots, self.years):
            for name, values in tallies.items():
                if not np.isfinite(values.sum()):
                    finite = np.isfinite(values.reshape(len(values), -1)).all(axis=1)
                    return (name, int(np.argmin(finite))) if not finite.all() else None
        return None


def sums_of(tallies: Tallies, blocks: Sequence[tuple[Numbers, Numbers, Numbers]], order: NDArray[np.int64]) -> Sums:
    """The sums of blocks of sites (by slot [tally, slot, site], of the year [tally, site], finished [site, ...]), with the
    sites in their own order; the largest of no hours is zero."""
    place = np.argsort(order)  # of each site as the blocks have them; each slot's sums go to it once
    first = blocks[0][0]
    by_slot, at = np.empty((len(tallies.slot), len(order), first.shape[1])), 0
    for sums, *_ in blocks:
        by_slot[:, place[at : at + sums.shape[-1]]] = sums.transpose(0, 2, 1)
        at += sums.shape[-1]
    year = np.concatenate([of_year for _, of_year, _ in blocks], axis=-1)[:, order]
    for group, values in ((tallies.slot, by_slot), (tallies.year, year)):
        for tally, of_tally in zip(group, values, strict=True):
            if tally.how == "max":
                of_tally[of_tally == LEAST] = 0.0
    return Sums(
        {tally.name: values for tally, values in zip(tallies.slot, by_slot, strict=True)},
        {tally.name: values for tally, values in zip(tallies.year, year, strict=True)},
        np.concatenate([finished for *_, finished in blocks])[order],
    )
