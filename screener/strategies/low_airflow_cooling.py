"""The installed coil at a reduced air flow: colder, so it takes more water for its sensible duty. No reheat.

The fan slows down in damp hours; its power falls faster than the flow. Without reheat the coil stops where the space would
fall below the heating set point: it holds what it can, and the humidity settles above the limit where that is not enough. Where
cooling with little air takes more water than has to go, the fan is slow for a part of the hour.
"""

from dataclasses import replace

from screener.contracts.hour import COIL as INSTALLED
from screener.contracts.hour import coil_in
from screener.contracts.needs import AIR_SYSTEM
from screener.formula import Number, at_most, col, when
from screener.physics import cooling_coil
from screener.physics.low_airflow import FAN_SHARE, FLOW_SHARE
from screener.strategies import installed
from screener.strategies.installed import RunningCoil
from screener.strategies.overcooling import Overcooler, overcool
from screener.strategies.resting import RESTING
from screener.strategies.strategy import Machine, Outcome, Strategy, nothing
from screener.worksheet import Worksheet

NAME = "low_airflow_cooling"
COIL = coil_in(NAME)


def fan_heat_saved_w() -> Number:
    """Heat of the fan that the space is spared [W]."""
    return col("fan_w") * col("fan_on") * (FAN_SHARE - 1)


def coil_at(sheet: Worksheet, space_c: Number, humidity_ratio: Number) -> RunningCoil:
    """The installed coil with less air; outdoor air is a larger share of it."""

    def slow(sheet: Worksheet, t_in: Number, w_in: Number) -> cooling_coil.CoilState:
        return cooling_coil.run(sheet, COIL, t_in, w_in, col("outdoor_c"), col("pressure_pa"), near_fog=True)

    outdoor_share = at_most(col("outdoor_share") / FLOW_SHARE, 1.0)
    return installed.coil_at(sheet, space_c, humidity_ratio, outdoor_share, slow, col("fan_w") * FAN_SHARE)


def rate(own: Worksheet, machine: Machine) -> None:
    """The installed coil at the reduced flow, as the columns of COIL."""
    cooling_coil.at_flow(own, INSTALLED, FLOW_SHARE, col("pressure_pa"))


def damp_hour(sheet: Worksheet) -> Outcome:
    """Overcool with little air as far as the heating set point."""
    section = sheet.section(f"{NAME}.damp")
    spared = section.let("spared_fan_heat_w", fan_heat_saved_w(), "heat of the fan at full flow that is not there")
    running = Overcooler(f"{NAME}.damp", f"{NAME}.damp.at_limit", coil_at, COIL, added_w=spared, reheats=False)
    cooled = overcool(sheet, running)
    slow = cooled.mixed(FAN_SHARE * installed.fan_power(cooled.run_fraction), RESTING.outcome["fans_w"])
    return replace(cooled.outcome, fans_w=when(cooled.helps).then(slow).otherwise(cooled.outcome.fans_w))


STRATEGY = Strategy(
    name=NAME,
    summary="the installed coil with less air in damp hours; no reheat, holds what it can",
    ventilation=None,
    own_fan=None,
    resists=None,
    rate=rate,
    damp_hour=damp_hour,
    standby=nothing,
    device=None,
    needs=(AIR_SYSTEM,),
    unavailable=None,
    note=None,
    sets=None,
)
