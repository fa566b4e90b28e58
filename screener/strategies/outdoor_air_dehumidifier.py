"""A dedicated unit that cools and dries the ventilation air for the whole space, reheating with its own condenser heat."""

from screener.formula import Number, col, when
from screener.strategies import outdoor_air
from screener.strategies.strategy import Machine, Outcome, Strategy
from screener.worksheet import Worksheet

NAME = "outdoor_air_dehumidifier"
UNAVAILABLE = when(col("outdoor_air_l_s") <= 0).then("no mechanical outdoor air to treat").otherwise(None)


def fan_w() -> Number:
    """Extra fan power at the unit's design flow [W]."""
    return outdoor_air.design_flow_l_s() * outdoor_air.EXTRA_FAN_W_L_S


def rate(own: Worksheet, machine: Machine) -> None:
    """How good its compressor is."""
    outdoor_air.rate(own, machine)


def damp_hour(sheet: Worksheet) -> Outcome:
    """Dry the ventilation air."""
    return outdoor_air.damp_hour(sheet, NAME, wheel=False, fan_w=fan_w())


STRATEGY = Strategy(
    name=NAME,
    summary="a dedicated unit dries the ventilation air for the whole space",
    rate=rate,
    damp_hour=damp_hour,
    standby=lambda _: {"dehumidifier_w": fan_w() * col("open")},
    device=outdoor_air.DEVICE,
    unavailable=UNAVAILABLE,
    note=None,
)
