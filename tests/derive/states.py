"""Make `screener/climate/data/states.csv`: which station stands for a state where nothing but the state is known of a site.

    python -m tests.derive.states POSTAL_AREAS.csv OUT.csv

Of the stations in the climate zone that most postal areas of the state lie in, the one whose postal areas are nearest in the
mean. What that costs is told by the spread of the areas: median and 90th percentile of their distances, and the share of them
in another zone. Each postal area counts the same, so this is where places are, not people.
"""

import sys
from pathlib import Path

import numpy as np
import polars as pl

from screener.climate.carried import stations
from screener.climate.nearest import EARTH_RADIUS_KM

FARTHEST_KM = 500.0  # as `screener.climate.places` has it: no station further away stands for anything
LEAST_KM = 1.0


def table(postal: pl.DataFrame) -> pl.DataFrame:
    """`state, station, climate_zone, areas, median_km, far_km, other_zone_share` of the states with a station near enough.

    `postal`: state, latitude, longitude, climate_zone, a row per postal area.
    """
    rows = []
    for (state,), areas in postal.drop_nulls("state").group_by("state", maintain_order=True):
        zones = areas["climate_zone"].drop_nulls().value_counts(sort=True)
        zone = (
            zones.sort("count", "climate_zone", descending=[True, False])["climate_zone"][0] if zones.height else None
        )
        candidates = stations().filter(pl.col("climate_zone") == zone) if zone else stations()
        away = _distances(areas, candidates)
        best = int(away.mean(axis=0).argmin())
        km = away[:, best]
        if np.median(km) > FARTHEST_KM:
            continue
        other = areas.filter(pl.col("climate_zone").is_not_null() & (pl.col("climate_zone") != zone)).height
        station = candidates.row(best, named=True)
        spread = [max(round(float(np.quantile(km, share))), LEAST_KM) for share in (0.5, 0.9)]
        rows.append((state, station["station"], zone, areas.height, *spread, round(other / areas.height, 2)))
    names = ["state", "station", "climate_zone", "areas", "median_km", "far_km", "other_zone_share"]
    return pl.DataFrame(rows, schema=names, orient="row").sort("state")


def _distances(areas: pl.DataFrame, candidates: pl.DataFrame) -> np.ndarray:
    """Great circles [km] from each area to each station."""
    one, two = (_on_sphere(frame) for frame in (areas, candidates))
    return np.asarray(EARTH_RADIUS_KM * np.arccos(np.clip(one @ two.T, -1, 1)))


def _on_sphere(frame: pl.DataFrame) -> np.ndarray:
    up, east = (np.radians(frame[name].to_numpy()) for name in ("latitude", "longitude"))
    return np.column_stack([np.cos(up) * np.cos(east), np.cos(up) * np.sin(east), np.sin(up)])


def read(file: Path) -> pl.DataFrame:
    """The postal areas of the open list; zones spelt as the package has them, none where the regime is lacking."""
    areas = pl.read_csv(file, infer_schema=False)
    zone = pl.col("climate_zone").str.replace("^([78])[ABC]$", "${1}")
    whole = zone.str.contains("^([0-6][ABC]|[78])$")
    return areas.select(
        "state", pl.col("latitude", "longitude").cast(pl.Float64), pl.when(whole).then(zone).alias("climate_zone")
    )


if __name__ == "__main__":
    if len(sys.argv) != 3:
        sys.exit(__doc__)
    table(read(Path(sys.argv[1]))).write_csv(sys.argv[2])
