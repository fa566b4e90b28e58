"""Weather: which stands for a site, and the hours of its year, one after another.

Two sources, one shape: the typical year of any of the stations the package carries, or a site's own hourly file.
`locate` finds the weather of sites, `hours` gives the hours, `design_conditions` what equipment is sized for.
"""

from collections.abc import Iterable, Sequence
from pathlib import Path

import polars as pl

from screener.climate import carried, figures, hourly_files
from screener.climate.carried import stations
from screener.climate.hourly_files import PREFIX as OWN_WEATHER
from screener.climate.places import PLACE, find, locate
from screener.errors import UsageError
from screener.formula import of_columns
from screener.physics.psychrometrics import elevation

__all__ = [
    "OWN_WEATHER",
    "PLACE",
    "design_conditions",
    "find",
    "hours",
    "hours_of_files",
    "locate",
    "monthly_figures",
    "own_hours",
    "stations",
]


def hours(weather_ids: Sequence[str], folder: Path | None = None) -> pl.DataFrame:
    """The hours of each weather in their order, by the columns of `hourly_files.SCHEMA`.

    Ids as `locate` gives them; `folder` is the portfolio whose `weather/` holds the files.
    """
    numbers = [w for w in weather_ids if not w.startswith(OWN_WEATHER)]
    frames = [carried.hours(numbers)] if numbers else []
    frames += [hourly_files.read(w, folder) for w in weather_ids if w.startswith(OWN_WEATHER)]
    return pl.concat([frame.select(*hourly_files.SCHEMA) for frame in frames])


def own_hours(weather_ids: Iterable[str], folder: Path | None = None) -> pl.DataFrame:
    """The `hours` of those ids that are files of the portfolio's own; no rows where none is."""
    files = sorted(w for w in {*weather_ids} if w.startswith(OWN_WEATHER))
    return hours(files, folder) if files else pl.DataFrame(schema=hourly_files.SCHEMA)


def hours_of_files(sites: pl.DataFrame, folder: Path) -> pl.DataFrame:
    """The `own_hours` of the weather files that sites name (columns PLACE), for a run to keep."""
    with_files = sites.filter(pl.col("weather_file").is_not_null())
    ids, _ = locate(with_files.select(PLACE), folder)
    return own_hours(ids["weather_id"], folder)


def design_conditions(weather_ids: Sequence[str], own: pl.DataFrame | None = None) -> pl.DataFrame:
    """One row per weather: `weather_id`, `station_elevation_m` and `figures.DESIGN_COLUMNS`.

    `own` holds the `hours` of files, which their conditions are taken from; a station's are carried. The elevation of a
    file is the one that goes with its mean pressure in the standard atmosphere.
    """
    columns = ["weather_id", "station_elevation_m", *figures.DESIGN_COLUMNS]
    listed = stations().filter(pl.col("station").is_in(list(weather_ids)))
    known = listed.rename({"station": "weather_id", "elevation_m": "station_elevation_m"})
    if own is None:
        return known.select(columns)
    files = own.filter(
        pl.col("weather_id").is_in(list(weather_ids)) & pl.col("weather_id").str.starts_with(OWN_WEATHER)
    )
    measured = figures.design_conditions(files).with_columns(station_elevation_m=of_columns(elevation, "pressure_pa"))
    return pl.concat([known.select(columns), measured.select(columns)])


def monthly_figures(station: str) -> pl.DataFrame:
    """Twelve months and the year of one station's typical year. UsageError for an unknown station."""
    if station not in stations()["station"]:
        raise UsageError(f"no station {station}; `screener climate list` names them, `screener climate find` by place")
    return figures.monthly_figures(hours([station]))
