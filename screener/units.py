"""Units live in the names of columns; this is the one place that turns US units into SI and back.

`floor_area_ft2` is converted to `floor_area_m2`, `cooling_eer` to `cooling_cop`. Factors are exact where the unit is
defined exactly, and agree with NIST Special Publication 811 (2008) appendix B.
"""

import re
from dataclasses import dataclass

import polars as pl

FOOT_M = 0.3048  # exact
POUND_KG = 0.45359237  # exact
BTU_J = 1055.05585262  # International Table Btu
PINT_L = 0.473176473  # US liquid pint, exact
CFM_L_S = FOOT_M**3 / 60 * 1000
BTU_H_KW = BTU_J / 3600 / 1000
BTU_PER_WH = 3600 / BTU_J  # 3.412142: EER over COP
J_PER_KWH = 3.6e6
HOURS_A_YEAR = 8760.0
THERM_KWH = 105.4804e6 / J_PER_KWH  # therm (U.S.), the legal unit of the gas trade there: 29.3001 kWh
MMBTU_KWH = 1e6 * BTU_J / J_PER_KWH
GAS_BTU_FT3 = (
    1036.0  # heating value of gas as it is delivered, US mean of 2022 and 2023 [EIA, heat content, from memory]
)
MCF_KWH = 1000 * GAS_BTU_FT3 * BTU_J / J_PER_KWH


@dataclass(frozen=True)
class Conversion:
    """`si = us * factor + offset`, for names ending in `us` and `si`."""

    us: str
    si: str
    factor: float
    offset: float = 0.0


# The first suffix that fits wins, so longer ones stand first.
CONVERSIONS = (
    Conversion("_cfm_ft2", "_l_s_m2", CFM_L_S / FOOT_M**2),
    Conversion("_cfm_person", "_l_s_person", CFM_L_S),
    Conversion("_cfm", "_l_s", CFM_L_S),
    Conversion("_ft2", "_m2", FOOT_M**2),
    Conversion("_ft", "_m", FOOT_M),
    Conversion("_f", "_c", 1 / 1.8, -32 / 1.8),
    Conversion("_tons", "_kw", 12_000 * BTU_H_KW),
    Conversion("_btu_h", "_kw", BTU_H_KW),
    Conversion("_eer", "_cop", 1 / BTU_PER_WH),
    Conversion("_pints_day", "_l_day", PINT_L),
    Conversion("pints_per_kwh", "litres_per_kwh", PINT_L),
    Conversion("_lb_h", "_kg_h", POUND_KG),
    Conversion("_load_kw", "_load_kwh", HOURS_A_YEAR),
    Conversion("_per_therm_h", "_per_kw", 1 / THERM_KWH),
    Conversion("_per_therm", "_per_kwh", 1 / THERM_KWH),
    Conversion("_per_mmbtu", "_per_kwh", 1 / MMBTU_KWH),
    Conversion("_per_mcf", "_per_kwh", 1 / MCF_KWH),
    Conversion("_per_ccf", "_per_kwh", 10 / MCF_KWH),
    Conversion("_per_mwh", "_per_kwh", 1e-3),
)
# Columns that people with US units read in them, by ending; energy and power stay in kWh and kW ...
FOR_PEOPLE = re.compile(r"(_l_s_m2|_l_s_person|_l_s|_m2|_l_day|litres_per_kwh|_kg_h|_m|_c|capacity_kw|cooling_cop)$")
# ... and so do rates per area or length that have no column of their own in US units.
STAYS = re.compile(r"(_per_100_m2|_(w|k|h)_m2?)$")
# Units that a name may end in; two names that end in different ones are different columns, however alike they look.
WORDS = (
    *("kwh", "mwh", "gwh", "wh", "kw", "mw", "w", "kva", "kvar", "therm", "therms", "mmbtu", "mbtu", "kbtu", "btu"),
    *("dth", "dekatherm", "mcf", "ccf", "cf", "ft3", "gj", "mj", "gal", "gallon", "m3", "m2", "ft2", "cents", "usd"),
    *("cfm", "l_s", "m3_h", "tons", "btu_h", "kbtu_h", "mbh", "cop", "eer", "lb_h", "kg_h"),
)


# How a US unit is told, by the ending of the names that carry it.
TOLD = {
    "_cfm_ft2": "cfm/ft2",
    "_cfm_person": "cfm/person",
    "_cfm": "cfm",
    "_ft2": "ft2",
    "_ft": "ft",
    "_f": "degF",
    "_tons": "tons",
    "_btu_h": "Btu/h",
    "_eer": "Btu/Wh",
    "_pints_day": "pints/day",
    "pints_per_kwh": "pints/kWh",
    "_lb_h": "lb/h",
    "_per_therm_h": "currency/(therm/h month)",
    "_per_therm": "currency/therm",
    "_per_mmbtu": "currency/MMBtu",
    "_per_mcf": "currency/Mcf",
    "_per_ccf": "currency/ccf",
    "_per_mwh": "currency/MWh",
}
DEGC = re.compile(r"(-?\d+(?:\.\d+)?)(?:-(-?\d+(?:\.\d+)?))? degC(?: \(\d+ F\))?")


def in_us_words(text: str) -> str:
    """A text with its temperatures in degrees Fahrenheit.

    >>> in_us_words("Empty: 26.7 degC (80 F), at 35 degC outdoors")
    'Empty: 80 degF, at 95 degF outdoors'
    """
    return DEGC.sub(lambda m: f"{'-'.join(f'{float(each) * 1.8 + 32:.0f}' for each in m.groups() if each)} degF", text)


def unit_of(name: str) -> str | None:
    """The unit that the name of a column ends in, if it is one that is known; what follows `_per_` is always one.

    >>> unit_of("fuel_price_per_therm"), unit_of("floor_area_ft2"), unit_of("name")
    ('therm', 'ft2', None)
    """
    if "_per_" in name:
        return name.rpartition("_per_")[2]
    return next((word for word in sorted(WORDS, key=len, reverse=True) if name.endswith(f"_{word}")), None)


def conversion(name: str) -> Conversion | None:
    """How a column of this name becomes SI; None where its name carries no US unit."""
    return next((c for c in CONVERSIONS if name.endswith(c.us)), None)


def si_name(name: str) -> str:
    """The name of the same quantity in SI: `floor_area_ft2` gives `floor_area_m2`; an SI name stays itself."""
    rule = conversion(name)
    return name if rule is None else name.removesuffix(rule.us) + rule.si


def to_si(values: pl.Expr, name: str) -> pl.Expr:
    """`values` of the column `name` in the SI unit of `si_name(name)`."""
    rule = conversion(name)
    return values if rule is None else values * rule.factor + rule.offset


def from_si(value: float, name: str) -> float:
    """A figure of `si_name(name)` [SI] in the unit that `name` carries."""
    rule = conversion(name)
    return value if rule is None else (value - rule.offset) / rule.factor


def figure_to_us(value: float, si_name: str) -> float:
    """A figure of the SI column `si_name` in the US unit that its column would have."""
    rule = _to_us(si_name)
    return (value - rule.offset) / rule.factor


def to_us(frame: pl.DataFrame) -> pl.DataFrame:
    """The frame with areas, lengths, flows, temperatures and capacities in US units, and their columns renamed.

    Money and energy stay as they are. Columns keep their order.
    """
    return frame.select(_us_column(name) if dtype.is_numeric() else name for name, dtype in frame.schema.items())


def _us_column(name: str) -> pl.Expr:
    if not FOR_PEOPLE.search(name) or STAYS.search(name):
        return pl.col(name)
    rule = _to_us(name)
    us_name = name.removesuffix(rule.si) + rule.us
    return ((pl.col(name) - rule.offset) / rule.factor).alias(us_name)


def _to_us(si_name: str) -> Conversion:
    return next(c for c in CONVERSIONS if si_name.endswith(c.si))
