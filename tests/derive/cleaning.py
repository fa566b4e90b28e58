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


def _usual(hourly: pl.DataFrame) -> pl.DataFrame:
    """Median dry-bulb `usual_c` by station, month and hour, over that month and the two beside it.

    Three months, because a sensor that fails for weeks spoils the median of its own month.
    """
    around = [
        hourly.select(
            "station",
            ((pl.col("month").cast(pl.Int16) - 1 + shift) % 12 + 1).cast(hourly.schema["month"]).alias("month"),
            "hour_ending",
            "dry_bulb_c",
        )
        for shift in (-1, 0, 1)
    ]
    return pl.concat(around).group_by("station", "month", "hour_ending").agg(usual_c=pl.col("dry_bulb_c").median())
