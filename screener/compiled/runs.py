"""Sites and weather into a compiled program, and the sums back out, several sites at a time."""

import os
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import reduce

import numpy as np
import polars as pl
from numpy.typing import NDArray

from screener.compiled.program import LEAST, PHASES, Program, Tally

Numbers = NDArray[np.float64]
Finish = Callable[[Numbers, Numbers], Numbers]


@dataclass(frozen=True)
class Hours:
    """The hours of a place: columns [column, hour], and the slot of each hour. Their number is a multiple of PHASES;
    hours that weigh nothing fill it up."""

    columns: Numbers
    slots: NDArray[np.int64]


@dataclass(frozen=True)
class Sums:
    """By the names of the tallies: `slots` [site, slot] and `years` [site]; `finished` [site, ...] is what `finish` made."""

    slots: dict[str, Numbers]
    years: dict[str, Numbers]
    finished: Numbers


def run(
    program: Program, sites: pl.DataFrame, key: str, places: Mapping[int, Hours], slots: int, finish: Finish
) -> Sums:
    """Work out the year of each site, whose hours are those of the place that its column `key` names.

    `finish` makes an array of numbers of what a site's dry hours keep [hour], among -inf for other hours, and of what its
    damp hours keep [formula, damp hour]. The largest of no hours is zero. ValueError for a site without a number that
    the program needs.
    """
    terms = sites.select(pl.col(program.site_columns).cast(pl.Float64))
    if lacking := [column.name for column in terms if column.null_count()]:
        raise ValueError(f"sites without {', '.join(lacking)}")
    numbers = np.ascontiguousarray(terms.to_numpy().reshape(sites.height, -1))
    count = sites.height
    dry_slot, damp_slot = (_Group(part.slot, count, slots, program.slot_stride) for part in (program.dry, program.damp))
    dry_year, damp_year = (_Group(part.year, count, PHASES, PHASES) for part in (program.dry, program.damp))
    groups = (dry_slot, dry_year, damp_slot, damp_year)

    def of_site(site: int, place: int) -> Numbers:
        at = places[place]
        hours = at.slots.size
        sums = [group.beginnings() for group in groups]
        dry, damp, numbers_of_damp = (
            np.empty(hours),
            np.empty((program.kept, hours)),
            np.empty(hours + PHASES, np.int64),
        )
        arrays = [numbers[site], at.columns, at.slots, *sums, dry, damp, numbers_of_damp]
        damp_hours = program.function(*(array.ctypes.data for array in arrays), hours)
        for group, worked in zip(groups, sums, strict=True):
            group.keep(site, worked)
        return finish(dry, damp[:, :damp_hours])

    with ThreadPoolExecutor(os.cpu_count()) as pool:  # the compiled function lets other threads run meanwhile
        finished = [*pool.map(of_site, range(count), sites[key])]
    return Sums(dry_slot.sums() | damp_slot.sums(), dry_year.years() | damp_year.years(), np.stack(finished))


class _Group:
    """One of the four groups of sums, of all sites: [tally, site, slot or phase]."""

    def __init__(self, tallies: Sequence[Tally], sites: int, width: int, stride: int) -> None:
        self.tallies, self.stride = tallies, stride
        self.all = np.empty((len(tallies), sites, width))

    def beginnings(self) -> Numbers:
        """For one site, what sums and largest values begin with [tally, stride]."""
        return np.repeat(np.array([tally.beginning for tally in self.tallies]).reshape(-1, 1), self.stride, axis=1)

    def keep(self, site: int, worked: Numbers) -> None:
        """Take in the sums of a site."""
        self.all[:, site] = worked[:, : self.all.shape[2]]

    def sums(self) -> dict[str, Numbers]:
        """By the names of the tallies; the largest of no hours is zero."""
        for tally, values in zip(self.tallies, self.all, strict=True):
            if tally.how == "max":
                values[values == LEAST] = 0.0
        return {tally.name: values for tally, values in zip(self.tallies, self.all, strict=True)}

    def years(self) -> dict[str, Numbers]:
        """The same with the phases put together, sums in order, so that they come out the same everywhere."""
        together = {"sum": np.add, "max": np.maximum}
        hows = {tally.name: together[tally.how] for tally in self.tallies}
        return {name: reduce(hows[name], values.T) for name, values in self.sums().items()}
