"""Derive the carried climate data from hourly typical years: `python -m tests.derive.station_data HOURLY STATIONS POSTAL OUT`.

HOURLY is Parquet (`station, month, day, hour_ending, dry_bulb_c, dew_point_c, pressure_mbar, ghi_w_m2`), STATIONS and POSTAL are
CSV. OUT receives `hours.parquet`, `stations.parquet`, `postal_areas.parquet`. The hour ending at h becomes hour h - 1.
"""

import sys
from pathlib import Path

import polars as pl

from screener.climate.carried import HOURS, STATIONS_TOGETHER, STEPS, packed
from screener.climate.figures import design_conditions
from screener.climate.nearest import great_circle_km
from screener.formula import of_columns
from screener.physics import psychrometrics as air
from tests.derive.cleaning import repaired


def packed_hours(good: pl.DataFrame) -> pl.DataFrame:
    """Cleaned hours as the package keeps them: `station` a number, and the STEPS of each quantity."""
    values = {"dry_bulb": "dry_bulb_c", "dew_point": "dew_point_c", "irradiance": "ghi_w_m2"}
    whole = {name: pl.col(column).cast(pl.Float64) / STEPS[name] for name, column in values.items()}
    whole["pressure"] = pl.col("pressure_mbar").cast(pl.Float64)
    return good.sort("station", "month", "day", "hour_ending").select(
        pl.col("station").cast(pl.Int32),
        *(packed(value.round().cast(pl.Int32)).over("station").alias(name) for name, value in whole.items()),
    )


def write_hours(frame: pl.DataFrame, path: Path) -> None:
    """Write the hours as the smallest Parquet: bytes split by significance, zstd at its hardest, few stations together."""
    import pyarrow.parquet as pq

    split = dict.fromkeys(STEPS, "BYTE_STREAM_SPLIT")
    pq.write_table(
        frame.to_arrow(),
        path,
        row_group_size=HOURS * STATIONS_TOGETHER,
        compression="zstd",
        compression_level=22,
        use_dictionary=False,
        column_encoding=split | {"station": "DELTA_BINARY_PACKED"},
        write_statistics=["station"],
        store_schema=False,
    )


def write_packed(frame: pl.DataFrame, path: Path) -> None:
    """Write a small table as the smallest Parquet: bytes split by significance, zstd at its hardest."""
    import pyarrow.parquet as pq

    split = [c for c, t in frame.schema.items() if t in (pl.Int16, pl.Int32)]
    pq.write_table(
        frame.to_arrow(),
        path,
        compression="zstd",
        compression_level=19,
        use_dictionary=[c for c in frame.columns if c not in split],
        column_encoding=dict.fromkeys(split, "BYTE_STREAM_SPLIT"),
        write_statistics=False,
        store_schema=False,
    )


def as_hours(good: pl.DataFrame) -> pl.DataFrame:
    """Cleaned hours with the names and units of weather hours; `hour` 0-23 is the hour's beginning."""
    pressure = pl.col("pressure_mbar").cast(pl.Float64) * 100
    return good.select(
        "station",
        "month",
        (pl.col("hour_ending") - 1).alias("hour"),
        pl.col("dry_bulb_c").cast(pl.Float64).alias("outdoor_c"),
        of_columns(air.humidity_ratio_from_dew_point, pl.col("dew_point_c").cast(pl.Float64), pressure).alias(
            "outdoor_humidity_ratio"
        ),
        pressure.alias("pressure_pa"),
        pl.col("ghi_w_m2").cast(pl.Float64).alias("irradiance_w_m2"),
    )


def station_table(hours: pl.DataFrame, listed: pl.DataFrame, postal: pl.DataFrame) -> pl.DataFrame:
    """Stations with tidied climate zones, mean pressure and design conditions.

    A station listed without a zone takes that of the nearest postal area which has one.
    """
    design = design_conditions(hours.rename({"station": "weather_id"})).rename({"weather_id": "station"})
    place = listed.select(
        "station",
        pl.col("name").str.strip_chars(),
        "state",
        pl.col("tz", "latitude", "longitude", "elevation_m").cast(pl.Float64),
        _tidy_zone(pl.col("climate_zone")),
    )
    areas = postal.drop_nulls("climate_zone").select(
        to_latitude=pl.col("latitude") / 1000, to_longitude=pl.col("longitude") / 1000, near_zone="climate_zone"
    )
    near = (
        place.filter(pl.col("climate_zone").is_null())
        .join(areas, how="cross")
        .sort("station", great_circle_km())
        .group_by("station", maintain_order=True)
        .agg(pl.col("near_zone").first())
    )
    zoned = place.join(near, on="station", how="left").with_columns(pl.coalesce("climate_zone", "near_zone"))
    return zoned.drop("near_zone").join(design, on="station").sort("station")


def _tidy_zone(zone: pl.Expr) -> pl.Expr:
    """Zones 7 and 8 have no moisture regime (7A is 7); the others are unknown without one."""
    bare = zone.str.strip_chars().str.to_uppercase()
    return pl.when(bare.str.contains("^[78]")).then(bare.str.head(1)).when(bare.str.contains("^[0-6][ABC]$")).then(bare)


def postal_table(listed: pl.DataFrame) -> pl.DataFrame:
    """Postal areas in small integers: the code as a number, thousandths of a degree, the zone as a category."""
    return listed.select(
        pl.col("postal_code").cast(pl.Int32),
        (pl.col("latitude", "longitude").cast(pl.Float64) * 1000).round().cast(pl.Int32),
        _tidy_zone(pl.col("climate_zone")),
    ).sort("postal_code")


def main(arguments: list[str]) -> int:
    """Command line of this module."""
    if len(arguments) != 4:
        print(__doc__, file=sys.stderr)
        return 2
    hourly, stations, postal, out = (Path(a) for a in arguments)
    out.mkdir(parents=True, exist_ok=True)
    good, counts = repaired(pl.read_parquet(hourly))
    hours, areas = as_hours(good), postal_table(pl.read_csv(postal, infer_schema=False))
    write_hours(packed_hours(good), out / "hours.parquet")
    write_packed(station_table(hours, pl.read_csv(stations, infer_schema=False), areas), out / "stations.parquet")
    write_packed(areas, out / "postal_areas.parquet")
    for what, number in counts.items():
        print(f"{what.replace('_', ' ')}: {number}")
    for path in sorted(out.glob("*.parquet")):
        print(f"{path.name}: {path.stat().st_size} bytes")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
