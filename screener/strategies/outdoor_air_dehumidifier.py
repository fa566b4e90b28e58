"""A dedicated unit that cools and dries the ventilation air for the whole space, reheating with its own condenser heat."""

from screener.contracts.needs import AIR_SYSTEM, ROOF
from screener.formula import col, when
from screener.physics import outdoor_air_unit as unit
from screener.strategies import outdoor_air
from screener.strategies.strategy import Machine, Outcome, Strategy
from screener.worksheet import Worksheet

NAME = "outdoor_air_dehumidifier"
UNAVAILABLE = when(col("outdoor_air_l_s") <= 0).then("no mechanical outdoor air to treat").otherwise(None)


def fans() -> outdoor_air.Fans:
    """The unit's supply fan, which stands in the air behind the coil."""
    power = outdoor_air.design_flow_l_s() * unit.FAN_W_L_S
    return outdoor_air.Fans(power, power)


def rate(own: Worksheet, machine: Machine) -> None:
    """How good its compressor is."""
    outdoor_air.rate(own, machine)


def damp_hour(sheet: Worksheet) -> Outcome:
    """Dry the ventilation air."""
    return outdoor_air.damp_hour(sheet, NAME, wheel=False, fans=fans())


STRATEGY = Strategy(
    name=NAME,
    summary="a dedicated unit dries the ventilation air for the whole space",
    ventilation=None,
    own_fan=lambda: fans().heat_w,
    resists=None,
    rate=rate,
    damp_hour=damp_hour,
    standby=lambda _: outdoor_air.dry_hour(fans()),
    device=outdoor_air.DEVICE,
    needs=(ROOF, AIR_SYSTEM),
    unavailable=UNAVAILABLE,
    note=None,
    sets=None,
)
