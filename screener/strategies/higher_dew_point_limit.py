"""A higher humidity limit, held by the same machine: every gram that may stay in the air need not be taken out of it.

It asks nothing of equipment and something of the building: goods, door glass and people must stand the damper air, and
display cases take up more water. What they then take more counts against it.
"""

from screener.contracts.needs import LEEWAY
from screener.formula import Formula, col, first_given, when
from screener.physics import psychrometrics as air
from screener.strategies.strategy import Machine
from screener.strategies.todays_machine import NO_CONTROL, uncontrolled, without_equipment
from screener.worksheet import Worksheet

NAME = "higher_dew_point_limit"
HIGHEST_C = 15.0  # indoor dew point that ventilation codes let be [ASHRAE 62.1-2019 section 5, from memory]
MUST_HOLD = "its limit must hold: no higher one is advised here"
HIGH_ENOUGH = (
    f"a higher limit would pass {HIGHEST_C:.0f} degC of dew point, the most of ventilation codes, or the set point"
)
CONDITION = (
    "the limit raised by limit_step_k, where goods, door glass and people stand it; what display cases take more is counted; "
    "its hours are held against the higher limit"
)


def rate(own: Worksheet, machine: Machine) -> None:
    """The dew point that the higher limit comes to."""
    limit_c = first_given(
        col("humidity_limit_dew_point_c"), air.dew_point(col("limit_humidity_ratio"), col("pressure_pa"))
    )
    own.let("raised_dew_point_c", limit_c + col("limit_step_k"), "the limit of today and the step")


def unavailable() -> Formula:
    """Why a site cannot have it."""
    raised = col(f"{NAME}.raised_dew_point_c")
    return (
        when(col("limit_step_k") <= 0)
        .then(MUST_HOLD)
        .when(uncontrolled())
        .then(NO_CONTROL)
        .when((raised > HIGHEST_C) | (raised >= col("cooling_setpoint_c")))
        .then(HIGH_ENOUGH)
        .otherwise(None)
    )


STRATEGY = without_equipment(
    name=NAME,
    summary="today's machine with a humidity limit a little higher, where goods, door glass and people stand it",
    sets={"humidity_limit_dew_point_c": col(f"{NAME}.raised_dew_point_c"), "humidity_limit_rh_pct": None},
    rate=rate,
    needs=(LEEWAY,),
    unavailable=unavailable(),
    note=CONDITION,
)
