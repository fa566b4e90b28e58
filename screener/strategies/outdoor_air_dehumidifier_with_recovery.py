"""A dedicated outdoor-air unit behind an enthalpy wheel, which hands heat and water of the outdoor air to the exhaust air.

The unit's coil then has less to do. The wheel stands still where it would hurt. In dry hours it passes heat alone: it saves
heating in cold weather and cooling in hot weather; what it does to the humidity of a dry space is not followed.
"""

from collections.abc import Mapping

import polars as pl

from screener.bounds import at_least
from screener.physics import enthalpy_wheel
from screener.physics import psychrometrics as air
from screener.strategies import installed, outdoor_air, outdoor_air_dehumidifier
from screener.strategies.strategy import Outcome, Strategy
from screener.worksheet import Worksheet

NAME = "outdoor_air_dehumidifier_with_recovery"


def fan_w() -> pl.Expr:
    """Extra fan power of unit and wheel at the design flow [W]."""
    return outdoor_air.design_flow_l_s() * (outdoor_air.EXTRA_FAN_W_L_S + enthalpy_wheel.FAN_W_L_S)


def damp_hour(sheet: Worksheet) -> Outcome:
    """Dry the ventilation air behind the wheel."""
    return outdoor_air.damp_hour(sheet, NAME, wheel=True, fan_w=fan_w())


def standing(sheet: Worksheet) -> Mapping[str, pl.Expr]:
    """Fans while open, less the heating or cooling that the wheel saves in a dry hour."""
    c = pl.col
    passes = c(f"{NAME}.sensible_effectiveness") * c("ventilation_now_kg_s") * air.CP_MOIST_AIR
    colder = at_least(c("temperature_only.space_c") - c("outdoor_c"), 0.0)
    warmer = at_least(c("outdoor_c") - c("temperature_only.space_c"), 0.0)
    heat = sheet.let(
        "heat_saved_w", pl.min_horizontal(passes * colder, c("temperature_only.heating_w")), "of cold outdoor air"
    )
    cooling = c("temperature_only.cooling_w")
    cooled = pl.min_horizontal(passes * warmer, cooling)
    runs = c("temperature_only.runs")
    fewer = sheet.let(
        "runs", runs * (1 - cooled / at_least(cooling, installed.TINY_W)), "the coil, relieved of hot outdoor air"
    )
    full = c("temperature_only.coil.power_w")
    return {
        "dehumidifier_w": fan_w() * c("open"),
        "compressor_w": installed.compressor_power(full, fewer) - installed.compressor_power(full, runs),
        "heating_electricity_w": -installed.heating_electricity(heat),
        "heating_fuel_w": -installed.heating_fuel(heat),
    }


STRATEGY = Strategy(
    name=NAME,
    summary="the dedicated unit behind an enthalpy wheel",
    damp_hour=damp_hour,
    standing=standing,
    has_device=True,
    unavailable=outdoor_air_dehumidifier.UNAVAILABLE,
)
