"""Overcooling, whatever puts the heat back: run the coil until enough water has fallen out.

The space drifts down from the cooling set point towards the heating set point as the coil runs on; below it the surplus
cooling has to be put back. The coil is solved at the temperature the space drifts to. Shared by all strategies that
overcool.
"""

from dataclasses import dataclass

import polars as pl

from screener.bounds import at_least, at_most
from screener.hour import SPACE
from screener.physics.cooling_coil import CoilState
from screener.strategies import installed, temperature_only
from screener.strategies.strategy import Outcome
from screener.worksheet import Worksheet


@dataclass(frozen=True)
class Overcooling:
    """The hour before anyone has said where the reheat comes from; `outcome` has none of its energy yet."""

    coil: CoilState
    runs: pl.Expr
    reheat_w: pl.Expr
    outcome: Outcome


def overcool(sheet: Worksheet) -> Overcooling:
    """Run the coil for the moisture. Where it is too small, the humidity rises until the coil keeps up."""
    own = sheet.section("overcooling")
    limit, needed = pl.col("limit_humidity_ratio"), pl.col("moisture_at_limit_kg_s")
    at_limit = installed.coil_at(sheet.section("coil_at_limit"), pl.col("cooling_setpoint_c"), limit)
    would_run = at_most(needed / at_least(at_limit.moisture_kg_s, installed.TINY_KG_S), 1.0)
    drift = own.let(
        "drift_c",
        installed.floating_c(-would_run * at_limit.sensible_w),
        "where the space drifts to while the coil runs for moisture",
    )
    short = needed > at_limit.moisture_kg_s
    near = own.let(
        "near_humidity_ratio",
        pl.when(short).then(pl.col(temperature_only.SETTLED)).otherwise(limit),
        "where to solve the coil: at the limit, or where it cannot be held",
    )
    coil = installed.coil_at(own.section("coil"), drift, near)
    able = at_least(coil.moisture_kg_s - coil.moisture_slope * (near - limit), installed.TINY_KG_S)
    runs = own.let(
        "runs",
        at_most(pl.max_horizontal(needed / able, pl.col("cooling_load_w") / coil.sensible_w), 1.0),
        "part of the hour the coil runs, for moisture or for heat",
    )
    removal = own.let("removal_kg_s", runs * coil.moisture_kg_s, "water the coil takes there")
    slope = own.let("removal_slope", runs * coil.moisture_slope, "with the humidity of the space")
    humidity = own.let("settled_humidity_ratio", SPACE.settled(removal, slope, near), "the limit, if the coil keeps up")
    cooling = own.let("cooling_w", runs * coil.sensible_w, "sensible cooling delivered")
    at_heating = pl.col("sensible_at_heating_w")
    heating = pl.col("temperature_only.heating_needed_w")
    reheat = own.let(
        "reheat_needed_w",
        at_least(cooling - at_heating, 0.0) - heating,
        "heat to hold the heating set point, beyond what the space needs without any cooling",
    )
    outcome = Outcome(
        space_c=own.let("settled_c", installed.floating_c(-cooling), "between the set points"),
        humidity_ratio=humidity,
        coil_sensible_w=cooling,
        coil_kg_s=own.let(
            "coil_removes_kg_s", at_least(removal + slope * (humidity - near), 0.0), "water the coil takes"
        ),
        compressor_w=own.let(
            "unit_w", installed.compressor_power(coil.state.power_w, runs), "compressor, condenser fan"
        ),
        fans_w=own.let("supply_fan_w", installed.fan_power(runs), "supply fan"),
        heating_w=heating,
        heating_electricity_w=own.let("heating_electric_w", installed.heating_electricity(heating)),
        heating_fuel_w=own.let("heating_by_fuel_w", installed.heating_fuel(heating)),
        unmet_cooling_w=own.let("unmet_w", at_least(pl.col("sensible_at_cooling_w") - cooling, 0.0)),
        reheat_w=reheat,
    )
    return Overcooling(coil.state, runs, reheat, outcome)
