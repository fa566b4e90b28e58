"""A year of weighted hours rebuilt from monthly statistics.

K days a month stand for the month. At each hour of the day the K points of the month are one well-spread set in the unit
square, one coordinate for dry-bulb and one for humidity, turned into a pair of normal scores with the correlation of that
hour (a Gaussian copula), then into departures from the hourly mean through the station's own distribution. Humidity is
clipped at saturation, and the hourly means restored.

Each hour stands alone in this model, so nothing ties the hours of a day together; the sets of different hours interlock
(their points fall between each other's), which makes 24 K points a month do the work of many more days. Every day of the week
holds a pair of opposite points (u and 1 - u) at every hour, and the pairs change weekday from hour to hour, so a working day
and a Sunday see the same weather.
"""

from collections.abc import Sequence
from itertools import pairwise
from statistics import NormalDist

import polars as pl

from screener.climate.carried import BY_NAME, DAYS_IN_MONTH, LEAST_SPREAD, NODES, WAVES, statistics, unpack, wave
from screener.exact import added_up
from screener.formula import of_columns
from screener.physics import psychrometrics as air

DAYS = 14  # two of each day of the week; more days do not bring the year nearer to its 8760 hours, see data/README.md
MULTIPLIER = {14: 5, 28: 13, 56: 23}  # of the lattice, by days a month; found by trial
_TURN, _STRIDES = 3, (7, 11)  # weekday shift per hour; order of the 24 offsets inside a cell, coprime to 24
_MOST_CORRELATED = 0.98
LEAST_SUN, MOST_SUN = 0.05, 2.0  # of the hourly mean: overcast, and clear in a cloudy month (practice)
_DRIEST = 2e-5  # [kg/kg]


def lattice(days: int = DAYS) -> pl.DataFrame:
    """Normal scores `z_dry_bulb`, `z_humidity` by `hour` and `day` (0-based; weekday = day % 7, Monday 0).

    `days` is a multiple of 14. Half the points are a rank-1 lattice with one point in each row and column of cells, moved
    inside its cells by an offset proper to the hour; the other half are their opposites. Odd hours are mirrored.
    """
    half, a, inverse = days // 2, MULTIPLIER[days], NormalDist().inv_cdf
    rows = []
    for hour in range(24):
        across, up = (((hour * stride) % 24 + 0.5) / 24 for stride in _STRIDES)
        for i in range(half):
            u = (i + across) / days
            v = (((2 * i + 1) * a % (2 * days) - 1) / 2 + up) / days
            v = 1 - v if hour % 2 else v
            day = (i + _TURN * hour) % half
            rows.append((hour, day, inverse(u), inverse(v)))
            rows.append((hour, day + half, inverse(1 - u), inverse(1 - v)))
    return pl.DataFrame(rows, schema=["hour", "day", "z_dry_bulb", "z_humidity"], orient="row").with_columns(
        pl.col("hour", "day").cast(pl.Int8)
    )


def _by_hour(monthly: pl.DataFrame) -> pl.DataFrame:
    """Monthly rows to one row per station, month and hour: means, spreads, correlation, and the distribution's nodes."""

    def over_day(name: str) -> list[pl.Expr]:
        return [added_up(pl.col(f"{name}_{k}") * wave(hour, k) for k in range(WAVES)) for hour in range(24)]

    def spread(name: str, scale: float) -> pl.Expr:
        floor = LEAST_SPREAD * pl.col(f"{name}_0")
        return pl.concat_list(pl.max_horizontal(value, floor) * scale for value in over_day(name))

    nodes = [*BY_NAME["dry_bulb_node"].columns, *BY_NAME["humidity_node"].columns]
    hourly = {
        "hour": pl.lit(list(range(24)), dtype=pl.List(pl.Int8)),
        "mean_c": pl.concat_list(BY_NAME["dry_bulb"].columns),
        "mean_w": pl.concat_list(pl.col(c) / 1000 for c in BY_NAME["humidity"].columns),
        "irradiance_w_m2": pl.concat_list(pl.col(BY_NAME["irradiance"].columns)).list.eval(pl.element().clip(0)),
        "spread_c": spread("dry_bulb_spread", 1.0),
        "spread_w": spread("humidity_spread", 1e-3),
        "rho": pl.concat_list(v.clip(-_MOST_CORRELATED, _MOST_CORRELATED) for v in over_day("correlation")),
    }
    return monthly.select(
        "station",
        "month",
        (pl.col("pressure_0") * 100).alias("pressure_pa"),
        "sun_dry_bulb_0",
        "sun_humidity_0",
        *nodes,
        **hourly,
    ).explode(*hourly)


def _departure(score: pl.Expr, name: str) -> pl.Expr:
    """Departure at a normal score: straight lines between the nodes, flat beyond them."""
    total = pl.col(f"{name}_0")
    for k, (low, high) in enumerate(pairwise(NODES)):
        rise = pl.col(f"{name}_{k + 1}") - pl.col(f"{name}_{k}")
        total = total + rise * ((score.clip(low, high) - low) / (high - low))
    return total


def _sun(day: int) -> pl.Expr:
    """Irradiance of one of the days over its hourly mean: warm and dry is sunny, cool and damp is not."""
    warmer, damper = pl.col(f"c_{day}") - pl.col("mean_c"), pl.col(f"w_{day}") - pl.col("mean_w")
    share = 1 + pl.col("sun_dry_bulb_0") * warmer + pl.col("sun_humidity_0") * 1000 * damper
    return share.clip(LEAST_SUN, MOST_SUN)


def rebuild(stations: Sequence[str], days: int = DAYS, monthly: pl.DataFrame | None = None) -> pl.DataFrame:
    """Weighted hours of the stations' statistical years: 12 x 24 x `days` rows each, sorted by station, month, hour.

    Columns `station`, `month`, `hour` (0-23, beginning), `day_of_week` (0 Monday), `weight_h` (sums to 8760), `outdoor_c`,
    `outdoor_humidity_ratio`, `pressure_pa`, `irradiance_w_m2`. `monthly`: statistics in place of the carried ones.
    """
    source = unpack(statistics().filter(pl.col("station").is_in(list(stations)))) if monthly is None else monthly
    scores = lattice(days).pivot(on="day", index="hour", values=["z_dry_bulb", "z_humidity"])
    table = _by_hour(source).join(scores, on="hour")
    each = range(days)

    table = table.with_columns(
        *[_departure(pl.col(f"z_dry_bulb_{d}"), "dry_bulb_node").alias(f"c_{d}") for d in each],
        *[
            _departure(
                pl.col("rho") * pl.col(f"z_dry_bulb_{d}") + (1 - pl.col("rho") ** 2).sqrt() * pl.col(f"z_humidity_{d}"),
                "humidity_node",
            ).alias(f"w_{d}")
            for d in each
        ],
    )
    mean_c = added_up(pl.col(f"c_{d}") for d in each) / days
    table = table.with_columns(
        *[(pl.col("mean_c") + pl.col("spread_c") * (pl.col(f"c_{d}") - mean_c)).alias(f"c_{d}") for d in each],
        *[(pl.col("mean_w") + pl.col("spread_w") * pl.col(f"w_{d}")).alias(f"w_{d}") for d in each],
    ).with_columns(
        of_columns(air.humidity_ratio_from_dew_point, f"c_{d}", "pressure_pa").alias(f"saturated_{d}") for d in each
    )
    for _ in range(3):  # clipping lowers the mean, restoring it saturates a few more hours: three rounds settle it
        mean_w = added_up(pl.col(f"w_{d}") for d in each) / days
        table = table.with_columns(
            pl.min_horizontal((pl.col(f"w_{d}") * pl.col("mean_w") / mean_w).clip(_DRIEST), f"saturated_{d}").alias(
                f"w_{d}"
            )
            for d in each
        )
    table = table.with_columns(_sun(d).alias(f"g_{d}") for d in each)
    mean_g = added_up(pl.col(f"g_{d}") for d in each) / days
    table = table.with_columns((pl.col("irradiance_w_m2") * pl.col(f"g_{d}") / mean_g).alias(f"g_{d}") for d in each)
    in_month = pl.col("month").replace_strict(dict(enumerate(DAYS_IN_MONTH, 1)), return_dtype=pl.Float64)
    return (
        table.select(
            "station",
            "month",
            "hour",
            pl.lit([d % 7 for d in each], dtype=pl.Array(pl.Int8, days)).alias("day_of_week"),
            (in_month / days).alias("weight_h"),
            pl.concat_arr(f"c_{d}" for d in each).alias("outdoor_c"),  # twenty times faster than lists
            pl.concat_arr(f"w_{d}" for d in each).alias("outdoor_humidity_ratio"),
            "pressure_pa",
            pl.concat_arr(f"g_{d}" for d in each).alias("irradiance_w_m2"),
        )
        .sort("station", "month", "hour")
        .explode("day_of_week", "outdoor_c", "outdoor_humidity_ratio", "irradiance_w_m2")
    )
