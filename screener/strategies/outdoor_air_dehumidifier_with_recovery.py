"""A dedicated outdoor-air unit behind an enthalpy wheel, which hands heat and water of the outdoor air to the exhaust air.

The unit's coil then has less to do. The wheel stands still where it would hurt; it turns in dry hours too, where it saves
heating or cooling.
"""

from screener.contracts.hour import Treated
from screener.contracts.needs import AIR_SYSTEM, EXHAUST, ROOF
from screener.formula import as_number, col, smaller, when
from screener.physics import enthalpy_wheel
from screener.physics import outdoor_air_unit as unit
from screener.physics import psychrometrics as air
from screener.strategies import outdoor_air, outdoor_air_dehumidifier, ventilation_heat_recovery
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


def ventilation(sheet: Worksheet) -> Treated:
    """What the wheel leaves of the outdoor air's difference from the space, in any hour. While the site is open it turns where
    the outdoor air holds more heat, water's included, than the space did, and is wetter or the space wants cooling; for heat no
    faster than is wanted and than frost allows. (Its fans' heat is that of the unit.)
    """
    c, own = col, sheet.section(f"{NAME}.wheel")
    outdoor_c, outdoor_w, cooling_c = c("outdoor_c"), c("outdoor_humidity_ratio"), c("cooling_setpoint_c")
    inside_w = smaller(c("last_humidity_ratio"), c("limit_humidity_ratio"))
    more = air.enthalpy(outdoor_c, outdoor_w) > air.enthalpy(cooling_c, inside_w)
    wanted = (c("untreated.sensible_at_cooling_w") > 0) | (outdoor_w > inside_w)
    cools = own.let("cools", as_number((c("open") > 0) & more & wanted), "1 where it keeps heat or water out")
    sensible, latent = (c(f"{NAME}.{kind}_effectiveness") for kind in USUAL)
    heats = ventilation_heat_recovery.for_heat(own, sensible)
    turns = own.let("turns", when(cools > 0).then(1.0).otherwise(heats), "of full speed")
    return Treated(1 - sensible * turns, 1 - latent * turns, 0.0)


STRATEGY = Strategy(
    name=NAME,
    summary="the dedicated unit behind an enthalpy wheel",
    ventilation=ventilation,
    own_fan=lambda: fans().heat_w,
    resists=None,
    rate=rate,
    damp_hour=damp_hour,
    standby=lambda _: outdoor_air.dry_hour(fans()),
    device=outdoor_air.DEVICE,
    needs=(ROOF, EXHAUST, AIR_SYSTEM),
    unavailable=UNAVAILABLE,
    note=ventilation_heat_recovery.EXHAUST_NOTE,
    sets=None,
)
