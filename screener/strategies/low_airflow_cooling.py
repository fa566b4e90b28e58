"""The installed coil at a reduced air flow: colder, so it takes more water for its sensible duty. No reheat.

The fan slows down in damp hours; its power falls faster than the flow. Without reheat the coil stops where the space would
fall below the heating set point: it holds what it can, and the humidity settles above the limit where that is not enough.
"""

from dataclasses import replace

import polars as pl

from screener.bounds import at_most
from screener.contracts.hour import coil_in
from screener.physics import cooling_coil
from screener.physics.low_airflow import FAN_SHARE, FLOW_SHARE
from screener.strategies import installed
from screener.strategies.installed import RunningCoil
from screener.strategies.overcooling import Machine, overcool
from screener.strategies.strategy import Outcome, Strategy
from screener.worksheet import Worksheet

NAME = "low_airflow_cooling"
COIL = coil_in(NAME)


def fan_heat_saved_w() -> pl.Expr:
    """Heat of the fan that the space is spared [W]."""
    return pl.col("fan_w") * pl.col("fan_on") * (FAN_SHARE - 1)


def coil_at(sheet: Worksheet, space_c: pl.Expr, humidity_ratio: pl.Expr) -> RunningCoil:
    """The installed coil with less air; outdoor air is a larger share of it."""

    def slow(sheet: Worksheet, t_in: pl.Expr, w_in: pl.Expr) -> cooling_coil.CoilState:
        return cooling_coil.run(sheet, COIL, t_in, w_in, pl.col("outdoor_c"), pl.col("pressure_pa"))

    outdoor_share = at_most(pl.col("outdoor_share") / FLOW_SHARE, 1.0)
    return installed.coil_at(sheet, space_c, humidity_ratio, outdoor_share, slow, FAN_SHARE)


def damp_hour(sheet: Worksheet) -> Outcome:
    """Overcool with little air as far as the heating set point."""
    section = sheet.section(f"{NAME}.damp")
    spared = section.let("spared_fan_heat_w", fan_heat_saved_w(), "heat of the fan at full flow that is not there")
    machine = Machine(f"{NAME}.damp", f"{NAME}.damp.at_limit", coil_at, COIL, added_w=spared, reheats=False)
    cooled = overcool(sheet, machine)
    slow = FAN_SHARE * installed.fan_power(cooled.runs)
    return replace(cooled.outcome, fans_w=pl.when(cooled.helps).then(slow).otherwise(cooled.outcome.fans_w))


STRATEGY = Strategy(
    name=NAME,
    summary="the installed coil with less air in damp hours; no reheat, holds what it can",
    damp_hour=damp_hour,
)
