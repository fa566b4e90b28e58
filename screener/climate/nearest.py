"""The nearest station by great circle, for many places at once."""

from functools import cache

import numpy as np
import numpy.typing as npt
import polars as pl

from screener.climate.carried import stations

EARTH_RADIUS_KM = 6371.0
_AT_ONCE = 100  # places; times a thousand stations this stays in the cache


def great_circle_km() -> pl.Expr:
    """Distance [km] from `latitude, longitude` to `to_latitude, to_longitude` on a sphere: the haversine formula."""
    here, there = pl.col("latitude").radians(), pl.col("to_latitude").radians()
    across = ((pl.col("to_longitude") - pl.col("longitude")).radians() / 2).sin()
    half = ((there - here) / 2).sin() ** 2 + here.cos() * there.cos() * across**2
    return 2 * EARTH_RADIUS_KM * half.sqrt().arcsin()


def nearest(places: pl.DataFrame) -> pl.DataFrame:
    """The distinct `latitude, longitude` [degrees] of `places` with `nearest` (station), `distance` [km] and
    `nearest_elevation_m`.

    The station is the one with the largest cosine of the angle between them, three products instead of a few sines a pair.
    """
    wanted = places.select("latitude", "longitude").drop_nulls().unique(maintain_order=True)
    spots = wanted.select(_on_unit_sphere("latitude", "longitude")).to_numpy()
    found = [_nearest(spots[first : first + _AT_ONCE]) for first in range(0, len(spots), _AT_ONCE)]
    beside = _listed()[np.concatenate([np.zeros(0, np.intp), *found])]
    return pl.concat([wanted, beside], how="horizontal").select(
        "latitude", "longitude", "nearest", great_circle_km().alias("distance"), "nearest_elevation_m"
    )


def _nearest(spots: npt.NDArray[np.float64]) -> npt.NDArray[np.intp]:
    """Row of the nearest station in `_listed` to each of the `spots`, rows of x, y, z: the largest cosine between them."""
    rows: npt.NDArray[np.intp] = np.argmax(spots @ _station_spots(), axis=1)
    return rows


@cache
def _station_spots() -> npt.NDArray[np.float64]:
    """Where on the unit sphere the stations are: rows x, y, z."""
    return _listed().select(_on_unit_sphere("to_latitude", "to_longitude")).to_numpy().T.copy()


def _listed() -> pl.DataFrame:
    return stations().select(
        nearest="station", to_latitude="latitude", to_longitude="longitude", nearest_elevation_m="elevation_m"
    )


def _on_unit_sphere(latitude: str, longitude: str) -> list[pl.Expr]:
    up, east = pl.col(latitude).radians(), pl.col(longitude).radians()
    return [(up.cos() * east.cos()).alias("x"), (up.cos() * east.sin()).alias("y"), up.sin().alias("z")]
