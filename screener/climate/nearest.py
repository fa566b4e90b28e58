"""The nearest station by great circle, for many places at once."""

from functools import cache

import polars as pl

from screener.climate.carried import stations

EARTH_RADIUS_KM = 6371.0
_AT_ONCE = 20_000  # places; times a thousand stations this is 160 MB


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
    listed = _listed()
    found = [
        part.with_columns(_on_unit_sphere("latitude", "longitude")).select(
            "latitude", "longitude", which=_chords().arr.arg_min()
        )
        for part in wanted.iter_slices(_AT_ONCE)
    ]
    if not found:
        return wanted.join(listed, how="cross").with_columns(distance=great_circle_km()).drop("^to_.*$")
    return (
        pl.concat(found)
        .join(listed.with_row_index("which"), on="which", how="left", maintain_order="left")
        .select("latitude", "longitude", "nearest", great_circle_km().alias("distance"), "nearest_elevation_m")
    )


def _listed() -> pl.DataFrame:
    return stations().select(
        nearest="station", to_latitude="latitude", to_longitude="longitude", nearest_elevation_m="elevation_m"
    )


@cache
def _chords() -> pl.Expr:
    """Squares of the chords from a place at `x, y, z` to every station; a thousand expressions, written out once."""
    return pl.concat_arr(
        (pl.col("x") - x) ** 2 + (pl.col("y") - y) ** 2 + (pl.col("z") - z) ** 2
        for x, y, z in _listed().select(*_on_unit_sphere("to_latitude", "to_longitude")).rows()
    )


def _on_unit_sphere(latitude: str, longitude: str) -> list[pl.Expr]:
    up, east = pl.col(latitude).radians(), pl.col(longitude).radians()
    return [(up.cos() * east.cos()).alias("x"), (up.cos() * east.sin()).alias("y"), up.sin().alias("z")]
