"""A dedicated unit that cools and dries the ventilation air for the whole space, reheating with its own condenser heat."""

import polars as pl

from screener.strategies import outdoor_air
from screener.strategies.strategy import Outcome, Strategy
from screener.worksheet import Worksheet

NAME = "outdoor_air_dehumidifier"
UNAVAILABLE = pl.when(pl.col("outdoor_air_l_s") <= 0).then(pl.lit("no mechanical outdoor air to treat"))


def fan_w() -> pl.Expr:
    """Extra fan power at the unit's design flow [W]."""
    return outdoor_air.design_flow_l_s() * outdoor_air.EXTRA_FAN_W_L_S


def damp_hour(sheet: Worksheet) -> Outcome:
    """Dry the ventilation air."""
    return outdoor_air.damp_hour(sheet, NAME, wheel=False, fan_w=fan_w())


STRATEGY = Strategy(
    name=NAME,
    summary="a dedicated unit dries the ventilation air for the whole space",
    damp_hour=damp_hour,
    standing=lambda _: {"dehumidifier_w": fan_w() * pl.col("open")},
    has_device=True,
    unavailable=UNAVAILABLE,
)
