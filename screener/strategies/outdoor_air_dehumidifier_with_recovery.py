"""A dedicated outdoor-air unit behind an enthalpy wheel, which hands heat and water of the outdoor air to the exhaust air.

The unit's coil then has less to do. The wheel stands still where it would hurt. In dry hours it passes heat alone: it saves
heating in cold weather and cooling in hot weather; what it does to the humidity of a dry space is not followed.
"""

from collections.abc import Mapping

from screener.contracts.needs import AIR_SYSTEM, EXHAUST, ROOF
from screener.formula import Number, at_least, col
from screener.physics import enthalpy_wheel
from screener.physics import outdoor_air_unit as unit
from screener.physics import psychrometrics as air
from screener.strategies import outdoor_air, outdoor_air_dehumidifier
from screener.strategies.resting import RESTING
from screener.strategies.strategy import Machine, Outcome, Strategy
from screener.worksheet import Worksheet

NAME = "outdoor_air_dehumidifier_with_recovery"
USUAL = {"sensible": enthalpy_wheel.SENSIBLE_EFFECTIVENESS, "latent": enthalpy_wheel.LATENT_EFFECTIVENESS}
EXHAUST_NOTE = "needs as much clean exhaust air as outdoor air, beside it; air of kitchen hoods cannot pass the wheel"


def fans() -> outdoor_air.Fans:
    """The unit's supply fan and those that press both streams through the wheel; half of these warm the supply."""
    flow = outdoor_air.design_flow_l_s()
    through = flow * enthalpy_wheel.FAN_W_L_S
    return outdoor_air.Fans(flow * unit.FAN_W_L_S + through, flow * unit.FAN_W_L_S + through / 2)


def rate(own: Worksheet, machine: Machine) -> None:
    """How good its compressor and its wheel are."""
    sensible, latent = (
        own.let(f"{kind}_effectiveness", machine.figure_or(f"{kind}_effectiveness", usual), "of the wheel")
        for kind, usual in USUAL.items()
    )
    outdoor_air.rate(own, machine, sensible, latent, enthalpy_wheel.FAN_W_L_S)


def damp_hour(sheet: Worksheet) -> Outcome:
    """Dry the ventilation air behind the wheel."""
    return outdoor_air.damp_hour(sheet, NAME, wheel=True, fans=fans())


def standby(sheet: Worksheet) -> Mapping[str, Number]:
    """Fans while open, less the heating or cooling that the wheel saves in a dry hour."""
    c = col
    passes = c(f"{NAME}.sensible_effectiveness") * c("ventilation_now_kg_s") * air.CP_MOIST_AIR
    colder = at_least(RESTING.space_c - c("outdoor_c"), 0.0)
    warmer = at_least(c("outdoor_c") - RESTING.space_c, 0.0)
    return outdoor_air.dry_hour(sheet, fans(), passes * colder, passes * warmer)


STRATEGY = Strategy(
    name=NAME,
    summary="the dedicated unit behind an enthalpy wheel",
    rate=rate,
    damp_hour=damp_hour,
    standby=standby,
    device=outdoor_air.DEVICE,
    needs=(ROOF, EXHAUST, AIR_SYSTEM),
    unavailable=outdoor_air_dehumidifier.UNAVAILABLE,
    note=EXHAUST_NOTE,
)
