"""The climate data the package carries: the hours of its stations, their design conditions, and postal areas.

Of every station the 8,760 hours of its typical year, in the order of the calendar (local standard time, hour 0 begins at
midnight on 1 January, no leap day), as whole numbers: dry-bulb and dew point in tenths of a kelvin, irradiance in steps of
5 W/m2, pressure in hectopascals. A number is kept as its difference from the hour before (of a station's first hour from
nothing), and a difference d as 2 d or -2 d - 1, so that small ones are small whatever their sign: split into bytes by
significance and compressed, all stations take some 15 MB.
"""

from functools import cache, lru_cache
from pathlib import Path

import polars as pl

from screener.formula import of_columns
from screener.physics import psychrometrics as air

DATA = Path(__file__).parent / "data"
HOURS_FILE = DATA / "hours.parquet"
DAYS_IN_MONTH = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
STEPS = {"dry_bulb": 0.1, "dew_point": 0.1, "irradiance": 5.0, "pressure": 100.0}  # K, K, W/m2, Pa
HOURS = 8760
STATIONS_TOGETHER = 8  # in a row group, the least that is read


def packed(values: pl.Expr) -> pl.Expr:
    """Whole numbers of a station, in the order of its hours, as the package keeps them. To be taken over stations."""
    d = values - values.shift(fill_value=0)
    return pl.when(d >= 0).then(2 * d).otherwise(-2 * d - 1).cast(pl.Int16)


def unpacked(kept: pl.Expr) -> pl.Expr:
    """The inverse of `packed`."""
    kept = kept.cast(pl.Int32)
    return pl.when(kept % 2 == 0).then(kept // 2).otherwise(-(kept + 1) // 2).cum_sum()


def hours(numbers: list[str]) -> pl.DataFrame:
    """The hours of stations, by the columns of `hourly_files.SCHEMA`, sorted by station and time.

    The year begins on a Monday, as a year without a date may.
    """
    wanted = pl.col("station").is_in([int(number) for number in numbers])
    kept = pl.scan_parquet(HOURS_FILE, glob=False).filter(wanted).collect()
    found = kept.select(
        pl.col("station").cast(pl.String).str.zfill(6),
        *((unpacked(pl.col(name)).over("station") * step).alias(name) for name, step in STEPS.items()),
    )
    calendar = _calendar()
    repeated = pl.concat([calendar] * (found.height // HOURS)) if found.height else calendar.clear()
    return pl.concat([found, repeated], how="horizontal").select(
        pl.col("station").alias("weather_id"),
        "month",
        "hour",
        "day_of_week",
        pl.lit(1.0).alias("weight_h"),
        pl.col("dry_bulb").alias("outdoor_c"),
        of_columns(air.humidity_ratio_from_dew_point, "dew_point", "pressure").alias("outdoor_humidity_ratio"),
        pl.col("pressure").alias("pressure_pa"),
        pl.col("irradiance").alias("irradiance_w_m2"),
        pl.lit(False).alias("dated"),
    )


@cache
def _calendar() -> pl.DataFrame:
    """The hours of a year without a date: month 1-12, hour 0-23, day_of_week 0-6 (0 Monday)."""
    months = [month for month, days in enumerate(DAYS_IN_MONTH, 1) for _ in range(24 * days)]
    hour = pl.int_range(pl.len())
    return pl.DataFrame({"month": months}).select(
        pl.col("month").cast(pl.Int8),
        (hour % 24).cast(pl.Int8).alias("hour"),
        (hour // 24 % 7).cast(pl.Int8).alias("day_of_week"),
    )


@lru_cache(maxsize=1)
def stations() -> pl.DataFrame:
    """One row per station: place, climate zone, mean pressure and design conditions."""
    return pl.read_parquet(DATA / "stations.parquet", glob=False)


@lru_cache(maxsize=1)
def states() -> pl.DataFrame:
    """The station that stands for a whole state, and how its postal areas lie about it: `state`, `station`, `climate_zone`,
    `areas`, `median_km`, `far_km` (exceeded by a tenth of them), `other_zone_share`."""
    return pl.read_csv(
        DATA / "states.csv", glob=False, schema_overrides={"station": pl.String, "climate_zone": pl.String}
    )


@lru_cache(maxsize=1)
def postal_areas() -> pl.DataFrame:
    """One row per postal area: `postal_code` (five digits, text), `latitude`, `longitude`, `climate_zone` (null if unknown)."""
    areas = pl.read_parquet(DATA / "postal_areas.parquet", glob=False)
    return areas.select(
        pl.col("postal_code").cast(pl.String).str.zfill(5),
        (pl.col("latitude") / 1000).alias("latitude"),
        (pl.col("longitude") / 1000).alias("longitude"),
        pl.col("climate_zone").cast(pl.String),
    )
