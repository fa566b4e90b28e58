"""Overcool until the water has fallen out, then put the surplus cooling back with the unit's own condenser heat.

The heat is free up to what the unit rejects, at the price of a warm condenser; what is short comes from the site's
heating.
"""

from dataclasses import replace

from screener.contracts.needs import AIR_SYSTEM
from screener.formula import col
from screener.strategies import installed
from screener.strategies.overcooling import condenser_reheat, overcool
from screener.strategies.strategy import Outcome, Strategy, as_installed, nothing
from screener.worksheet import Worksheet

NAME = "overcool_condenser_reheat"


def damp_hour(sheet: Worksheet) -> Outcome:
    """Reheat from the hot refrigerant, with its head-pressure penalty, and the shortfall from the site's heating."""
    cooled = overcool(sheet)
    compressor, short = condenser_reheat(sheet.section("overcooling.condenser"), cooled)
    return replace(
        cooled.outcome,
        compressor_w=compressor,
        reheat_electricity_w=installed.reheat_electricity(short, cooled.outcome.heating_w),
        reheat_fuel_w=short * col("reheat_fuel_per_heat"),
    )


STRATEGY = Strategy(
    name=NAME,
    summary="overcool, then reheat with the unit's own condenser heat",
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
