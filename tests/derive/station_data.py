"""Derive the carried climate data from hourly typical years: `python -m tests.derive.station_data HOURLY STATIONS POSTAL OUT`.

HOURLY is Parquet (`station, month, day, hour_ending, dry_bulb_c, dew_point_c, pressure_mbar, ghi_w_m2`), STATIONS and POSTAL are
CSV. OUT receives `statistics.parquet`, `stations.parquet`, `postal_areas.parquet`. The hour ending at h becomes hour h - 1.
"""

import sys
from functools import lru_cache
from pathlib import Path
from statistics import NormalDist

import polars as pl

from screener.climate.carried import BY_NAME, LEAST_SPREAD, NODES, WAVES, pack, wave, write_packed
from screener.climate.figures import design_conditions
from screener.climate.nearest import great_circle_km
from screener.formula import of_columns
from screener.physics import psychrometrics as air
from tests.derive.cleaning import clean

KEYS = ["station", "month"]
BY_HOUR = [*KEYS, "hour"]
STEEPEST_SUN = 2.0  # [1/K], [1/(g/kg)]: beyond it a month is dark or its air hardly changes


def as_hours(good: pl.DataFrame) -> pl.DataFrame:
    """Cleaned hours with the names and units of weather hours; `hour` 0-23 is the hour's beginning."""
    pressure = pl.col("pressure_mbar").cast(pl.Float64) * 100
    return good.select(
        *KEYS,
        (pl.col("hour_ending") - 1).alias("hour"),
        pl.col("dry_bulb_c").cast(pl.Float64).alias("outdoor_c"),
        of_columns(air.humidity_ratio_from_dew_point, pl.col("dew_point_c").cast(pl.Float64), pressure).alias(
            "outdoor_humidity_ratio"
        ),
        pressure.alias("pressure_pa"),
        pl.col("ghi_w_m2").cast(pl.Float64).alias("irradiance_w_m2"),
    )


def _hats(score: float) -> list[float]:
    """Weights of the nodes in the broken line at a normal score; flat beyond the outer nodes."""
    weights = [0.0] * len(NODES)
    x = min(max(score, NODES[0]), NODES[-1])
    k = max(i for i in range(len(NODES) - 1) if x >= NODES[i])
    weights[k + 1] = (x - NODES[k]) / (NODES[k + 1] - NODES[k])
    weights[k] = 1 - weights[k + 1]
    return weights


def _solve(matrix: list[list[float]], right: list[list[float]]) -> list[list[float]]:
    """Gaussian elimination without pivoting, for the small positive definite system of the nodes."""
    n = len(matrix)
    rows = [matrix[i] + right[i] for i in range(n)]
    for i in range(n):
        rows[i] = [v / rows[i][i] for v in rows[i]]
        for j in range(n):
            if j != i:
                rows[j] = [a - rows[j][i] * b for a, b in zip(rows[j], rows[i], strict=True)]
    return [row[n:] for row in rows]


@lru_cache(maxsize=64)
def node_weights(count: int) -> pl.DataFrame:
    """Least squares as a table: `count`, `rank` (1-based), `score`, and `a_0..` so that node k = sum of a_k * sorted value.

    A broken line fitted to all the sorted departures keeps the mean of each stretch, which a line through quantiles does
    not: the error of the annual moisture load was halved by it.
    """
    scores = [NormalDist().inv_cdf((i + 0.5) / count) for i in range(count)]
    hats = [_hats(s) for s in scores]
    size = range(len(NODES))
    gram = [[sum(h[j] * h[k] for h in hats) for k in size] for j in size]
    solved = _solve(gram, [[h[j] for h in hats] for j in size])
    return pl.DataFrame(
        {"count": [count] * count, "rank": list(range(1, count + 1)), "score": scores}
        | {f"a_{k}": solved[k] for k in size}
    ).with_columns(pl.col("count", "rank").cast(pl.UInt32))


def _waves() -> pl.DataFrame:
    """The daily waves by hour: `hour`, `wave_0..`."""
    return pl.DataFrame(
        {"hour": list(range(24))} | {f"wave_{k}": [wave(h, k) for h in range(24)] for k in range(WAVES)}
    ).with_columns(pl.col("hour").cast(pl.Int8))


def _project(column: str, name: str) -> list[pl.Expr]:
    """Constant, cosines and sines of 24 hourly values, in aggregation over the hours of a day."""
    return [
        ((pl.col(column) * pl.col(f"wave_{k}")).sum() * ((2 if k else 1) / 24)).alias(f"{name}_{k}")
        for k in range(WAVES)
    ]


def _fitted_spread(name: str) -> pl.Expr:
    """Standard deviation of the hour from its daily wave, floored as the rebuilding floors it."""
    value = pl.sum_horizontal(pl.col(f"{name}_{k}") * pl.col(f"wave_{k}") for k in range(WAVES))
    return pl.max_horizontal(value, LEAST_SPREAD * pl.col(f"{name}_0"), pl.lit(1e-6))


def _nodes(departures: pl.DataFrame, column: str) -> pl.DataFrame:
    """Nodes of a variable's distribution by station and month, and never falling from one to the next."""
    size = range(len(NODES))
    ranked = departures.select(*KEYS, column, rank=pl.col(f"{column}_rank"), count="count")
    weights = pl.concat([node_weights(n) for n in ranked["count"].unique().sort()])
    fitted = (
        ranked.join(weights, on=["count", "rank"])
        .group_by(KEYS)
        .agg((pl.col(column) * pl.col(f"a_{k}")).sum().alias(f"{column}_node_{k}") for k in size)
    )
    return fitted.with_columns(
        pl.max_horizontal(f"{column}_node_{j}" for j in range(k + 1)).alias(f"{column}_node_{k}") for k in size
    )


def monthly_statistics(hours: pl.DataFrame) -> pl.DataFrame:
    """Statistics of `carried.py`, in physical units, one row per station and month."""
    table = hours.select(
        *BY_HOUR,
        "pressure_pa",
        "irradiance_w_m2",
        dry_bulb="outdoor_c",
        humidity=pl.col("outdoor_humidity_ratio") * 1000,
    )
    means = _hourly_means(table)
    spreads = means.group_by(KEYS).agg(
        *_project("dry_bulb_sd", "dry_bulb_spread"), *_project("humidity_sd", "humidity_spread")
    )
    departures = _departures(table, means.join(spreads, on=KEYS))
    result = means.group_by(KEYS).agg(
        pl.col(f"{name}_mean").get(i).alias(column)
        for name in ("dry_bulb", "humidity", "irradiance")
        for i, column in enumerate(BY_NAME[name].columns)
    )
    pressure = table.group_by(KEYS).agg(pressure_0=pl.col("pressure_pa").mean() / 100)
    nodes = [_nodes(departures, name) for name in ("dry_bulb", "humidity")]
    for part in (spreads, _correlations(departures), *nodes, pressure, _sun_slopes(table, means)):
        result = result.join(part, on=KEYS)
    return result.sort(KEYS)


def _sun_slopes(table: pl.DataFrame, means: pl.DataFrame) -> pl.DataFrame:
    """Least squares of irradiance = mean (1 + a departure of dry-bulb + b departure of humidity), by station and month."""
    hourly = means.select(*BY_HOUR, "dry_bulb_mean", "humidity_mean", "irradiance_mean")
    x, y, z = (pl.col(name) for name in ("x", "y", "z"))
    departures = table.join(hourly, on=BY_HOUR, maintain_order="left").select(
        *KEYS,
        x=pl.col("irradiance_mean") * (pl.col("dry_bulb") - pl.col("dry_bulb_mean")),
        y=pl.col("irradiance_mean") * (pl.col("humidity") - pl.col("humidity_mean")),
        z=pl.col("irradiance_w_m2") - pl.col("irradiance_mean"),
    )
    sums = departures.group_by(KEYS, maintain_order=True).agg(
        xx=(x * x).sum(), xy=(x * y).sum(), yy=(y * y).sum(), xz=(x * z).sum(), yz=(y * z).sum()
    )
    determinant = pl.col("xx") * pl.col("yy") - pl.col("xy") ** 2
    known = determinant > 1e-6 * pl.col("xx") * pl.col("yy")  # not in the dark of a polar winter
    a = (pl.col("xz") * pl.col("yy") - pl.col("yz") * pl.col("xy")) / determinant
    b = (pl.col("yz") * pl.col("xx") - pl.col("xz") * pl.col("xy")) / determinant
    slopes = {"sun_dry_bulb_0": a, "sun_humidity_0": b}
    return sums.select(
        *KEYS,
        *(
            pl.when(known).then(slope.clip(-STEEPEST_SUN, STEEPEST_SUN)).otherwise(0.0).alias(n)
            for n, slope in slopes.items()
        ),
    )


def _hourly_means(table: pl.DataFrame) -> pl.DataFrame:
    """Mean and standard deviation of each hour of the day, with the daily waves beside them, in order."""
    means = table.group_by(BY_HOUR).agg(
        pl.col("dry_bulb", "humidity").std(ddof=0).name.suffix("_sd"),
        pl.col("dry_bulb", "humidity").mean().name.suffix("_mean"),
        irradiance_mean=pl.col("irradiance_w_m2").mean(),
    )
    return means.join(_waves(), on="hour").sort(BY_HOUR)


def _departures(table: pl.DataFrame, hourly: pl.DataFrame) -> pl.DataFrame:
    """Departures from the hourly means in fitted standard deviations, and their ranks among the `count` of the month."""
    fitted = hourly.with_columns(
        dry_bulb_fit=_fitted_spread("dry_bulb_spread"), humidity_fit=_fitted_spread("humidity_spread")
    )
    return (
        table.join(fitted, on=BY_HOUR)
        .select(
            *BY_HOUR,
            (pl.col("dry_bulb") - pl.col("dry_bulb_mean")) / pl.col("dry_bulb_fit"),
            (pl.col("humidity") - pl.col("humidity_mean")) / pl.col("humidity_fit"),
        )
        .sort(*BY_HOUR, "dry_bulb", "humidity")  # equal values rank in a fixed order: same input, same bytes
        .with_columns(
            pl.col("dry_bulb", "humidity").rank("ordinal").over(KEYS).name.suffix("_rank"), count=pl.len().over(KEYS)
        )
    )


def _correlations(departures: pl.DataFrame) -> pl.DataFrame:
    """Daily waves of the correlation of the normal scores of dry-bulb and humidity, by station and month."""
    weights = pl.concat([node_weights(n) for n in departures["count"].unique().sort()])
    scored = departures.select(*BY_HOUR, "count", "dry_bulb_rank", "humidity_rank")
    for name in ("dry_bulb", "humidity"):
        scores = weights.select("count", pl.col("rank").alias(f"{name}_rank"), pl.col("score").alias(f"{name}_score"))
        scored = scored.join(scores, on=["count", f"{name}_rank"])
    hourly = scored.sort(*BY_HOUR, "dry_bulb_rank").group_by(BY_HOUR, maintain_order=True)
    rho = hourly.agg(rho=pl.corr("dry_bulb_score", "humidity_score").fill_nan(0.0))
    return rho.join(_waves(), on="hour").sort(BY_HOUR).group_by(KEYS).agg(_project("rho", "correlation"))


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
    good, counts = clean(pl.read_parquet(hourly))
    hours, areas = as_hours(good), postal_table(pl.read_csv(postal, infer_schema=False))
    write_packed(pack(monthly_statistics(hours)), out / "statistics.parquet")
    write_packed(station_table(hours, pl.read_csv(stations, infer_schema=False), areas), out / "stations.parquet")
    write_packed(areas, out / "postal_areas.parquet")
    for what, number in counts.items():
        print(f"{what.replace('_', ' ')}: {number}")
    for path in sorted(out.glob("*.parquet")):
        print(f"{path.name}: {path.stat().st_size} bytes")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
