"""Advice that needs no equipment: today's machine goes on, and something of how it is run is set otherwise.

Such a strategy has no hour of its own. What it does is written as columns of a filled site, `sets`: the engine works the site
out once more the way it controls humidity today, with these columns and the equipment as large as it is. So it does exactly what
a row with these cells would do, and is held to its own limit.
"""

from collections.abc import Collection, Mapping

from screener.contracts.hour import REFERENCE, WHEEL
from screener.formula import Truth, Value, col, equal
from screener.strategies.strategy import Machine, Outcome, Rate, Strategy, nothing
from screener.worksheet import Worksheet

NO_CONTROL = "humidity is not controlled today"


def uncontrolled() -> Truth:
    """Whether today's equipment leaves humidity to itself."""
    today = col("current_strategy")
    return equal(today, REFERENCE) | equal(today, WHEEL)


def without_equipment(
    *,
    name: str,
    summary: str,
    sets: Mapping[str, Value],
    rate: Rate,
    needs: Collection[str],
    unavailable: Value,
    note: Value,
) -> Strategy:
    """The strategy that sets these columns of a site and is today's in all else. `note` says on which condition."""
    return Strategy(
        name=name,
        summary=summary,
        ventilation=None,
        own_fan=None,
        resists=None,
        rate=rate,
        damp_hour=_no_hour,
        standby=nothing,
        device=None,
        needs=needs,
        unavailable=unavailable,
        note=note,
        sets=sets,
    )


def nothing_more(own: Worksheet, machine: Machine) -> None:
    """The `rate` of advice that reads nothing beyond the columns of a site."""


def _no_hour(sheet: Worksheet) -> Outcome:
    raise ValueError("it has no hour of its own: lay out today's strategy, of the site as engine.as_run gives it")
