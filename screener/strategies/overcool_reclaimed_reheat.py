"""Overcool until the water has fallen out, then put the surplus cooling back with heat the refrigeration rejects.

The heat is free up to what the cases' racks can give; while it is taken, the racks that give it run at a higher head
pressure, and their compressors pay for that in cool weather. What is short comes from the site's heating.
"""

from dataclasses import replace

from screener.contracts.needs import AIR_SYSTEM, RACKS
from screener.formula import at_least, col, smaller, when
from screener.physics import refrigeration
from screener.strategies import installed
from screener.strategies.overcooling import overcool
from screener.strategies.strategy import Outcome, Strategy, as_installed, nothing
from screener.worksheet import Worksheet

NAME = "overcool_reclaimed_reheat"


def damp_hour(sheet: Worksheet) -> Outcome:
    """Reheat from the racks with their head-pressure penalty, and the shortfall from the site's heating."""
    own = sheet.section(f"{NAME}.damp")
    cooled = overcool(sheet)
    racks = col("case_electricity_w")
    heating = cooled.outcome.heating_w * col("heats_by_racks")
    reclaimed = smaller(cooled.reheat_w, at_least(refrigeration.reclaimable_w(racks) - heating, 0.0))
    reclaimed = own.let("reclaimed_w", reclaimed, "reheat from the refrigeration")
    short = own.let("short_w", cooled.reheat_w - reclaimed, "reheat left to the site's heating")
    penalty = refrigeration.reclaim_penalty_w(racks, reclaimed, col("outdoor_c"))
    penalty = own.let("penalty_w", penalty, "refrigeration compressors more, at the higher head pressure")
    return replace(
        cooled.outcome,
        reheat_electricity_w=installed.reheat_electricity(short, cooled.outcome.heating_w + reclaimed) + penalty,
        reheat_fuel_w=short * col("reheat_fuel_per_heat"),
    )


STRATEGY = Strategy(
    name=NAME,
    summary="overcool, then reheat with heat from the refrigeration",
    ventilation=None,
    own_fan=None,
    resists=None,
    rate=as_installed,
    damp_hour=damp_hour,
    standby=nothing,
    device=None,
    needs=(RACKS, AIR_SYSTEM),
    unavailable=when(col("case_electricity_w") <= 0).then("no refrigeration to reclaim heat from").otherwise(None),
    note=None,
    sets=None,
)
