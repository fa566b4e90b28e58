"""A site's year month by month and hour by hour with several strategies, for pictures: water, humidity, outdoor air."""

from collections.abc import Sequence
from dataclasses import dataclass

import polars as pl

from screener import outputs
from screener.contracts.limits import OVER_LIMIT
from screener.explain.account import Worked, balance_terms, worked_again
from screener.explain.day import of_day
from screener.formula import plain, polars
from screener.physics import psychrometrics as air
from screener.strategies import REFERENCE

S_PER_H = 3600
ENTERING = "coil entering"
APART = 0.02  # as far as a coil's straight line is trusted in a picture
LIMIT = "limit_humidity_ratio"


@dataclass(frozen=True)
class Year:
    """`outdoor`: outdoor_c [degC], outdoor_humidity_ratio [kg/kg], weight_h [h/a] of every hour.

    `at` is the hour to show, `MM-DDTHH`: with the most water to remove among those in which every strategy but the
    reference holds the limit, or among all damp hours; None where there is none.

    `day`: strategy and the hours of the day in which `at` lies, or of the one with the most cooling, as `day.of_day` has them;
    `date`: its month and day.

    `months`: month, strategy and the water of the month [kg]: people_kg, damp_air_kg arriving, given_back_kg from another
    month; coil_kg, device_kg, cases_kg, dry_air_kg removed, taken_up_kg into another. `held`: strategy, dew_point_c [degC] of
    the space, weight_h [h/a]. What is asked of the space: limit_humidity_ratio [kg/kg], limit_dew_point_c [degC], at
    pressure_pa [Pa].
    """

    outdoor: pl.DataFrame
    months: pl.DataFrame
    held: pl.DataFrame
    pressure_pa: float
    limit_humidity_ratio: float
    limit_dew_point_c: float
    at: str | None
    day: pl.DataFrame
    date: tuple[int, int]


def year(run: outputs.RunFolder, site_id: str, strategies: Sequence[str]) -> Year:
    """The year of a site with each of the strategies, which it can have. UsageError where the run has no such site."""
    worked = {strategy: worked_again(run, site_id, strategy) for strategy in strategies}
    site = next(iter(worked.values())).every
    ratio, pressure = site.select(LIMIT, "pressure_pa").row(0)
    at = _hour_to_show([(each.told_by, each) for each in worked.values() if each.told_by != REFERENCE.name])
    month, day = (int(at[:2]), int(at[3:5])) if at else site.sort("cooling_load_w").select("month", "day").row(-1)
    days = {
        name: of_day(each.every, each.damp, each.told_by, REFERENCE.name, month, day) for name, each in worked.items()
    }
    return Year(
        outdoor=site.select("outdoor_c", "outdoor_humidity_ratio", "weight_h"),
        months=pl.concat([_months(each, strategy) for strategy, each in worked.items()]),
        held=pl.concat([_held_at(each, strategy) for strategy, each in worked.items()]),
        pressure_pa=pressure,
        limit_humidity_ratio=ratio,
        limit_dew_point_c=plain(air.dew_point(ratio, pressure)),
        at=at,
        day=pl.concat([each.select(pl.lit(name).alias("strategy"), pl.all()) for name, each in days.items()]),
        date=(month, day),
    )


def _hour_to_show(worked: Sequence[tuple[str, Worked]]) -> str | None:
    """The dampest hour that all strategies master, so that their ways can be compared; else simply the dampest.

    A coil that cannot hold the limit at the set point is solved at another humidity than the one that settles: its states
    are those of a step of the calculation, and not for drawing.
    """
    when = ["month", "day", "hour"]
    hours = [
        each.damp.select(*when, "moisture_at_limit_kg_s", fit=_held(strategy) & _meets_settled_air(strategy, each))
        for strategy, each in worked
    ]
    if not hours or hours[0].is_empty():
        return None
    all_fit = pl.concat(hours).group_by(when).agg(pl.col("fit").all(), pl.col("moisture_at_limit_kg_s").first())
    chosen = all_fit.sort("fit", "moisture_at_limit_kg_s", *when, descending=[True, True, False, False, False])
    month, day, hour = chosen.select(when).row(0)
    return f"{month:02}-{day:02}T{hour:02}"


def _held(strategy: str) -> pl.Expr:
    return pl.col(f"{strategy}.humidity_ratio") <= OVER_LIMIT * pl.col(LIMIT)


def _meets_settled_air(strategy: str, worked: Worked) -> pl.Expr:
    """Whether the installed coil was solved for air no damper than the space's mixed with the ventilation air."""
    entering = worked.sheets[1].states.get(ENTERING)
    if entering is None:
        return pl.lit(True)
    settled = pl.col(f"{strategy}.humidity_ratio")
    mixed = settled + pl.col("outdoor_water_share") * (pl.col("outdoor_humidity_ratio") - settled)
    return polars(entering.humidity_ratio) <= mixed * (1 + APART)


def _told(worked: Worked) -> list[tuple[pl.DataFrame, str]]:
    """Every hour once, with the strategy whose columns tell it."""
    if worked.told_by == REFERENCE.name:
        return [(worked.every, worked.told_by)]
    return [(worked.every.filter(~pl.col("damp")), REFERENCE.name), (worked.damp, worked.told_by)]


def _months(worked: Worked, strategy: str) -> pl.DataFrame:
    hourly = []
    for frame, told_by in _told(worked):
        found, _, water = balance_terms(frame, told_by)
        outdoor, stored = water["outdoor air"], water["stored in the space"]
        flows = {
            "people_kg": water["people"] + water["processes"],
            "damp_air_kg": pl.when(outdoor > 0).then(outdoor).otherwise(0.0),
            "coil_kg": -water["cooling coil"],
            "device_kg": -water["device"],
            "cases_kg": -water["display cases"],
            "dry_air_kg": pl.when(outdoor < 0).then(-outdoor).otherwise(0.0),
            "stored": stored,
        }
        hourly.append(found.select("month", **{n: flow * pl.col("weight_h") * S_PER_H for n, flow in flows.items()}))
    sums = pl.concat(hourly).group_by("month").agg(pl.all().sum()).sort("month")
    stored = pl.col("stored")
    sums = sums.with_columns(given_back_kg=stored.clip(lower_bound=0.0), taken_up_kg=(-stored).clip(lower_bound=0.0))
    sums = sums.drop("stored")
    return sums.select("month", pl.lit(strategy).alias("strategy"), pl.exclude("month"))


def _held_at(worked: Worked, strategy: str) -> pl.DataFrame:
    humidity = [
        frame.select(w=f"{told_by}.humidity_ratio", p="pressure_pa", weight_h="weight_h")
        for frame, told_by in _told(worked)
    ]
    return pl.concat(humidity).select(
        pl.lit(strategy).alias("strategy"), air.dew_points(pl.col("w"), pl.col("p")).alias("dew_point_c"), "weight_h"
    )
