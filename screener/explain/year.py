"""A site's year month by month and hour by hour with several strategies, for pictures: water, humidity, outdoor air."""

from collections.abc import Sequence
from dataclasses import dataclass

import polars as pl

from screener import outputs
from screener.explain.account import Worked, parts, work
from screener.physics import psychrometrics as air
from screener.strategies import REFERENCE

S_PER_H = 3600


@dataclass(frozen=True)
class Year:
    """`outdoor`: outdoor_c [degC], outdoor_humidity_ratio [kg/kg], weight_h [h/a] of every hour.

    `months`: month, strategy and the water of the month [kg]: people_kg, damp_air_kg arriving, coil_kg, device_kg,
    cases_kg, dry_air_kg removed. `held`: strategy, dew_point_c [degC] of the space, weight_h [h/a]. What is asked of
    the space: limit_humidity_ratio [kg/kg], limit_dew_point_c [degC], at pressure_pa [Pa].
    """

    outdoor: pl.DataFrame
    months: pl.DataFrame
    held: pl.DataFrame
    pressure_pa: float
    limit_humidity_ratio: float
    limit_dew_point_c: float


def year(run: outputs.RunFolder, site_id: str, strategies: Sequence[str]) -> Year:
    """The year of a site with each of the strategies, which it can have. UsageError where the run has no such site."""
    worked = {strategy: work(run, site_id, strategy) for strategy in strategies}
    site = next(iter(worked.values())).every
    limit = pl.col("limit_humidity_ratio").first()
    asked = site.select(limit, air.dew_point(limit, pl.col("pressure_pa").first()), pl.col("pressure_pa").first())
    ratio, dew_point, pressure = asked.row(0)
    return Year(
        outdoor=site.select("outdoor_c", "outdoor_humidity_ratio", "weight_h"),
        months=pl.concat([_months(each, strategy) for strategy, each in worked.items()]),
        held=pl.concat([_held(each, strategy) for strategy, each in worked.items()]),
        pressure_pa=pressure,
        limit_humidity_ratio=ratio,
        limit_dew_point_c=dew_point,
    )


def _told(worked: Worked, strategy: str) -> list[tuple[pl.DataFrame, str]]:
    """Every hour once, with the strategy whose columns tell it."""
    if strategy == REFERENCE.name:
        return [(worked.every, strategy)]
    return [(worked.every.filter(~pl.col("damp")), REFERENCE.name), (worked.damp, strategy)]


def _months(worked: Worked, strategy: str) -> pl.DataFrame:
    hourly = []
    for frame, told_by in _told(worked, strategy):
        found, _, water = parts(frame, told_by)
        outdoor = water["outdoor air"]
        flows = {
            "people_kg": water["people and processes"],
            "damp_air_kg": pl.when(outdoor > 0).then(outdoor).otherwise(0.0),
            "coil_kg": -water["cooling coil"],
            "device_kg": -water["device"],
            "cases_kg": -water["display cases"],
            "dry_air_kg": pl.when(outdoor < 0).then(-outdoor).otherwise(0.0),
        }
        hourly.append(found.select("month", **{n: flow * pl.col("weight_h") * S_PER_H for n, flow in flows.items()}))
    sums = pl.concat(hourly).group_by("month").agg(pl.all().sum()).sort("month")
    return sums.select("month", pl.lit(strategy).alias("strategy"), pl.exclude("month"))


def _held(worked: Worked, strategy: str) -> pl.DataFrame:
    humidity = [
        frame.select(w=f"{told_by}.humidity_ratio", p="pressure_pa", weight_h="weight_h")
        for frame, told_by in _told(worked, strategy)
    ]
    return pl.concat(humidity).select(
        pl.lit(strategy).alias("strategy"), air.dew_point(pl.col("w"), pl.col("p")).alias("dew_point_c"), "weight_h"
    )
