"""Overcooling, whatever puts the heat back: run the coil until enough water has fallen out.

The space drifts down from the cooling set point towards the heating set point as the coil runs on; below it the surplus
cooling has to be put back. The coil is solved at the temperature the space drifts to. Shared by all strategies that
overcool. The temperature it drifts to and the run of the coil depend on each other: a straight line through two solutions
of the coil settles both.
"""

from dataclasses import dataclass, fields

import polars as pl

from screener.bounds import at_least, at_most
from screener.hour import SPACE
from screener.physics.cooling_coil import CoilState
from screener.strategies import installed, temperature_only
from screener.strategies.installed import RunningCoil
from screener.strategies.strategy import NOTHING, Outcome
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
    first = own.let(
        "first_drift_c", installed.floating_c(-would_run * at_limit.sensible_w), "with the coil as it is there"
    )
    short = needed > at_limit.moisture_kg_s
    near = own.let(
        "near_humidity_ratio",
        pl.when(short).then(temperature_only.damp_at_most()).otherwise(limit),
        "where to solve the coil: at the limit, or where it cannot be held",
    )
    probe = installed.coil_at(own.section("probe"), first, near)
    drift = own.let("drift_c", _settled_drift(at_limit, probe, first, near), "where the space drifts to while it runs")
    coil = installed.coil_at(own.section("coil"), drift, near)
    for_heat = (
        pl.when(drift >= pl.col("cooling_setpoint_c")).then(pl.col("cooling_load_w") / coil.sensible_w).otherwise(0.0)
    )
    runs = at_most(pl.max_horizontal(needed / _able(coil, near), for_heat), 1.0)
    runs = own.let("runs", runs, "part of the hour the coil runs, for moisture or for heat")
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
    removes = own.let("coil_removes_kg_s", at_least(removal + slope * (humidity - near), 0.0), "water the coil takes")
    # cooler air can dry less: where running on would leave the space damper, it is not done
    helps = own.let("helps", humidity < pl.col(f"{temperature_only.NAME}.humidity_ratio"), "the coil runs for moisture")
    running = Outcome(
        space_c=own.let("settled_c", installed.floating_c(-cooling), "between the set points"),
        humidity_ratio=humidity,
        coil_sensible_w=cooling,
        coil_kg_s=removes,
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
    resting = temperature_only.unless(helps, running)
    outcome = Outcome(**{f.name: _named(own, f.name, getattr(resting, f.name)) for f in fields(Outcome)})
    runs = own.let("runs_for_moisture", pl.when(helps).then(runs).otherwise(0.0), "part of the hour, where it helps")
    return Overcooling(coil.state, runs, outcome.reheat_w, outcome)


def _able(coil: RunningCoil, near: pl.Expr) -> pl.Expr:
    """Water the coil, solved near the limit, takes at the limit [kg/s]."""
    return at_least(
        coil.moisture_kg_s - coil.moisture_slope * (near - pl.col("limit_humidity_ratio")), installed.TINY_KG_S
    )


def _settled_drift(warm: RunningCoil, cold: RunningCoil, first: pl.Expr, near: pl.Expr) -> pl.Expr:
    """Where the space settles, u kelvin below the cooling set point, while the coil runs for all the water [degC].

    Water and sensible duty of the coil are straight lines through both states; run times duty is gain,
    needed (s + s' u) = (S + K u) (m + m' u), has one positive root u.
    """
    needed, gain, k = pl.col("moisture_at_limit_kg_s"), pl.col("sensible_at_cooling_w"), pl.col("conductance_w_k")
    start = pl.col("cooling_setpoint_c")
    span = at_least(start - first, 1e-6)
    more_water = at_least((_able(cold, near) - warm.moisture_kg_s) / span, 0.0)
    more_heat = (cold.sensible_w - warm.sensible_w) / span
    a = k * more_water
    b = gain * more_water + k * warm.moisture_kg_s - needed * more_heat
    c = gain * warm.moisture_kg_s - needed * warm.sensible_w
    root = at_least(b * b - 4 * a * c, 0.0).sqrt()
    return installed.within_set_points(start + 2 * c / at_least(b + root, 1e-12))


def _named(own: Worksheet, name: str, expr: pl.Expr) -> pl.Expr:
    return expr if expr.meta.eq(NOTHING) else own.let(f"outcome.{name}", expr)
