"""Overcool until the water has fallen out, then put the surplus cooling back with the unit's own condenser heat.

The heat is free up to what the unit rejects; what is short comes from the site's heating. To be of use the condenser
must stay warm: while it reheats, the condensing temperature is held at REHEAT_CONDENSING_C or above, and the compressor
pays for that in cool weather.
"""

from dataclasses import replace

import polars as pl

from screener.physics import cooling_coil
from screener.strategies import installed
from screener.strategies.overcooling import overcool
from screener.strategies.strategy import Outcome, Strategy
from screener.worksheet import Worksheet

REHEAT_CONDENSING_C = 38.0  # about 12 K above the air leaving the reheat coil, common practice, no source


def damp_hour(sheet: Worksheet) -> Outcome:
    """Reheat from the hot refrigerant, with its head-pressure penalty, and the shortfall from the site's heating."""
    own = sheet.section("overcool_condenser_reheat.damp")
    cooled = overcool(sheet)
    coil, runs, reheat = cooled.coil, cooled.runs, cooled.reheat_w
    held = cooling_coil.carnot_cop(
        pl.col("carnot_fraction"), coil.adp_c, pl.col("outdoor_c"), coil.load, REHEAT_CONDENSING_C
    )
    power = own.let("warm_condenser_w", coil.total_w / held, "compressor at full run with the condenser kept warm")
    rejected = own.let("rejected_w", runs * (coil.total_w + power), "heat of the space and of the compressor")
    from_unit = own.let("from_condenser_w", pl.min_horizontal(reheat, rejected), "reheat that costs nothing more")
    short = own.let("short_w", reheat - from_unit, "reheat left to the site's heating")
    warm = installed.compressor_power(power, runs)
    return replace(
        cooled.outcome,
        compressor_w=pl.when(reheat > 0).then(warm).otherwise(cooled.outcome.compressor_w),
        reheat_electricity_w=short * pl.col("reheat_electric_per_heat"),
        reheat_fuel_w=short * pl.col("reheat_fuel_per_heat"),
    )


STRATEGY = Strategy(
    name="overcool_condenser_reheat",
    summary="overcool, then reheat with the unit's own condenser heat",
    damp_hour=damp_hour,
)
