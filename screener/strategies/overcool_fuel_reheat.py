"""Overcool until the water has fallen out, then put the surplus cooling back by burning fuel."""

from dataclasses import replace

import polars as pl

from screener.strategies.overcooling import overcool
from screener.strategies.strategy import Outcome, Strategy
from screener.worksheet import Worksheet


def damp_hour(sheet: Worksheet) -> Outcome:
    """Reheat burns fuel at the efficiency of the site's furnace or boiler."""
    cooled = overcool(sheet)
    return replace(cooled.outcome, reheat_fuel_w=cooled.reheat_w / pl.col("fuel_efficiency"))


STRATEGY = Strategy(
    name="overcool_fuel_reheat",
    summary="overcool, then reheat by burning fuel",
    damp_hour=damp_hour,
)
