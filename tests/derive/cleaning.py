"""Impossible hours in measured weather: what is repaired, what is dropped, and how many there were.

Typical years are stitched from station records, and some records hold hours that cannot be: the count of each kind is
reported with the data derived from them.
"""

import polars as pl

OVERSATURATED_K = 0.3  # rounding to a tenth of a kelvin never puts a dew point further above the dry-bulb
HOTTEST_C, MOST_HUMID_C = 55.0, 33.0  # beyond the records of the stations' countries
OUT_OF_SEASON_K, WARM_C = (
    25.0,
    10.0,
)  # judged by eye: at 25 K the hours left over are frost in Florida, 50 degC in Alaska
LONGEST_GAP_H = 6  # of hours without a value that a straight line bridges
MEASURED = ("dry_bulb_c", "dew_point_c")


def clean(hourly: pl.DataFrame) -> tuple[pl.DataFrame, dict[str, int]]:
    """Hours without the impossible ones, and how many there were of each kind.

    `hourly`: station, month, day, hour_ending, dry_bulb_c, dew_point_c and more. Repaired: a dew point above the dry-bulb
    is lowered to it, being the value found to stick while the temperature falls. Dropped, because nothing tells the true
    value: dry-bulb above 55 degC, dew point above 33 degC, and a dry-bulb more than 25 K from what is usual there at that
    hour and season, where that is above 10 degC (cold winters do swing that far).
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
    possible = hourly.filter(~hot & ~humid).with_columns(
        pl.min_horizontal("dew_point_c", "dry_bulb_c").alias("dew_point_c")
    )
    usual = pl.col("usual_c")
    out_of_season = (usual > WARM_C) & ((pl.col("dry_bulb_c") - usual).abs() > OUT_OF_SEASON_K)
    keys = ["station", "month", "hour_ending"]
    judged = possible.join(_usual(possible), on=keys, maintain_order="left")
    good = judged.filter(~out_of_season).drop("usual_c")
    return good, counts | {"dropped_dry_bulb_out_of_season": judged.height - good.height}


def repaired(hourly: pl.DataFrame) -> tuple[pl.DataFrame, dict[str, int]]:
    """Every hour, in order, those that `clean` drops with other values, and the counts.

    A gap of up to LONGEST_GAP_H hours is bridged by a straight line; in a longer one stands what is usual at the station in
    that month and hour of the day: the median over the month and the two beside it. No dew point above the dry-bulb.
    """
    good, counts = clean(hourly)
    at = ["station", "month", "day", "hour_ending"]
    every = hourly.sort(at).drop(MEASURED).join(good.select(*at, *MEASURED), on=at, how="left", maintain_order="left")
    lost = pl.col(MEASURED[0]).is_null()
    run = lost.rle_id().over("station")
    every = every.with_columns(lost=lost, gap=pl.len().over("station", run))
    bridged = [pl.col(name).interpolate().over("station") for name in MEASURED]
    every = every.with_columns(bridged)
    keys = ["station", "month", "hour_ending"]
    usual = _usual(good).join(_usual(good, "dew_point_c"), on=keys, suffix="_dew_point")
    every = every.join(usual, on=keys, how="left", maintain_order="left")
    long = (pl.col("lost") & (pl.col("gap") > LONGEST_GAP_H)) | pl.col(MEASURED[0]).is_null()
    every = every.with_columns(
        dry_bulb_c=pl.when(long).then("usual_c").otherwise("dry_bulb_c"),
        dew_point_c=pl.when(long).then("usual_c_dew_point").otherwise("dew_point_c"),
    ).with_columns(dew_point_c=pl.min_horizontal("dew_point_c", "dry_bulb_c"))
    kinds = {"repaired": every["lost"].sum(), "repaired_by_what_is_usual": every.select(long.sum()).item()}
    return every.select(hourly.columns), counts | kinds


def _usual(hourly: pl.DataFrame, column: str = "dry_bulb_c") -> pl.DataFrame:
    """Median `usual_c` of a column by station, month and hour, over that month and the two beside it.

    Three months, because a sensor that fails for weeks spoils the median of its own month.
    """
    around = [
        hourly.select(
            "station",
            ((pl.col("month").cast(pl.Int16) - 1 + shift) % 12 + 1).cast(hourly.schema["month"]).alias("month"),
            "hour_ending",
            column,
        )
        for shift in (-1, 0, 1)
    ]
    return pl.concat(around).group_by("station", "month", "hour_ending").agg(usual_c=pl.col(column).median())
