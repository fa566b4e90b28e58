"""The years that sites are worked out with, as the engine takes them; those of stations are kept for the next batch of
sites that asks for them.

A batch of a national portfolio touches most stations; reading their years each time would cost as much as the engine.
All 1,011 stations take half a gigabyte.
"""

from collections.abc import Sequence

import polars as pl

from screener import climate
from screener.calendar import Dates
from screener.engine import year
from screener.errors import UsageError
from screener.worksheet.hours import Hours

_KEPT: dict[tuple[str, Dates], Hours] = {}


def years(weather_ids: Sequence[str], own: pl.DataFrame, dates: Dates) -> dict[str, Hours]:
    """The hours of each weather: of stations as the package carries them, of files from the `climate.own_hours` given, with
    these dates.

    UsageError for a file that `own` does not hold.
    """
    files = {w for w in weather_ids if w.startswith(climate.OWN_WEATHER)}
    measured = year.years(own.filter(pl.col("weather_id").is_in(files)), dates)
    if lost := sorted(files - measured.keys()):
        raise UsageError(f"no hours of {', '.join(lost)}; hand them in with the weather of the basis")
    if missing := sorted(w for w in {*weather_ids} - files if (w, dates) not in _KEPT):
        _KEPT.update({(w, dates): hours for w, hours in year.years(climate.hours(missing), dates).items()})
    return measured | {w: _KEPT[w, dates] for w in weather_ids if w not in files}
