"""Whether a strategy keeps a site as it is kept today: below its humidity limit, out of fog, and cooled."""

from dataclasses import dataclass

import polars as pl

from screener.contracts.limits import HOLDING_H, HOLDING_K

HELD = ("is_current", "unavailable", "hours_above_limit", "hours_in_fog", "hours_cooling_not_met")
AT_CASES = ("hours_door_glass_fogged", "hours_frost_on_goods")
REACHED = ("dew_point_p95_c", "dew_point_highest_c")


@dataclass(frozen=True)
class Tolerance:
    """How much worse than today still counts as holding as well as today.

    `hours` a year and `dew_point_k`, whose usual figures stand, with their reasons, in `contracts.limits`.
    """

    hours: float = HOLDING_H
    dew_point_k: float = HOLDING_K


def marked(strategies: pl.DataFrame, tolerance: Tolerance) -> pl.DataFrame:
    """`strategies` (results, a row per site_id and strategy, columns HELD, REACHED, AT_CASES, without_equipment) with
    `holds_limit`.

    A strategy holds as well as today where at most `hours` more lie above the limit, or where neither the dew point that
    5 % of the hours exceed nor the highest is more than `dew_point_k` above today's; and where at most `hours` more are in fog
    and short of cooling. Of one without equipment, which may raise the limit itself, also no more than `hours` more in which the
    glass of case doors fogs or frost forms on goods. False where it is unavailable, and where today's strategy has no results.
    """
    today = {
        name: pl.col(name).filter("is_current").first().over("site_id") for name in (*HELD[2:], *REACHED, *AT_CASES)
    }

    def within(name: str, more: float) -> pl.Expr:
        return pl.col(name) <= today[name] + more

    hours, kelvin = tolerance.hours, tolerance.dew_point_k
    dry = within("hours_above_limit", hours) | pl.all_horizontal(within(name, kelvin) for name in REACHED)
    comfortable = within("hours_in_fog", hours) & within("hours_cooling_not_met", hours)
    cases = pl.all_horizontal(within(name, hours).fill_null(True) for name in AT_CASES)  # empty without such cases
    comfortable &= ~pl.col("without_equipment") | cases
    return strategies.with_columns(holds_limit=(dry & comfortable & pl.col("unavailable").is_null()).fill_null(False))
