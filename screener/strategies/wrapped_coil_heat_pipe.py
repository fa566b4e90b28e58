"""A passive heat pipe around the installed coil: it precools the entering air and gives the same heat back behind the coil.

The coil then starts colder and takes more water for its sensible duty, so less surplus cooling has to be put back; what
remains is reheated the way the site reheats today. A valve shuts the pipe off when no water has to be removed; its air
resistance stays.
"""

from dataclasses import replace

import polars as pl

from screener.contracts.hour import COIL
from screener.physics import heat_pipe
from screener.physics.cooling_coil import CoilState
from screener.strategies import installed
from screener.strategies.installed import RunningCoil
from screener.strategies.overcooling import Machine, condenser_reheat, overcool
from screener.strategies.strategy import Outcome, Strategy
from screener.worksheet import Process, Worksheet

NAME = "wrapped_coil_heat_pipe"


def extra_fan_w() -> pl.Expr:
    """Power the supply fan needs for the pipe's resistance while it runs [W]."""
    return pl.col("supply_l_s") * heat_pipe.FAN_W_L_S


def coil_at(sheet: Worksheet, space_c: pl.Expr, humidity_ratio: pl.Expr) -> RunningCoil:
    """The installed coil inside the pipe."""

    def inside(sheet: Worksheet, t_in: pl.Expr, w_in: pl.Expr) -> CoilState:
        effectiveness = pl.col(f"{NAME}.effectiveness")
        return heat_pipe.run(sheet, COIL, effectiveness, t_in, w_in, pl.col("outdoor_c"), pl.col("pressure_pa"))

    return installed.coil_at(sheet, space_c, humidity_ratio, run=inside)


def damp_hour(sheet: Worksheet) -> Outcome:
    """Overcool with the pipe; the remaining reheat as today, or by the site's heating where there is none today."""
    section = sheet.section(f"{NAME}.damp")
    machine = Machine(f"{NAME}.damp", f"{NAME}.damp.at_limit", coil_at, coil_meets="precooled_c")
    cooled = overcool(sheet, machine)
    show_pipe(sheet)
    warm_compressor, short = condenser_reheat(section.section("condenser"), cooled)
    by_condenser = pl.col("reheats_by_condenser")
    rest = section.let("reheat_left_w", pl.when(by_condenser).then(short).otherwise(cooled.reheat_w), "to be paid for")
    fans = cooled.outcome.fans_w + extra_fan_w() * installed.fan_on(cooled.runs)
    return replace(
        cooled.outcome,
        compressor_w=pl.when(by_condenser).then(warm_compressor).otherwise(cooled.outcome.compressor_w),
        fans_w=fans,
        reheat_electricity_w=rest * pl.col("today_reheat_electric_per_heat"),
        reheat_fuel_w=rest * pl.col("today_reheat_fuel_per_heat"),
    )


def show_pipe(sheet: Worksheet) -> None:
    """Note both halves of the pipe, for whoever wants to check the hour by hand."""
    coil = f"{NAME}.damp.coil"
    w_in, passed = pl.col(f"{coil}.entering_humidity_ratio"), pl.col(f"{coil}.passed_w")
    entering = sheet.show_state("heat pipe entering", pl.col(f"{coil}.entering_c"), w_in)
    sheet.show(
        Process(
            "heat pipe, first half, at full run",
            entering,
            "coil entering",
            COIL.supply_kg_s,
            passed,
            pl.lit(0.0),
            pl.lit(0.0),
            "effectiveness x (entering - leaving the coil); given back behind the coil [heat_pipe]",
        )
    )


STRATEGY = Strategy(
    name=NAME,
    summary="a heat pipe around the coil precools and reheats; the rest is reheated as today",
    damp_hour=damp_hour,
    standing=lambda _: {"fans_w": extra_fan_w() * pl.col("fan_on")},
)
