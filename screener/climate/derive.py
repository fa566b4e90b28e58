"""Derive the carried climate data from hourly typical years: `python -m screener.climate.derive HOURLY STATIONS POSTAL OUT`.

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
from screener.physics import psychrometrics as air

OVERSATURATED_K = 0.3
HOTTEST_C, MOST_HUMID_C = 55.0, 33.0
KEYS = ["station", "month"]


def clean(hourly: pl.DataFrame) -> tuple[pl.DataFrame, dict[str, int]]:
    """Hours without the impossible ones, and how many there were of each kind.

    A dew point above dry-bulb is lowered to it (repaired); it was found to be the value that sticks while the temperature
    falls. A dry-bulb above 55 degC or a dew point above 33 degC says nothing of the true value: the hour is dropped.
    """
    hot = pl.col("dry_bulb_c") > HOTTEST_C
    humid = ~hot & (pl.col("dew_point_c") > MOST_HUMID_C)
    wet = ~hot & ~humid & (pl.col("dew_point_c") > pl.col("dry_bulb_c") + OVERSATURATED_K)
    counts = hourly.select(
        hours=pl.len(),
        dew_point_lowered_to_dry_bulb=wet.sum(),
        dropped_dry_bulb_above_55_c=hot.sum(),
        dropped_dew_point_above_33_c=humid.sum(),
    ).row(0, named=True)
    good = hourly.filter(~hot & ~humid).with_columns(
        pl.min_horizontal("dew_point_c", "dry_bulb_c").alias("dew_point_c")
    )
    return good, counts


def as_hours(good: pl.DataFrame) -> pl.DataFrame:
    """Cleaned hours with the names and units of weather hours; `hour` 0-23 is the hour's beginning."""
    pressure = pl.col("pressure_mbar").cast(pl.Float64) * 100
    return good.select(
        *KEYS,
        (pl.col("hour_ending") - 1).alias("hour"),
        pl.col("dry_bulb_c").cast(pl.Float64).alias("outdoor_c"),
        air.humidity_ratio_from_dew_point(pl.col("dew_point_c").cast(pl.Float64), pressure).alias(
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
    by_hour = [*KEYS, "hour"]
    table = hours.select(
        *by_hour,
        "pressure_pa",
        "irradiance_w_m2",
        dry_bulb="outdoor_c",
        humidity=pl.col("outdoor_humidity_ratio") * 1000,
    )
    means = (
        table.group_by(by_hour)
        .agg(
            pl.col("dry_bulb", "humidity").std(ddof=0).name.suffix("_sd"),
            pl.col("dry_bulb", "humidity").mean().name.suffix("_mean"),
            irradiance=pl.col("irradiance_w_m2").mean(),
        )
        .join(_waves(), on="hour")
    )
    spreads = (
        means.sort(by_hour)
        .group_by(KEYS)
        .agg(*_project("dry_bulb_sd", "dry_bulb_spread"), *_project("humidity_sd", "humidity_spread"))
    )
    hourly = means.join(spreads, on=KEYS).with_columns(
        dry_bulb_fit=_fitted_spread("dry_bulb_spread"), humidity_fit=_fitted_spread("humidity_spread")
    )
    departures = (
        table.join(hourly, on=by_hour)
        .select(
            *by_hour,
            (pl.col("dry_bulb") - pl.col("dry_bulb_mean")) / pl.col("dry_bulb_fit"),
            (pl.col("humidity") - pl.col("humidity_mean")) / pl.col("humidity_fit"),
        )
        .sort(*by_hour, "dry_bulb", "humidity")  # equal values rank in a fixed order: same input, same bytes
        .with_columns(
            pl.col("dry_bulb", "humidity").rank("ordinal").over(KEYS).name.suffix("_rank"), count=pl.len().over(KEYS)
        )
    )
    scores = pl.concat([node_weights(n) for n in departures["count"].unique()]).select("count", "rank", "score")
    scored = departures.join(
        scores.rename({"rank": "dry_bulb_rank", "score": "dry_bulb_score"}), on=["count", "dry_bulb_rank"]
    ).join(scores.rename({"rank": "humidity_rank", "score": "humidity_score"}), on=["count", "humidity_rank"])
    correlation = (
        scored.group_by(by_hour)
        .agg(rho=pl.corr("dry_bulb_score", "humidity_score").fill_nan(0.0))
        .join(_waves(), on="hour")
        .sort(by_hour)
        .group_by(KEYS)
        .agg(_project("rho", "correlation"))
    )
    in_a_row = (
        means.sort(by_hour)
        .group_by(KEYS)
        .agg(
            pl.col(value).get(i).alias(BY_NAME[name].columns[i])
            for name, value in (
                ("dry_bulb", "dry_bulb_mean"),
                ("humidity", "humidity_mean"),
                ("irradiance", "irradiance"),
            )
            for i in range(24)
        )
    )
    pressure = table.group_by(KEYS).agg(pressure_0=pl.col("pressure_pa").mean() / 100)
    result = in_a_row
    parts = (spreads, correlation, _nodes(departures, "dry_bulb"), _nodes(departures, "humidity"), pressure)
    for part in parts:
        result = result.join(part, on=KEYS)
    return result.sort(KEYS)


def station_table(hours: pl.DataFrame, listed: pl.DataFrame) -> pl.DataFrame:
    """Stations with tidied climate zones, mean pressure and design conditions."""
    design = design_conditions(hours.rename({"station": "weather_id"})).rename({"weather_id": "station"})
    place = listed.select(
        "station",
        pl.col("name").str.strip_chars(),
        "state",
        pl.col("tz", "latitude", "longitude", "elevation_m").cast(pl.Float64),
        _tidy_zone(pl.col("climate_zone")),
    )
    return place.join(design, on="station").sort("station")


def _tidy_zone(zone: pl.Expr) -> pl.Expr:
    """Zones 7 and 8 have no moisture regime (7A is 7); an empty zone is unknown."""
    bare = zone.str.strip_chars().str.to_uppercase()
    return pl.when(bare.str.contains("^[78]")).then(bare.str.head(1)).when(bare != "").then(bare)


def postal_table(listed: pl.DataFrame) -> pl.DataFrame:
    """Postal areas in small integers: the code as a number, thousandths of a degree, the zone as a category."""
    return listed.select(
        pl.col("postal_code").cast(pl.Int32),
        (pl.col("latitude", "longitude").cast(pl.Float64) * 1000).round().cast(pl.Int32),
        _tidy_zone(pl.col("climate_zone")),
    ).sort("postal_code")


def derive(hourly: pl.DataFrame, stations: pl.DataFrame) -> tuple[pl.DataFrame, pl.DataFrame, dict[str, int]]:
    """Packed statistics, station table and counts of impossible hours."""
    good, counts = clean(hourly)
    hours = as_hours(good)
    return pack(monthly_statistics(hours)), station_table(hours, stations), counts


def main(arguments: list[str]) -> int:
    """Command line of this module."""
    if len(arguments) != 4:
        print(__doc__, file=sys.stderr)
        return 2
    hourly, stations, postal, out = (Path(a) for a in arguments)
    out.mkdir(parents=True, exist_ok=True)
    statistics, table, counts = derive(pl.read_parquet(hourly), pl.read_csv(stations, infer_schema=False))
    write_packed(statistics, out / "statistics.parquet")
    write_packed(table, out / "stations.parquet")
    write_packed(postal_table(pl.read_csv(postal, infer_schema=False)), out / "postal_areas.parquet")
    for what, number in counts.items():
        print(f"{what.replace('_', ' ')}: {number}")
    for path in sorted(out.glob("*.parquet")):
        print(f"{path.name}: {path.stat().st_size} bytes")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
