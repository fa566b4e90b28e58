"""The climate data the package carries: layout, packing to small integers, and reading.

One row of the statistics per station and month (local standard time, hour 0 begins at midnight):

- `dry_bulb_00..23` [degC], `humidity_00..23` [g/kg], `irradiance_00..23` [W/m2]: mean of each hour of the day;
- `dry_bulb_spread_0..4` [K], `humidity_spread_0..4` [g/kg], `correlation_0..4`: how the standard deviation of dry-bulb and
  of humidity ratio about those means, and the correlation of their normal scores, vary over the day: constant, cosine and
  sine of once a day, cosine and sine of twice a day;
- `dry_bulb_node_0..8`, `humidity_node_0..8`: departures from the hourly mean, in standard deviations of the hour, at the
  nine normal scores `NODES`, to be joined by straight lines;
- `pressure` [hPa]: mean;
- `sun_dry_bulb` [1/K], `sun_humidity` [1/(g/kg)]: how irradiance, over its hourly mean, goes with the departures of dry-bulb
  and humidity: warm dry days are sunny, cool damp ones are not, and they are the days that need reheat.

Every value is a whole number of `STEPS`; the hours after the first are kept as differences from the hour before.
"""

import math
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import polars as pl

DATA = Path(__file__).parent / "data"
NODES = (-2.6, -1.9, -1.2, -0.6, 0.0, 0.6, 1.2, 1.9, 2.6)  # normal scores; chosen by trial, see data/README.md
HARMONICS = 2
WAVES = 1 + 2 * HARMONICS
LEAST_SPREAD = 0.25  # floor on a fitted spread, of the day's mean spread
DAYS_IN_MONTH = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)


@dataclass(frozen=True)
class Quantity:
    """One group of columns: `name_00 ...`; `step` is the size of one integer unit; `chained` keeps differences."""

    name: str
    count: int
    step: float
    chained: bool = False

    @property
    def columns(self) -> list[str]:
        """Column names in order."""
        return [f"{self.name}_{i:02d}" if self.chained else f"{self.name}_{i}" for i in range(self.count)]


QUANTITIES = (
    Quantity("dry_bulb", 24, 0.1, chained=True),
    Quantity("humidity", 24, 0.01, chained=True),
    Quantity("irradiance", 24, 2.0, chained=True),
    Quantity("dry_bulb_spread", WAVES, 0.02),
    Quantity("humidity_spread", WAVES, 0.005),
    Quantity("correlation", WAVES, 0.01),
    Quantity("dry_bulb_node", len(NODES), 0.01),
    Quantity("humidity_node", len(NODES), 0.01),
    Quantity("pressure", 1, 0.5),
    Quantity("sun_dry_bulb", 1, 0.001),
    Quantity("sun_humidity", 1, 0.002),
)
BY_NAME = {q.name: q for q in QUANTITIES}


def wave(hour: int, index: int) -> float:
    """Value at an hour of the day of the daily wave `index`: 1, cos, sin, cos of twice, sin of twice."""
    angle = 2 * math.pi * hour / 24 * ((index + 1) // 2)
    return math.cos(angle) if index % 2 or index == 0 else math.sin(angle)


def pack(statistics: pl.DataFrame) -> pl.DataFrame:
    """Physical units to integers; keys `station`, `month` stay."""
    packed: list[pl.Expr] = []
    for q in QUANTITIES:
        whole = [(pl.col(c) / q.step).round().cast(pl.Int16) for c in q.columns]
        packed += [
            (value - whole[i - 1] if q.chained and i else value).alias(c)
            for i, (c, value) in enumerate(zip(q.columns, whole, strict=True))
        ]
    return statistics.select("station", pl.col("month").cast(pl.Int8), *packed).sort("station", "month")


def unpack(packed: pl.DataFrame) -> pl.DataFrame:
    """Integers back to physical units (the inverse of `pack` up to half a step)."""
    columns: list[pl.Expr] = []
    for q in QUANTITIES:
        total = pl.lit(0, dtype=pl.Int32)
        for c in q.columns:
            total = total + pl.col(c).cast(pl.Int32) if q.chained else pl.col(c).cast(pl.Int32)
            columns.append((total * q.step).alias(c))
    return packed.select("station", "month", *columns)


def write_packed(frame: pl.DataFrame, path: Path) -> None:
    """Write a table of small integers as the smallest Parquet: bytes split by significance, zstd at its hardest."""
    import pyarrow.parquet as pq

    table = frame.to_arrow()
    split = [c for c, t in frame.schema.items() if t in (pl.Int16, pl.Int32)]
    pq.write_table(
        table,
        path,
        compression="zstd",
        compression_level=19,
        use_dictionary=[c for c in frame.columns if c not in split],
        column_encoding=dict.fromkeys(split, "BYTE_STREAM_SPLIT"),
        write_statistics=False,
        store_schema=False,
    )


@lru_cache(maxsize=1)
def statistics() -> pl.DataFrame:
    """The monthly statistics of every station, as packed."""
    return pl.read_parquet(DATA / "statistics.parquet")


@lru_cache(maxsize=1)
def stations() -> pl.DataFrame:
    """One row per station: place, climate zone, mean pressure and design conditions."""
    return pl.read_parquet(DATA / "stations.parquet")


@lru_cache(maxsize=1)
def postal_areas() -> pl.DataFrame:
    """One row per postal area: `postal_code` (five digits, text), `latitude`, `longitude`, `climate_zone` (null if unknown)."""
    packed = pl.read_parquet(DATA / "postal_areas.parquet")
    return packed.select(
        pl.col("postal_code").cast(pl.String).str.zfill(5),
        (pl.col("latitude") / 1000).alias("latitude"),
        (pl.col("longitude") / 1000).alias("longitude"),
        pl.col("climate_zone").cast(pl.String),
    )
