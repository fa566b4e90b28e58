"""The nearest station by great circle, for many places at once."""

import polars as pl

from screener.climate.carried import stations
from screener.exact import in_order

EARTH_RADIUS_KM = 6371.0
_AT_ONCE = 2_000  # places; times a thousand stations some 100 MB


def great_circle_km() -> pl.Expr:
    """Distance [km] from `latitude, longitude` to `to_latitude, to_longitude` on a sphere: the haversine formula."""
    here, there = pl.col("latitude").radians(), pl.col("to_latitude").radians()
    across = ((pl.col("to_longitude") - pl.col("longitude")).radians() / 2).sin()
    half = ((there - here) / 2).sin() ** 2 + here.cos() * there.cos() * across**2
    return 2 * EARTH_RADIUS_KM * half.sqrt().arcsin()


def nearest(places: pl.DataFrame) -> pl.DataFrame:
    """The distinct `latitude, longitude` [degrees] of `places` with `nearest` (station), `distance` [km] and
    `nearest_elevation_m`.

    The station is the one with the shortest chord through the sphere, a few products instead of a few sines a pair.
    """
    wanted = places.select("latitude", "longitude").drop_nulls().unique(maintain_order=True)
    if wanted.is_empty():
        return wanted.join(_listed(), how="cross").with_columns(distance=great_circle_km()).drop("^to_.*$")
    found = [part.with_columns(which=_which(part)) for part in wanted.iter_slices(_AT_ONCE)]
    return (
        pl.concat(found)
        .join(_listed().with_row_index("which"), on="which", how="left", maintain_order="left")
        .select("latitude", "longitude", "nearest", great_circle_km().alias("distance"), "nearest_elevation_m")
    )


def _listed() -> pl.DataFrame:
    return stations().select(
        nearest="station", to_latitude="latitude", to_longitude="longitude", nearest_elevation_m="elevation_m"
    )


def _which(places: pl.DataFrame) -> pl.Series:
    """The row in `_listed` of the station with the shortest chord to each place."""
    here = places.lazy().select(_on_unit_sphere("latitude", "longitude"))
    there = _listed().select(_on_unit_sphere("to_latitude", "to_longitude")).rename(lambda name: f"to_{name}")
    squares = in_order((pl.col(axis) - pl.col(f"to_{axis}")) ** 2 for axis in "xyz")
    chords = here.join(there.lazy(), how="cross", maintain_order="left_right").select(squares).collect()
    return chords.to_series().reshape((places.height, there.height)).arr.arg_min()


def _on_unit_sphere(latitude: str, longitude: str) -> list[pl.Expr]:
    up, east = pl.col(latitude).radians(), pl.col(longitude).radians()
    return [(up.cos() * east.cos()).alias("x"), (up.cos() * east.sin()).alias("y"), up.sin().alias("z")]
