"""An enthalpy wheel alone in the ventilation air: it hands heat and water between outdoor air and exhaust air. Today's control
of humidity stays as it is, with less of both to do.

The wheel turns where outdoor air holds more heat, water's included, than the space and the space wants cooling, and where the
space wants heat, then no faster than it needs and than frost allows; else it stands still. Its exhaust is air of the space, so it
leaves a part of the difference between outdoor air and space, of temperature and of humidity, and the balances stay straight
lines. Air is pressed through it whenever the site is ventilated.
"""

from collections.abc import Mapping
from dataclasses import fields, replace

from screener.contracts.hour import Treated
from screener.contracts.needs import AIR_SYSTEM, EXHAUST, ROOF
from screener.formula import Formula, Number, as_number, at_least, between, col, equal, when
from screener.physics import enthalpy_wheel
from screener.physics import psychrometrics as air
from screener.strategies import (
    overcool_condenser_reheat,
    overcool_electric_reheat,
    overcool_fuel_reheat,
    overcool_reclaimed_reheat,
    standalone_dehumidifier,
)
from screener.strategies.resting import RESTING
from screener.strategies.strategy import NOTHING, Machine, Outcome, Strategy
from screener.worksheet import Worksheet

NAME = "ventilation_heat_recovery"
USUAL = {"sensible": enthalpy_wheel.SENSIBLE_EFFECTIVENESS, "latent": enthalpy_wheel.LATENT_EFFECTIVENESS}
NO_AIR = "no mechanical outdoor air to recover heat for"
NO_EXHAUST = "no clean exhaust air to recover heat from"
OTHER_CONTROL = (
    "its wheel is worked out beside temperature control, overcooling and a standalone unit, not beside today's"
)
KEPT = (  # ways of controlling humidity that go on behind the wheel
    overcool_electric_reheat,
    overcool_fuel_reheat,
    overcool_condenser_reheat,
    overcool_reclaimed_reheat,
    standalone_dehumidifier,
)
EXHAUST_NOTE = (
    "the wheel passes what clean exhaust air beside it carries (exhaust_share); air of kitchen hoods cannot pass it"
)


def fans_w() -> Number:
    """Power that presses the air through the wheel in this hour [W]."""
    flow_l_s = col("ventilation_now_kg_s") / col("air_density_kg_m3") * 1000
    return flow_l_s * enthalpy_wheel.fan_w_l_s(col("exhaust_share"))


def rate(own: Worksheet, machine: Machine) -> None:
    """How much of the difference the wheel passes to the outdoor air, and how the site controls humidity today."""
    for kind, usual in USUAL.items():
        rated = machine.figure_or(f"{kind}_effectiveness", usual)
        own.let(f"{kind}_effectiveness", rated * col("exhaust_share"), "of the wheel, for outdoor air")
    for today in KEPT:
        own.let(f"keeps_{today.NAME}", as_number(equal(col("current_strategy"), today.NAME)), "1 where that is today's")


def ventilation(sheet: Worksheet) -> Treated:
    """What the wheel leaves of the outdoor air's difference from the space."""
    c, own = col, sheet.section(f"{NAME}.wheel")
    outdoor_c, cooling_c = c("outdoor_c"), c("cooling_setpoint_c")
    more = air.enthalpy(outdoor_c, c("outdoor_humidity_ratio")) > air.enthalpy(cooling_c, c("limit_humidity_ratio"))
    cools = own.let("cools", as_number(more & (c("untreated.sensible_at_cooling_w") > 0)), "1 where it keeps heat out")
    sensible, latent = (c(f"{NAME}.{kind}_effectiveness") for kind in USUAL)
    heats = for_heat(own, sensible)
    turns = own.let("turns", when(cools > 0).then(1.0).otherwise(heats), "of full speed")
    warmed = fans_w() / (1 + c("exhaust_share"))
    return Treated(1 - sensible * turns, 1 - latent * turns, own.let("supply_fan_w", warmed, "in the outdoor air"))


def for_heat(own: Worksheet, sensible: Number) -> Number:
    """How fast a wheel of this effectiveness turns for heat: no faster than the space needs, nor than frost allows."""
    outdoor_c, heating_c = col("outdoor_c"), col("heating_setpoint_c")
    passes = sensible * col("ventilation_now_kg_s") * air.CP_MOIST_AIR * at_least(heating_c - outdoor_c, 0.0)
    passes = own.let("passes_w", passes, "heat it would bring at full speed")
    lacks = at_least(-col("untreated.sensible_at_heating_w"), 0.0)
    heats = between(lacks / at_least(passes, 1e-6), 0.0, enthalpy_wheel.unfrosted(heating_c, outdoor_c))
    return own.let("heats", when(passes > 0).then(heats).otherwise(0.0), "of full speed, for heat, free of frost")


def damp_hour(sheet: Worksheet) -> Outcome:
    """What today's control does in the hour, with the air behind the wheel."""
    ways = [(col(f"{NAME}.keeps_{today.NAME}") > 0, today.damp_hour(sheet)) for today in KEPT]
    fans = sheet.section(f"{NAME}.damp").let("wheel_fans_w", fans_w(), "of both streams")

    def of(field: str) -> Number:
        resting = RESTING.outcome.get(field, NOTHING)
        told: Formula = resting
        for keeps, outcome in reversed(ways):
            value = getattr(outcome, field)
            if value is not resting:
                told = when(keeps).then(value).otherwise(told)
        return told

    outcome = Outcome(**{field.name: of(field.name) for field in fields(Outcome)})
    return replace(outcome, fans_w=outcome.fans_w + fans)


def standby(sheet: Worksheet) -> Mapping[str, Number]:
    """Fans; what the wheel saves is in the hour itself."""
    return {"fans_w": fans_w()}


def unavailable() -> Formula:
    """Why a site cannot have it."""
    today = col("current_strategy")
    known = equal(today, "temperature_only")
    for kept in KEPT:
        known = known | equal(today, kept.NAME)
    return (
        when(col("outdoor_air_l_s") <= 0)
        .then(NO_AIR)
        .when(col("exhaust_share") <= 0)
        .then(NO_EXHAUST)
        .when(known | equal(today, NAME))
        .then(None)
        .otherwise(OTHER_CONTROL)
    )


STRATEGY = Strategy(
    name=NAME,
    summary="an enthalpy wheel alone in the ventilation air; humidity is controlled as today",
    ventilation=ventilation,
    own_fan=None,
    resists=None,
    rate=rate,
    damp_hour=damp_hour,
    standby=standby,
    device=None,
    needs=(EXHAUST, ROOF, AIR_SYSTEM),
    unavailable=unavailable(),
    note=EXHAUST_NOTE,
    sets=None,
)
