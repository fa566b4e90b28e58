"""Two worksheets and the sums over their hours as columns of Polars: where no machine code can be made.

The same figures as `compiled`, to rounding, some ten times slower.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from screener.formula import Number, polars
from screener.worksheet.hours import LEAST, Finish, Hours, Numbers, Sums, Tallies, Tally
from screener.worksheet.steps import Worksheet

TOGETHER = 32  # sites


@dataclass(frozen=True)
class ColumnsYear:
    """A year of a site, as `compiled.CompiledYear` has it."""

    any_hour: Worksheet
    damp_hour: Worksheet
    hour_columns: Sequence[str]
    dry: Tallies
    damp: Tallies
    dry_kept: Number
    damp_kept: Sequence[Number]

    def run(self, sites: pl.DataFrame, key: str, places: Mapping[Any, Hours], slots: int, finish: Finish) -> Sums:
        """Work out the year of each site, whose hours are those of the place that its column `key` names."""
        found = [self._some(some, key, places, slots, finish) for some in sites.iter_slices(TOGETHER)]
        return Sums(
            {name: np.concatenate([sums.slots[name] for sums in found]) for name in found[0].slots},
            {name: np.concatenate([sums.years[name] for sums in found]) for name in found[0].years},
            np.concatenate([sums.finished for sums in found]),
        )

    def frames(self, site: pl.DataFrame, at: Hours) -> tuple[pl.DataFrame, pl.DataFrame]:
        """The dry and the damp hours of one site, every step a column, `at` its place in the year beside."""
        every = self.any_hour.apply(self._hours(site, [at])).collect()
        return every.filter(~pl.col("damp")), self.damp_hour.apply(every.lazy().filter("damp")).collect()

    def _hours(self, sites: pl.DataFrame, years: Sequence[Hours]) -> pl.LazyFrame:
        """Every hour of every site, with its `slot`, the `number` of its site and where in the year it is `at`."""
        frames = [
            pl.DataFrame(dict(zip(self.hour_columns, year.columns, strict=True))).with_columns(
                pl.Series("slot", year.slots), pl.lit(number).alias("number"), at=pl.int_range(pl.len())
            )
            for number, year in enumerate(years)
        ]
        hours = pl.concat(frames).filter(pl.col("weight_h") > 0)
        own = sites.drop({*hours.columns} & {*sites.columns}).with_columns(number=pl.int_range(pl.len()).cast(pl.Int32))
        return hours.lazy().join(own.lazy(), on="number", how="left", maintain_order="left")

    def _some(self, sites: pl.DataFrame, key: str, places: Mapping[Any, Hours], slots: int, finish: Finish) -> Sums:
        every = self.any_hour.apply(self._hours(sites, [places[place] for place in sites[key]]))
        damp = self.damp_hour.apply(every.filter("damp"))
        dry_taken = self._taken(every.filter(~pl.col("damp")), self.dry, [self.dry_kept])
        damp_taken = self._taken(damp, self.damp, self.damp_kept)
        by_slot: dict[str, Numbers] = {}
        years: dict[str, Numbers] = {}
        for frame, tallies in ((dry_taken, self.dry), (damp_taken, self.damp)):
            of_site = frame["number"].to_numpy().astype(np.int64)
            placed = of_site * slots + frame["slot"].to_numpy()
            by_slot |= {t.name: _sums(frame, t, placed, sites.height * slots).reshape(-1, slots) for t in tallies.slot}
            years |= {t.name: _sums(frame, t, of_site, sites.height) for t in tallies.year}
        kept = [f"kept {n}" for n in range(len(self.damp_kept))]
        finished = []
        for number in range(sites.height):
            dry, wet = (frame.filter(pl.col("number") == number) for frame in (dry_taken, damp_taken))
            reached = np.ascontiguousarray(wet.select(kept).to_numpy().T)
            finished.append(finish(np.append(dry["kept 0"].to_numpy(), LEAST), reached))
        return Sums(by_slot, years, np.stack(finished))

    def _taken(self, hours: pl.LazyFrame, tallies: Tallies, kept: Sequence[Number]) -> pl.DataFrame:
        """The tallies and what is kept of each hour; nothing else stays in memory."""
        values = {f"tally {t.name}": t.value for t in (*tallies.slot, *tallies.year)}
        values |= {f"kept {n}": formula for n, formula in enumerate(kept)}
        chosen = hours.select("number", "slot", *(polars(x).cast(pl.Float64).alias(n) for n, x in values.items()))
        return chosen.collect(engine="streaming").sort("number", "slot", maintain_order=True)


def _sums(frame: pl.DataFrame, tally: Tally, at: NDArray[np.int64], count: int) -> Numbers:
    """The sums, or the largest where the tally asks for that, of the rows `at` each place; zero of no rows."""
    sums = np.full(count, tally.beginning)
    (np.add if tally.how == "sum" else np.maximum).at(sums, at, frame[f"tally {tally.name}"].to_numpy())
    sums[sums == LEAST] = 0.0
    return sums
