"""Sites and weather into compiled years, and the sums back out, several sites at a time."""

from collections.abc import Collection, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import numpy as np
import polars as pl

from screener.worksheet.compiled.year import FEW_LANES, YearCode, compiled
from screener.worksheet.hours import Finish, Hours, Numbers, Part, Sums, alike, check_filled, side_by_side, sums_of


class CompiledYear:
    """The year of a site in its parts as machine code, and how sites and weather are handed to it."""

    def __init__(
        self,
        parts: Mapping[str, Part],
        hour_columns: Sequence[str],
        of_site: Mapping[str, str],
        lanes: int = FEW_LANES,
    ) -> None:
        self.parts, self.hour_columns, self.of_site, self.lanes = dict(parts), tuple(hour_columns), of_site, lanes
        self._codes = [YearCode(part, [*hour_columns, *of_site]) for part in parts.values()]
        self._functions, self._engine = compiled(self._codes, lanes)

    def run(
        self,
        sites: pl.DataFrame,
        key: str,
        years: Mapping[Any, Hours],
        slots: int,
        finish: Finish,
        chosen: Collection[str] | None = None,
    ) -> dict[str, Sums]:
        """Work out the year of each site, whose hours are those of the place that its column `key` names, by part: those
        `chosen`, or all.

        Columns of an hour `of_site` are taken from an array of the site by the hour's slot. `finish` makes an array of numbers
        of what a site keeps [formula, hour]. The largest of no hours is zero. ResultsError for a site without a number that the
        formulas need.
        """
        numbered = [number for number, name in enumerate(self.parts) if chosen is None or name in chosen]
        needed = sorted({name for number in numbered for name in self._codes[number].site_columns})
        check_filled(sites, needed)
        terms = sites.select(pl.col(needed).cast(pl.Float64)).to_numpy().reshape(sites.height, -1)
        at = {name: place for place, name in enumerate(needed)}
        numbers = {number: terms[:, [at[name] for name in self._codes[number].site_columns]] for number in numbered}
        keys = sites[key].to_list()
        places = [years[key] for key in keys]
        groups = [sorted(group, key=lambda site: str(keys[site])) for group in alike(places)]  # damp hours together
        hours_of = side_by_side(places, sites, self.of_site)
        blocks = [group[i : i + self.lanes] for group in groups for i in range(0, len(group), self.lanes)]

        def of_block(block: list[int]) -> list[tuple[Numbers, Numbers, Numbers]]:
            lanes = block + block[-1:] * (self.lanes - len(block))
            hours = hours_of(lanes)
            at_slots = places[lanes[0]].slots
            found = []
            for number in numbered:
                own = np.ascontiguousarray(numbers[number][lanes].T)
                by_slot, year, kept = self._work_out(number, own, hours, at_slots, slots)
                done = np.stack([finish(kept[:, :, lane]) for lane in range(len(block))])
                found.append((by_slot[:, :, : len(block)], year[:, : len(block)], done))
            return found

        with ThreadPoolExecutor(
            pl.thread_pool_size()
        ) as pool:  # the compiled functions let other threads run meanwhile
            found = [*pool.map(of_block, blocks)]
        order = np.argsort(np.concatenate(blocks)) if blocks else np.empty(0, np.int64)
        return {
            name: sums_of(part.tallies, [each[place] for each in found], order)
            for place, (name, part) in enumerate([*self.parts.items()][number] for number in numbered)
        }

    def _work_out(
        self, number: int, site: Numbers, hours: Numbers, at_slots: Any, slots: int
    ) -> tuple[Numbers, Numbers, Numbers]:
        """Sums by slot and of the year and what is kept, all with the lanes last, after a warm-up of the year's last days."""
        part, lanes, count = self._codes[number].part, self.lanes, at_slots.size
        at = [self._codes[number].site_columns.index(name) for name in part.first.values()]
        states = np.ascontiguousarray(site[at])
        kept = np.empty((len(part.kept), count, lanes))
        for begin in ([max(0, count - part.warm_up)] if part.warm_up else []) + [0]:
            by_slot, year = (
                np.broadcast_to(
                    np.array([tally.beginning for tally in group]).reshape(-1, *[1] * len(shape)), (len(group), *shape)
                ).copy()
                for group, shape in ((part.tallies.slot, (slots, lanes)), (part.tallies.year, (lanes,)))
            )
            arrays = (site, hours, at_slots, by_slot, year, kept, states)
            self._functions[number](*(array.ctypes.data for array in arrays), slots, count, begin, count)
        return by_slot, year, kept
