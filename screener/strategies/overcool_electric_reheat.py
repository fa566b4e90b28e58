"""Overcool until the water has fallen out, then put the surplus cooling back with resistance heat."""

from dataclasses import replace

from screener.strategies.overcooling import overcool
from screener.strategies.strategy import Outcome, Strategy
from screener.worksheet import Worksheet


def damp_hour(sheet: Worksheet) -> Outcome:
    """A kilowatt-hour of reheat is a kilowatt-hour of electricity."""
    cooled = overcool(sheet)
    return replace(cooled.outcome, reheat_electricity_w=cooled.reheat_w)


STRATEGY = Strategy(
    name="overcool_electric_reheat",
    summary="overcool, then reheat with electric resistance",
    damp_hour=damp_hour,
)
