"""Sites and weather into compiled years, and the sums back out, several sites at a time."""

from collections.abc import Callable, Collection, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import numpy as np
import polars as pl

from screener.worksheet.compiled.year import FEW_LANES, YearCode, compiled, in_step
from screener.worksheet.hours import (
    BEGINNINGS,
    Finish,
    Hours,
    Numbers,
    Part,
    Sums,
    alike,
    check_filled,
    side_by_side,
    sums_of,
)

Likeness = Callable[[pl.DataFrame, Sequence[Hours]], Numbers]


class CompiledYear:
    """The year of a site in its parts as machine code, and how sites and weather are handed to it.

    Sites of which `likeness` gives about the same number go side by side: those that act in the same hours, by likelihood. It
    changes no figure, only how many hours need what parts act with.
    """

    def __init__(
        self,
        parts: Mapping[str, Part],
        hour_columns: Sequence[str],
        of_site: Mapping[str, str],
        lanes: int = FEW_LANES,
        likeness: Likeness | None = None,
    ) -> None:
        self.parts, self.hour_columns, self.of_site, self.lanes = dict(parts), tuple(hour_columns), of_site, lanes
        self._likeness = likeness
        self._together = in_step(parts)
        every = [*hour_columns, *of_site]
        self._codes = [YearCode([parts[name] for name in names], every) for names in self._together]
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
        wanted = [name for name in self.parts if chosen is None or name in chosen]
        numbered = [number for number, names in enumerate(self._together) if not {*names}.isdisjoint(wanted)]
        needed = sorted({name for number in numbered for name in self._codes[number].site_columns})
        check_filled(sites, needed)
        terms = sites.select(pl.col(needed).cast(pl.Float64)).to_numpy().reshape(sites.height, -1)
        at = {name: place for place, name in enumerate(needed)}
        numbers = {number: terms[:, [at[name] for name in self._codes[number].site_columns]] for number in numbered}
        places = [years[key] for key in sites[key].to_list()]
        groups = alike(places)
        if self._likeness:
            like = self._likeness(sites, places)
            groups = [sorted(group, key=lambda site: float(like[site])) for group in groups]
        hours_of = side_by_side(places, sites, self.of_site)
        blocks = [group[i : i + self.lanes] for group in groups for i in range(0, len(group), self.lanes)]

        def of_block(block: list[int]) -> dict[str, tuple[Numbers, Numbers, Numbers]]:
            lanes = block + block[-1:] * (self.lanes - len(block))
            hours = hours_of(lanes)
            at_slots = places[lanes[0]].slots
            found = {}
            for number in numbered:
                code = self._codes[number]
                own = np.ascontiguousarray(numbers[number][lanes].T)
                by_slot, year, kept = self._work_out(number, own, hours, at_slots, slots)
                each = np.ascontiguousarray(kept.transpose(2, 0, 1)[: len(block)])
                done: dict[tuple[int, ...], Numbers] = {}
                for name, mine in zip(self._together[number], code.members, strict=True):
                    if (rows := tuple(mine.kept)) not in done:
                        done[rows] = np.stack([finish(of_lane[mine.kept]) for of_lane in each])
                    sums = by_slot[mine.slot, :, : len(block)], year[mine.year, : len(block)]
                    found[name] = (*sums, done[rows])
            return found

        with ThreadPoolExecutor(
            pl.thread_pool_size()
        ) as pool:  # the compiled functions let other threads run meanwhile
            found = [*pool.map(of_block, blocks)]
        order = np.argsort(np.concatenate(blocks)) if blocks else np.empty(0, np.int64)
        return {name: sums_of(self.parts[name].tallies, [each[name] for each in found], order) for name in wanted}

    def _work_out(
        self, number: int, site: Numbers, hours: Numbers, at_slots: Any, slots: int
    ) -> tuple[Numbers, Numbers, Numbers]:
        """Sums by slot and of the year and what is kept, all with the lanes last, after a warm-up of the year's last days."""
        code, lanes, count = self._codes[number], self.lanes, at_slots.size
        at = [code.site_columns.index(name) for name in code.part.first.values()]
        states = np.ascontiguousarray(site[at])
        kept = np.empty((len(code.kept), count, lanes))
        for begin in ([max(0, count - code.part.warm_up)] if code.part.warm_up else []) + [0]:
            by_slot, year = (
                np.array([np.full(shape, BEGINNINGS[how]) for how, _ in group]).reshape(-1, *shape)
                for group, shape in ((code.slot, (slots, lanes)), (code.year, (lanes,)))
            )
            arrays = (site, hours, at_slots, by_slot, year, kept, states)
            self._functions[number](*(array.ctypes.data for array in arrays), slots, count, begin, count)
        return by_slot, year, kept
