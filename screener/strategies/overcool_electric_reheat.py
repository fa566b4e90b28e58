"""Overcool until the water has fallen out, then put the surplus cooling back with resistance heat."""

from dataclasses import replace

from screener.contracts.needs import AIR_SYSTEM
from screener.strategies.overcooling import overcool
from screener.strategies.strategy import Outcome, Strategy, as_installed, nothing
from screener.worksheet import Worksheet

NAME = "overcool_electric_reheat"


def damp_hour(sheet: Worksheet) -> Outcome:
    """A kilowatt-hour of reheat is a kilowatt-hour of electricity."""
    cooled = overcool(sheet)
    return replace(cooled.outcome, reheat_electricity_w=cooled.reheat_w)


STRATEGY = Strategy(
    name=NAME,
    summary="overcool, then reheat with electric resistance",
    ventilation=None,
    own_fan=None,
    resists=None,
    rate=as_installed,
    damp_hour=damp_hour,
    standby=nothing,
    device=None,
    needs=(AIR_SYSTEM,),
    unavailable=None,
    note=None,
    sets=None,
)
