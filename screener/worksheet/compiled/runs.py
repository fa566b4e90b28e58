"""Sites and weather into a compiled year, and the sums back out, several sites at a time."""

from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from functools import reduce
from typing import Any

import numpy as np
import polars as pl

from screener.worksheet.compiled.year import PHASES, YearCode
from screener.worksheet.hours import LEAST, Finish, Hours, Numbers, Sums, Tally, check_filled

CHUNK = 8  # sites that a thread works out at a time
PAGE, LINE = 512, 8  # doubles


class CompiledYear(YearCode):
    """A year of a site as machine code, and how sites and weather are handed to it."""

    def run(self, sites: pl.DataFrame, key: str, years: Mapping[Any, Hours], slots: int, finish: Finish) -> Sums:
        """Work out the year of each site, whose hours are those of the place that its column `key` names.

        `finish` makes an array of numbers of what a site's dry hours keep [hour], among -inf for other hours, and of what its
        damp hours keep [formula, damp hour]. The largest of no hours is zero. ResultsError for a site without a number that
        the formulas need.
        """
        terms = sites.select(pl.col(self.site_columns).cast(pl.Float64))
        check_filled(sites, terms.columns)
        numbers = np.ascontiguousarray(terms.to_numpy().reshape(sites.height, -1))
        count = sites.height
        dry_slot, damp_slot = (_Group(part.slot, count, slots) for part in (self.dry, self.damp))
        dry_year, damp_year = (_Group(part.year, count, PHASES) for part in (self.dry, self.damp))
        keys = sites[key].to_list()
        longest = max((years[key].slots.size for key in keys), default=0)

        def of_some(first: int) -> list[Numbers]:
            dry, damp, numbers_of_damp = np.empty(longest), np.empty(self.kept * longest), np.empty(longest, np.int64)
            finished = []
            for site in range(first, min(first + CHUNK, count)):
                at = years[keys[site]]
                hours = at.slots.size
                sums = (group.address(site) for group in (dry_slot, dry_year, damp_slot, damp_year))
                arrays = (numbers[site], at.columns, at.slots, dry, damp, numbers_of_damp)
                site_at, columns, slots_at, *kept = (array.ctypes.data for array in arrays)
                strides = (dry_slot.stride, dry_year.stride, damp_slot.stride, damp_year.stride)
                found = self.function(site_at, columns, slots_at, *sums, *kept, *strides, hours)
                finished.append(finish(dry[:hours], damp[: self.kept * hours].reshape(self.kept, hours)[:, :found]))
            return finished

        with ThreadPoolExecutor(
            pl.thread_pool_size()
        ) as pool:  # the compiled function lets other threads run meanwhile
            finished = [made for chunk in pool.map(of_some, range(0, count, CHUNK)) for made in chunk]
        return Sums(dry_slot.sums() | damp_slot.sums(), dry_year.years() | damp_year.years(), np.stack(finished))


class _Group:
    """One of the four groups of sums, of all sites: a row for each tally, `stride` doubles apart, and in it `width` sums
    (slots or phases) of each site."""

    def __init__(self, tallies: Sequence[Tally], sites: int, width: int) -> None:
        self.tallies, self.sites, self.width = tallies, sites, width
        used = sites * width
        self.stride = used + (LINE - used) % PAGE  # a line off from page to page: rows do not crowd in the cache
        self.rows = np.empty((len(tallies), self.stride))
        self.rows[:] = np.array([tally.beginning for tally in tallies]).reshape(-1, 1)

    def address(self, site: int) -> int:
        """Of the first sum of a site."""
        return int(self.rows.ctypes.data) + site * self.width * self.rows.itemsize

    def sums(self) -> dict[str, Numbers]:
        """By the names of the tallies [site, slot or phase]; the largest of no hours is zero."""
        sums = self.rows[:, : self.sites * self.width].reshape(len(self.tallies), self.sites, self.width)
        for tally, values in zip(self.tallies, sums, strict=True):
            if tally.how == "max":
                values[values == LEAST] = 0.0
        return {tally.name: values for tally, values in zip(self.tallies, sums, strict=True)}

    def years(self) -> dict[str, Numbers]:
        """The same with the phases put together, sums in order, so that they come out the same everywhere."""
        together = {"sum": np.add, "max": np.maximum}
        hows = {tally.name: together[tally.how] for tally in self.tallies}
        return {name: reduce(hows[name], values.T) for name, values in self.sums().items()}
