"""The settings of a portfolio: `portfolio.toml`, every key optional."""

import tomllib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, fields
from difflib import get_close_matches
from pathlib import Path
from typing import Any

import polars as pl

from screener.calendar import Dates, dates
from screener.contracts.limits import HOLDING_H, HOLDING_K
from screener.errors import no_faults, table_fault

FILE = "portfolio.toml"
MOST_BYTES = 20_000


@dataclass(frozen=True)
class Settings:
    """What holds for the whole portfolio; the values here are the defaults."""

    name: str = "portfolio"
    currency: str = "USD"
    discount_rate: float = 0.03  # real, a year; the US federal rate for energy projects in recent years, from memory
    rates: str = "real"  # or "nominal": with general inflation in the discount rate and the escalations
    inflation: float | None = None  # a year; asked for by nominal rates, and by them only
    electricity_escalation: float | None = None  # a year, in the terms of `rates`; None: like other prices
    fuel_escalation: float | None = None
    study_years: int = 15
    electricity_kg_co2_per_kwh: float = 0.37  # US mean of about 2022, from memory [EPA eGRID]
    fuel_kg_co2_per_kwh: float = 0.181  # natural gas, 53.06 kg/MMBtu [40 CFR 98 table C-1]
    holding_tolerance_h: float = HOLDING_H  # more above the limit than today
    holding_tolerance_k: float = HOLDING_K  # or so much of dew point
    count_case_savings: bool = False  # what drier air spares display cases counts among what a change saves
    without_equipment_competes: bool = (
        False  # changes without equipment may be the best strategy; else they stand beside
    )
    decimal_mark: str | None = None  # of numbers in CSV tables; None: told by the numbers themselves
    calendar_year: int | None = None  # whose weekdays weather without dates takes; None: 1 January is a Monday
    holidays: Sequence[str] = ()  # month and day, 12-25

    @property
    def dates(self) -> Dates:
        """The calendar of weather without dates, and the holidays of all."""
        return Dates(self.calendar_year, tuple(self.holidays))


RULES: Mapping[str, tuple[Callable[[Any], bool], str]] = {
    "name": (lambda v: isinstance(v, str), "a text in quotes"),
    "currency": (lambda v: isinstance(v, str) and 0 < len(v) <= 10, 'a short text in quotes, such as "USD"'),
    "discount_rate": (lambda v: _number(v, 0, 0.5), "a number from 0 to 0.5, such as 0.03 for 3 %"),
    "rates": (lambda v: v in ("real", "nominal"), '"real" or "nominal"'),
    "inflation": (lambda v: _number(v, -0.05, 0.5), "a number from -0.05 to 0.5, such as 0.02 for 2 %"),
    "electricity_escalation": (lambda v: _number(v, -0.2, 0.5), "a number from -0.2 to 0.5, such as 0.01 for 1 %"),
    "fuel_escalation": (lambda v: _number(v, -0.2, 0.5), "a number from -0.2 to 0.5, such as 0.01 for 1 %"),
    "study_years": (lambda v: _number(v, 1, 60) and isinstance(v, int), "a whole number from 1 to 60"),
    "electricity_kg_co2_per_kwh": (lambda v: _number(v, 0, 2), "a number from 0 to 2"),
    "fuel_kg_co2_per_kwh": (lambda v: _number(v, 0, 1), "a number from 0 to 1"),
    "holding_tolerance_h": (lambda v: _number(v, 0, 8784), "hours a year from 0 to 8784, such as 35"),
    "holding_tolerance_k": (lambda v: _number(v, 0, 5), "kelvins from 0 to 5, such as 0.3"),
    "count_case_savings": (lambda v: isinstance(v, bool), "true or false"),
    "without_equipment_competes": (lambda v: isinstance(v, bool), "true or false"),
    "decimal_mark": (lambda v: v in (".", ","), '"." or ","'),
    "calendar_year": (lambda v: _number(v, 1900, 2200) and isinstance(v, int), "a year, such as 2026"),
    "holidays": (lambda v: _days_of_the_year(v), 'a list of months and days, such as ["01-01", "12-25"]'),
}


def read_settings(folder: Path) -> tuple[Settings, pl.DataFrame]:
    """The settings of a portfolio folder and the faults of its file; a key at fault keeps its default."""
    file = folder / FILE
    if not file.is_file():
        return Settings(name=folder.resolve().name), no_faults()
    try:
        found = _found(file)
    except OSError as problem:
        message = f"{FILE} cannot be opened ({problem.strerror}); check that it may be read"
        return Settings(), table_fault(FILE, "unreadable file", message)
    except UnicodeDecodeError:
        message = f"{FILE} is not UTF-8 text; save it as UTF-8"
        return Settings(), table_fault(FILE, "wrong encoding", message)
    except tomllib.TOMLDecodeError as problem:
        message = f'not valid TOML: {problem}; write one key = value a line, texts in "quotes"'
        return Settings(), table_fault(FILE, "unreadable file", message)
    except (ValueError, RecursionError):
        message = "holds a number of thousands of digits, or lists in lists in lists; write one key = value a line"
        return Settings(), table_fault(FILE, "unreadable file", message)
    faults = [*(_fault(key, value) for key, value in found.items()), _inflation_fault(found)]
    good = {key: value for key, value in found.items() if key in RULES and RULES[key][0](value)}
    return Settings(**({"name": folder.resolve().name} | good)), pl.concat([no_faults(), *faults])


def names_currency(folder: Path) -> bool:
    """Whether the settings of a portfolio folder, once they were read, say what its money is in."""
    file = folder / FILE
    return file.is_file() and "currency" in _found(file)


def _found(file: Path) -> dict[str, Any]:
    """What a settings file says. ValueError or RecursionError where that is no TOML."""
    if (size := file.stat().st_size) > MOST_BYTES:
        raise tomllib.TOMLDecodeError(f"{size:,} bytes, more than the {MOST_BYTES:,} of any settings")
    return tomllib.loads(file.read_bytes().decode("utf-8-sig"))


def _fault(key: str, value: object) -> pl.DataFrame:
    if key not in RULES:
        known = [field.name for field in fields(Settings)]
        close = get_close_matches(key, known, n=1)
        way_out = f'did you mean "{close[0]}"?' if close else f"known settings are {', '.join(known)}"
        return table_fault(FILE, "unknown setting", f"not a setting; {way_out}", key, _shown(value))
    allowed, what = RULES[key]
    if allowed(value):
        return no_faults()
    return table_fault(FILE, "bad setting", f"not possible here; give {what}", key, _shown(value))


def _inflation_fault(found: Mapping[str, Any]) -> pl.DataFrame:
    """Inflation where the rates leave it out, or nominal rates that do not say what is in them."""
    if found.get("rates") == "nominal" and "inflation" not in found:
        way_out = 'nominal rates hold general inflation; give it, such as inflation = 0.02, or write rates = "real"'
        return table_fault(FILE, "missing setting", way_out, "inflation")
    if found.get("rates", "real") == "real" and "inflation" in found:
        way_out = 'real rates leave general inflation out; remove it, or write rates = "nominal"'
        return table_fault(FILE, "two settings at odds", way_out, "inflation", _shown(found["inflation"]))
    return no_faults()


def _shown(value: object) -> str:
    """A value as text, but for one that Python does not write: thousands of digits, or hundreds of tables in one another."""
    try:
        return str(value)
    except (ValueError, RecursionError):
        return "..."


def _days_of_the_year(value: object) -> bool:
    return isinstance(value, list) and all(isinstance(each, str) and dates(each) for each in value)


def _number(value: object, low: float, high: float) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and low <= value <= high
