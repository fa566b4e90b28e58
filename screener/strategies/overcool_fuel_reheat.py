"""Overcool until the water has fallen out, then put the surplus cooling back by burning fuel."""

from dataclasses import replace

from screener.contracts.needs import AIR_SYSTEM, FUEL
from screener.formula import col
from screener.strategies.overcooling import overcool
from screener.strategies.strategy import Outcome, Strategy, as_installed, nothing
from screener.worksheet import Worksheet

NAME = "overcool_fuel_reheat"


def damp_hour(sheet: Worksheet) -> Outcome:
    """Reheat burns fuel at the efficiency of the site's furnace or boiler."""
    cooled = overcool(sheet)
    return replace(cooled.outcome, reheat_fuel_w=cooled.reheat_w / col("fuel_efficiency"))


STRATEGY = Strategy(
    name=NAME,
    summary="overcool, then reheat by burning fuel",
    ventilation=None,
    own_fan=None,
    resists=None,
    rate=as_installed,
    damp_hour=damp_hour,
    standby=nothing,
    device=None,
    needs=(FUEL, AIR_SYSTEM),
    unavailable=None,
    note=None,
    sets=None,
)
