"""A dedicated outdoor-air unit behind an enthalpy wheel, which hands heat and water of the outdoor air to the exhaust air.

The unit's coil then has less to do. The wheel stands still where it would hurt. In dry hours it passes heat alone: it saves
heating in cold weather and cooling in hot weather; what it does to the humidity of a dry space is not followed.
"""

from collections.abc import Mapping

from screener.contracts.needs import AIR_SYSTEM, EXHAUST, ROOF
from screener.formula import Number, at_least, col, smaller, when
from screener.physics import enthalpy_wheel
from screener.physics import outdoor_air_unit as unit
from screener.physics import psychrometrics as air
from screener.strategies import installed, outdoor_air, outdoor_air_dehumidifier, ventilation_heat_recovery
from screener.strategies.resting import RESTING
from screener.strategies.strategy import Machine, Outcome, Strategy
from screener.worksheet import Worksheet

NAME = "outdoor_air_dehumidifier_with_recovery"
USUAL = ventilation_heat_recovery.USUAL
UNAVAILABLE = (
    when((col("outdoor_air_l_s") > 0) & (col("exhaust_share") <= 0))
    .then(ventilation_heat_recovery.NO_EXHAUST)
    .otherwise(outdoor_air_dehumidifier.UNAVAILABLE)
)


def fans() -> outdoor_air.Fans:
    """The unit's supply fan and those that press both streams through the wheel; that of the outdoor air warms it."""
    flow = outdoor_air.design_flow_l_s()
    through = flow * enthalpy_wheel.fan_w_l_s(col("exhaust_share"))
    heat = flow * (unit.FAN_W_L_S + enthalpy_wheel.STREAM_W_L_S)
    return outdoor_air.Fans(flow * unit.FAN_W_L_S + through, heat)


def rate(own: Worksheet, machine: Machine) -> None:
    """How good its compressor and its wheel are."""
    rated = {kind: machine.figure_or(f"{kind}_effectiveness", usual) for kind, usual in USUAL.items()}
    sensible, latent = (own.let(f"{kind}_rated", each, "of the wheel at equal flows") for kind, each in rated.items())
    for kind in rated:
        passes = col(f"{NAME}.{kind}_rated") * col("exhaust_share")
        own.let(f"{kind}_effectiveness", passes, "of the wheel, for outdoor air")
    outdoor_air.rate(own, machine, sensible, latent, enthalpy_wheel.FAN_W_L_S)


def damp_hour(sheet: Worksheet) -> Outcome:
    """Dry the ventilation air behind the wheel."""
    return outdoor_air.damp_hour(sheet, NAME, wheel=True, fans=fans())


def standby(sheet: Worksheet) -> Mapping[str, Number]:
    """Fans while open, less the heating or cooling that the wheel saves in a dry hour: no more of either than there is."""
    c, cooling, run_fraction = col, RESTING.cooling_w, RESTING.run_fraction
    passes = c(f"{NAME}.sensible_effectiveness") * c("ventilation_now_kg_s") * air.CP_MOIST_AIR
    colder = at_least(RESTING.space_c - c("outdoor_c"), 0.0)
    colder = colder * enthalpy_wheel.unfrosted(RESTING.space_c, c("outdoor_c"))
    warmer = at_least(c("outdoor_c") - RESTING.space_c, 0.0)
    heating = RESTING.heating_w
    saved = sheet.let("heat_saved_w", smaller(passes * colder, heating), "of heating")
    spared = smaller(passes * warmer, cooling) / at_least(cooling, installed.TINY_W)
    fewer = sheet.let("run_fraction", run_fraction * (1 - spared), "the coil, without what the wheel keeps out")
    full = RESTING.coil.state.power_w
    less = installed.heating_electricity(heating - saved) - installed.heating_electricity(heating)
    return {
        **outdoor_air.dry_hour(sheet, fans()),
        "compressor_w": installed.compressor_power(full, fewer) - installed.compressor_power(full, run_fraction),
        "fans_w": installed.fan_power(fewer) - installed.fan_power(run_fraction),
        "heating_electricity_w": less,
        "heating_fuel_w": -installed.heating_fuel(saved),
    }


STRATEGY = Strategy(
    name=NAME,
    summary="the dedicated unit behind an enthalpy wheel",
    ventilation=None,
    own_fan=lambda: fans().heat_w,
    resists=None,
    rate=rate,
    damp_hour=damp_hour,
    standby=standby,
    device=outdoor_air.DEVICE,
    needs=(ROOF, EXHAUST, AIR_SYSTEM),
    unavailable=UNAVAILABLE,
    note=ventilation_heat_recovery.EXHAUST_NOTE,
    sets=None,
)
