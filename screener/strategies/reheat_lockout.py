"""Reheat locked out while the outdoor air is dry: what it brings in then dries the space by itself.

Below the lockout the coil runs for the thermostat alone. Rooms full of people may rise above their limit meanwhile; the
hours above it say how often.
"""

from screener.contracts.needs import AIR_SYSTEM
from screener.formula import Formula, Truth, as_number, col, equal, first_given, when
from screener.physics import psychrometrics as air
from screener.strategies import (
    overcool_condenser_reheat,
    overcool_electric_reheat,
    overcool_fuel_reheat,
    overcool_reclaimed_reheat,
    wrapped_coil_heat_pipe,
)
from screener.strategies.strategy import Machine
from screener.strategies.todays_machine import without_equipment
from screener.worksheet import Worksheet

NAME = "reheat_lockout"
REHEATING = (
    overcool_electric_reheat,
    overcool_fuel_reheat,
    overcool_condenser_reheat,
    overcool_reclaimed_reheat,
    wrapped_coil_heat_pipe,
)
NO_REHEAT = "nothing is reheated today"
ALREADY = "reheat is locked out as high or higher already"
CONDITION = (
    "no drying with reheat while the outdoor dew point is below the limit by lockout_below_limit_k, where the controls know it; "
    "today's are taken to reheat only where they must, so those that reheat without need save more than is counted"
)


def rate(own: Worksheet, machine: Machine) -> None:
    """The outdoor dew point below which reheat rests."""
    limit_c = first_given(
        col("humidity_limit_dew_point_c"), air.dew_point(col("limit_humidity_ratio"), col("pressure_pa"))
    )
    below = own.let("below_dew_point_c", limit_c - col("lockout_below_limit_k"), "outdoors; no reheat below it")
    known = first_given(col("reheat_lockout_dew_point_c"), -100.0)
    own.let("there_already", as_number(known >= below), "1 where that is so today")


def _reheats() -> Truth:
    today = col("current_strategy")
    first, *others = (equal(today, one.NAME) for one in REHEATING)
    for other in others:
        first = first | other
    return first


def unavailable() -> Formula:
    """Why a site cannot have it."""
    return (
        when(_reheats() & (col(f"{NAME}.there_already") <= 0))
        .then(None)
        .when(_reheats())
        .then(ALREADY)
        .otherwise(NO_REHEAT)
    )


STRATEGY = without_equipment(
    name=NAME,
    summary="today's machine, its reheat locked out while the outdoor air is dry",
    sets={"reheat_lockout_dew_point_c": col(f"{NAME}.below_dew_point_c")},
    rate=rate,
    needs=(AIR_SYSTEM,),
    unavailable=unavailable(),
    note=CONDITION,
)
