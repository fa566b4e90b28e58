"""The supply fan runs with the compressor while the site is closed, instead of without pause.

It saves the fan's power and the cooling of its heat, and water on the coil no longer goes back into the air between two runs.
"""

from screener.contracts.needs import AIR_SYSTEM
from screener.formula import Formula, col, equal, when
from screener.strategies.todays_machine import nothing_more, without_equipment

NAME = "fan_cycling_while_closed"
ALREADY = "its supply fan does not run through the closed hours today, says supply_fan"
CONDITION = (
    "where nothing needs moving air while the site is closed: smoke control, processes, a humidistat far from the unit"
)


def unavailable() -> Formula:
    """Why a site cannot have it."""
    return when(equal(col("supply_fan"), "always")).then(None).otherwise(ALREADY)


STRATEGY = without_equipment(
    name=NAME,
    summary="today's machine, its supply fan cycling with the compressor while the site is closed",
    sets={"supply_fan": "continuous"},
    rate=nothing_more,
    needs=(AIR_SYSTEM,),
    unavailable=unavailable(),
    note=CONDITION,
)
