"""The years that sites are worked out with, as the engine takes them; those of stations are kept for the next batch of
sites that asks for them.

A batch of a national portfolio touches most stations; reading their years each time would cost as much as the engine.
All 1,011 stations take half a gigabyte.
"""

from collections.abc import Sequence

import polars as pl

from screener import climate
from screener.engine import year
from screener.errors import UsageError
from screener.worksheet.hours import Hours

_KEPT: dict[str, Hours] = {}


def years(weather_ids: Sequence[str], own: pl.DataFrame) -> dict[str, Hours]:
    """The hours of each weather: of stations as the package carries them, of files from the `climate.own_hours` given.

    UsageError for a file that `own` does not hold.
    """
    files = {w for w in weather_ids if w.startswith(climate.OWN_WEATHER)}
    measured = year.years(own.filter(pl.col("weather_id").is_in(files)))
    if lost := sorted(files - measured.keys()):
        raise UsageError(f"no hours of {', '.join(lost)}; hand them in with the weather of the basis")
    if missing := sorted({*weather_ids} - files - _KEPT.keys()):
        _KEPT.update(year.years(climate.hours(missing)))
    return measured | {w: _KEPT[w] for w in weather_ids if w not in files}
