"""A day of a site hour by hour: what warms and wets the space, and what is put back into it.

It shows what a mean over the open hours hides: a full house brings heat enough to need hardly any reheat, the same room
after the rush, kitchen shut and the outdoor-air damper still open, needs a great deal (common practice, no source).
"""

import polars as pl

from screener.physics import psychrometrics as air

FIGURES = (
    *("hour", "open", "outdoor_c", "people_w", "machines_w", "sun_w", "water_kg_h"),
    *("cooling_w", "reheat_w", "electricity_w", "space_c", "dew_point_c"),
)


def of_day(
    every: pl.DataFrame, damp: pl.DataFrame, strategy: str, reference: str, month: int, day: int
) -> pl.DataFrame:
    """The hours of a date with a strategy: FIGURES in W, degC and kg/h of water from people and processes.

    `every` and `damp` as `account.Worked` has them: all hours worked for the reference, and the damp ones with the strategy.
    """
    on_day = (pl.col("month") == month) & (pl.col("day") == day)
    if strategy == reference:
        return _hours(every.filter(on_day), reference, None)
    rest = every.filter(on_day & ~pl.col("damp"))
    return pl.concat([_hours(rest, reference, strategy), _hours(damp.filter(on_day), strategy, None)]).sort("hour")


def _hours(frame: pl.DataFrame, told_by: str, standby_of: str | None) -> pl.DataFrame:
    """Hours of one kind: `told_by` names the strategy whose steps hold, `standby_of` the one whose equipment waits."""

    def there(name: str) -> pl.Expr:
        return pl.col(name).cast(pl.Float64) if name in frame.columns else pl.lit(0.0)

    waiting = there(f"{standby_of}.standby.electricity_w") if standby_of else pl.lit(0.0)
    dew_point = air.dew_points(pl.col(f"{told_by}.humidity_ratio"), pl.col("pressure_pa"))
    return frame.select(
        pl.col("hour").cast(pl.Int64),
        pl.col("open").cast(pl.Boolean),
        "outdoor_c",
        people_w="people_now_w",
        machines_w="machines_now_w",
        sun_w=pl.col("aperture_m2") * pl.col("irradiance_w_m2"),
        water_kg_h=pl.col("moisture_gain_kg_s") * 3600,
        cooling_w=there(f"{told_by}.coil_sensible_w"),
        reheat_w=there(f"{told_by}.reheat_w"),
        electricity_w=there(f"{told_by}.electricity_w") + waiting,
        space_c=f"{told_by}.space_c",
        dew_point_c=dew_point,
    ).select(FIGURES)
