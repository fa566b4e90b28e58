"""The statistical years a process has rebuilt, kept for the next batch of sites that asks for them.

A batch of a national portfolio touches most stations; rebuilding them each time would cost more than the engine. All
1,011 stations take 200 MB.
"""

from collections.abc import Sequence

import polars as pl

from screener.climate import statistical_year

_KEPT: dict[str, pl.DataFrame] = {}


def years(numbers: Sequence[str]) -> pl.DataFrame:
    """The hours of `statistical_year.rebuild` for these stations, in their order; the same to the last bit."""
    if missing := sorted({*numbers} - {*_KEPT}):
        rebuilt = statistical_year.rebuild(missing).partition_by("station", maintain_order=True)
        _KEPT.update((year["station"][0], year) for year in rebuilt)
    return pl.concat([_KEPT[number] for number in numbers])
