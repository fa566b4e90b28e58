"""Conditions as people type them: `climate_zone=2A`, `cost_saved>1000`, `name~harbour`.

A condition is read into its parts and checked against the contract of the column it names; what becomes of it is for
others to say.
"""

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from math import inf, isfinite
from typing import TypeVar

from screener.contracts import Field
from screener.errors import UsageError

OPERATORS = ("<=", ">=", "!=", "=", "<", ">", "~")  # longer ones first, as they are looked for
OF_GROUPS = ("string", "boolean")  # kinds of columns that tell groups apart
OF_TEXTS = ("=", "!=", "~")
FORM = re.compile(rf"\s*(?P<column>\w+)\s*(?P<operator>{'|'.join(OPERATORS)})\s*(?P<value>.*?)\s*", re.DOTALL)
HOW = "write COLUMN=VALUE, or != < <= > >= and, for a part of a text, ~"

MANY = 20  # columns told in a message
Read = TypeVar("Read")
Value = str | float | bool | None


@dataclass(frozen=True)
class Condition:
    """`column` `operator` `value`; a value of None stands for an empty cell. Texts are in lower case."""

    column: str
    operator: str
    value: Value


def each(texts: Iterable[str], read: Callable[[str], Read]) -> list[Read]:
    """What `read` makes of every text; UsageError with all that it finds wrong, not only the first."""
    found, faults = [], []
    for text in texts:
        try:
            found.append(read(text))
        except UsageError as fault:
            faults.append(str(fault))
    if faults:
        raise UsageError("\n".join(faults))
    return found


def column(name: str, fields: Mapping[str, Field]) -> str:
    """`name` as the columns in `fields` spell it; UsageError where none is called so."""
    found = name.strip().lower()
    if found in fields:
        return found
    close = get_close_matches(found, fields, n=3, cutoff=0.6)
    all_of_them = ", ".join(fields) if len(fields) <= MANY else "described in the run's datapackage.json"
    hint = f"did you mean {' or '.join(close)}?" if close else f"the columns are {all_of_them}"
    raise UsageError(f'no column is called "{name}"; {hint}')


def condition(text: str, fields: Mapping[str, Field]) -> Condition:
    """The condition that `text` says; `fields` are the columns it may name. UsageError where it says none."""
    parts = FORM.fullmatch(text)
    if parts is None:
        raise UsageError(f'"{text}" is no condition; {HOW}')
    field = fields[column(parts["column"], fields)]
    operator, value = parts["operator"], parts["value"]
    is_number = field.kind in ("number", "integer")
    allowed: Sequence[str] = OPERATORS[:-1] if is_number else OF_TEXTS if field.kind == "string" else OF_TEXTS[:2]
    if operator not in allowed or (not value and operator not in ("=", "!=")):
        what = f"{field.kind} and takes {' '.join(allowed)} with a value"
        raise UsageError(f'"{text}": {field.name} is a {what}; {HOW}')
    return Condition(field.name, operator, _value(text, field, value))


def _value(text: str, field: Field, value: str) -> Value:
    if not value:
        return None
    if field.kind == "string":
        return value.lower()
    if field.kind == "boolean":
        if value.lower() not in ("true", "false"):
            raise UsageError(f'"{text}": {field.name} is true or false; write one of the two')
        return value.lower() == "true"
    try:
        number = float(value)
    except ValueError:
        number = inf
    if not isfinite(number):
        raise UsageError(f'"{text}": {field.name} is a number; write it like 1234.5')
    return number
