"""A dedicated outdoor-air unit behind an enthalpy wheel, which hands heat and water of the outdoor air to the exhaust air.

The unit's coil then has less to do. The wheel stands still where it would hurt. In dry hours it passes heat alone: it saves
heating in cold weather and cooling in hot weather; what it does to the humidity of a dry space is not followed.
"""

from collections.abc import Mapping

from screener.formula import Number, at_least, col, smaller
from screener.physics import enthalpy_wheel
from screener.physics import psychrometrics as air
from screener.strategies import installed, outdoor_air, outdoor_air_dehumidifier
from screener.strategies.resting import RESTING
from screener.strategies.strategy import Machine, Outcome, Strategy
from screener.worksheet import Worksheet

NAME = "outdoor_air_dehumidifier_with_recovery"
USUAL = {"sensible": enthalpy_wheel.SENSIBLE_EFFECTIVENESS, "latent": enthalpy_wheel.LATENT_EFFECTIVENESS}
EXHAUST_NOTE = "needs as much clean exhaust air as outdoor air, beside it; air of kitchen hoods cannot pass the wheel"


def fan_w() -> Number:
    """Extra fan power of unit and wheel at the design flow [W]."""
    return outdoor_air.design_flow_l_s() * (outdoor_air.EXTRA_FAN_W_L_S + enthalpy_wheel.FAN_W_L_S)


def rate(own: Worksheet, machine: Machine) -> None:
    """How good its compressor and its wheel are."""
    outdoor_air.rate(own, machine)
    for kind, usual in USUAL.items():
        own.let(f"{kind}_effectiveness", machine.figure_or(f"{kind}_effectiveness", usual), "of the wheel")


def damp_hour(sheet: Worksheet) -> Outcome:
    """Dry the ventilation air behind the wheel."""
    return outdoor_air.damp_hour(sheet, NAME, wheel=True, fan_w=fan_w())


def standby(sheet: Worksheet) -> Mapping[str, Number]:
    """Fans while open, less the heating or cooling that the wheel saves in a dry hour."""
    c = col
    passes = c(f"{NAME}.sensible_effectiveness") * c("ventilation_now_kg_s") * air.CP_MOIST_AIR
    colder = at_least(RESTING.space_c - c("outdoor_c"), 0.0)
    warmer = at_least(c("outdoor_c") - RESTING.space_c, 0.0)
    heat = sheet.let("heat_saved_w", smaller(passes * colder, RESTING.heating_w), "of cold outdoor air")
    cooling = RESTING.cooling_w
    cooled = smaller(passes * warmer, cooling)
    run_fraction = RESTING.run_fraction
    fewer = sheet.let(
        "run_fraction",
        run_fraction * (1 - cooled / at_least(cooling, installed.TINY_W)),
        "the coil, relieved of hot outdoor air",
    )
    full = RESTING.coil.state.power_w
    return {
        "dehumidifier_w": fan_w() * c("open"),
        "compressor_w": installed.compressor_power(full, fewer) - installed.compressor_power(full, run_fraction),
        "heating_electricity_w": -installed.heating_electricity(heat),
        "heating_fuel_w": -installed.heating_fuel(heat),
    }


STRATEGY = Strategy(
    name=NAME,
    summary="the dedicated unit behind an enthalpy wheel",
    rate=rate,
    damp_hour=damp_hour,
    standby=standby,
    device=outdoor_air.DEVICE,
    unavailable=outdoor_air_dehumidifier.UNAVAILABLE,
    note=EXHAUST_NOTE,
)
