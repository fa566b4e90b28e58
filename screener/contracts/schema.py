"""What every table must look like: the Table Schema files of `schemas/`, compiled to Polars.

A contract is the single definition of a table's columns, units, bounds and meaning, read by code and documentation
alike. Keys beyond the open standard: `unit` and `source` (texts), `alternatives` (names of the same quantity in other
units), `category` (true: a name, compared in lower case with underscores for spaces, hyphens and slashes; so is every
`enum`), `synonyms` (other words for a category, so spelt, and the name they stand for), `money` (true: also read with a
sign of currency, or as cents) and `clock` (true: an hour, also read as 12:00 or 12 PM).
"""

import hashlib
import json
from collections.abc import Container, Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path
from typing import Any

import polars as pl

from screener import units

PACKAGE = Path(__file__).parents[1]
FOLDERS = (PACKAGE / "schemas", PACKAGE.parent / "schemas")  # inside a wheel; in a checkout or editable install
PLACEHOLDER = "placeholder"  # how the note on a shipped investment begins, until a quotation replaces both
DTYPES: Mapping[str, type[pl.DataType]] = {
    "string": pl.String,
    "number": pl.Float64,
    "integer": pl.Int64,
    "boolean": pl.Boolean,
}


@dataclass(frozen=True)
class ColumnRule:
    """A rule of one column: `broken` is true for a value (typed, SI) that breaks it; `message` ends in the way out."""

    column: str
    rule: str
    broken: pl.Expr
    message: str


@dataclass(frozen=True)
class Field:
    """One column of a contract, under its SI name; bounds are in `unit`."""

    name: str
    kind: str
    description: str
    unit: str | None = None
    source: str | None = None
    title: str | None = None
    example: Any = None
    alternatives: tuple[str, ...] = ()
    category: bool = False
    synonyms: Mapping[str, str] = field(default_factory=dict)
    money: bool = False
    clock: bool = False
    constraints: Mapping[str, Any] | None = None
    true_values: tuple[str, ...] = ("true", "1")
    false_values: tuple[str, ...] = ("false", "0")

    @property
    def names(self) -> tuple[str, ...]:
        """Every name the column may have in a file."""
        return (self.name, *self.alternatives)

    @property
    def dtype(self) -> type[pl.DataType]:
        """Its Polars type."""
        return DTYPES[self.kind]

    @property
    def required(self) -> bool:
        """Whether every row needs a value."""
        return bool(self._constraint("required"))

    @property
    def enum(self) -> tuple[str, ...]:
        """The only values allowed; empty where any is."""
        return tuple(self._constraint("enum") or ())

    def rules(self, given_as: str | None = None, value: pl.Expr | None = None) -> list[ColumnRule]:
        """Rules of a value, with bounds told in the unit of `given_as` (one of `names`); nulls break none.

        The value is the column of the field's name unless another expression is given.
        """
        name, value = given_as or self.name, pl.col(self.name) if value is None else value
        rules = [
            ColumnRule(name, rule, broken, f"{name} takes {self.span(name)}; check the figure and its unit")
            for rule, broken in self._bounds(value)
        ]
        if self.enum:
            known = ", ".join(self.enum)
            rules.append(ColumnRule(name, "unknown value", ~value.is_in(self.enum), f"not known; use one of {known}"))
        if self.pattern:
            message = f"not of the form {self.pattern}; write it like {self.example}"
            rules.append(ColumnRule(name, "wrong form", ~value.str.contains(f"^(?:{self.pattern})$"), message))
        return rules

    def _bounds(self, value: pl.Expr) -> list[tuple[str, pl.Expr]]:
        """ColumnRule and breach of each bound, with room for the rounding of a conversion."""
        room = 1e-9
        low, high = self._constraint("minimum"), self._constraint("maximum")
        above, below = self._constraint("exclusiveMinimum"), self._constraint("exclusiveMaximum")
        bounds = [
            ("too small", None if low is None else value < low - room * max(1, abs(low))),
            ("too small", None if above is None else value <= above),
            ("too large", None if high is None else value > high + room * max(1, abs(high))),
            ("too large", None if below is None else value >= below),
        ]
        return [(rule, broken) for rule, broken in bounds if broken is not None]

    @property
    def pattern(self) -> str | None:
        """The form every text must have, a regular expression."""
        pattern: str | None = self._constraint("pattern")
        return pattern

    def unit_in(self, name: str) -> str | None:
        """The unit of a figure given under one of `names`, as people tell it."""
        rule = units.conversion(name)
        return self.unit if rule is None or name == self.name else units.TOLD.get(rule.us, self.unit)

    def example_in(self, name: str) -> Any:
        """The example in the unit of one of `names`, to three figures; texts as they are."""
        is_other = self.example is not None and name != self.name and units.conversion(name)
        return float(f"{units.from_si(float(self.example), name):.3g}") if is_other else self.example

    def span(self, name: str) -> str:
        """The bounds in words, in the unit of `name`; empty where there are none."""

        def told(key: str) -> str:
            return _figure(units.from_si(float(self._constraint(key)), name))

        keys = set(self.constraints or ())
        if {"minimum", "maximum"} <= keys:
            return f"{told('minimum')} to {told('maximum')}"
        words = {"minimum": "{} or more", "exclusiveMinimum": "more than {}", "maximum": "{} or less"}
        words["exclusiveMaximum"] = "less than {}"
        return ", ".join(text.format(told(key)) for key, text in words.items() if key in keys)

    def _constraint(self, key: str) -> Any:
        return (self.constraints or {}).get(key)


@dataclass(frozen=True)
class ForeignKey:
    """`column` holds values of `reference_column` in the table `reference`."""

    column: str
    reference: str
    reference_column: str


@dataclass(frozen=True)
class Contract:
    """A table's definition."""

    name: str
    title: str
    description: str
    fields: tuple[Field, ...]
    primary_key: tuple[str, ...]
    foreign_keys: tuple[ForeignKey, ...]

    @property
    def columns(self) -> list[str]:
        """The columns in order, under their SI names."""
        return [field.name for field in self.fields]

    def field(self, name: str) -> Field:
        """The field of this SI name: KeyError if there is none."""
        for each in self.fields:
            if each.name == name:
                return each
        raise KeyError(f"the contract {self.name} has no field {name}")

    def without_synonyms(self, name: str, own: Container[str]) -> "Contract":
        """The contract without those synonyms of a field that a portfolio uses for something of its own."""
        kept = {word: meant for word, meant in self.field(name).synonyms.items() if word not in own}
        fields = (replace(each, synonyms=kept) if each.name == name else each for each in self.fields)
        return replace(self, fields=tuple(fields))

    def polars_schema(self) -> dict[str, type[pl.DataType]]:
        """Column names and Polars types."""
        return {field.name: field.dtype for field in self.fields}

    def rules(self) -> list[ColumnRule]:
        """Every rule of every column, for a frame in SI."""
        return [rule for field in self.fields for rule in field.rules()]


def path(name: str) -> Path:
    """The schema file of a table: FileNotFoundError if the program has none of that name."""
    for folder in FOLDERS:
        if (file := folder / f"{name}.json").is_file():
            return file
    raise FileNotFoundError(f"no schema {name}.json in {' or '.join(map(str, FOLDERS))}")


@cache
def load(name: str) -> Contract:
    """The contract of a table, by the name of its schema file."""
    schema = read(name)
    key = schema.get("primaryKey", [])
    links = tuple(
        ForeignKey(link["fields"][0], link["reference"]["resource"], link["reference"]["fields"][0])
        for link in schema.get("foreignKeys", [])
    )
    return Contract(
        name=name,
        title=schema.get("title", name),
        description=schema.get("description", ""),
        fields=tuple(_field(_inherited(links, field) | field) for field in schema["fields"]),
        primary_key=(key,) if isinstance(key, str) else tuple(key),
        foreign_keys=links,
    )


def read(name: str) -> dict[str, Any]:
    """The schema file of a table as it stands."""
    schema: dict[str, Any] = json.loads(path(name).read_text(encoding="utf-8"))
    return schema


@cache
def digest() -> str:
    """The SHA-256 digest of all schema files together: runs written with others have other columns."""
    files = sorted(path("sites").parent.glob("*.json"))
    texts = "".join(f"{file.name} {hashlib.sha256(file.read_bytes()).hexdigest()}" for file in files)
    return hashlib.sha256(texts.encode()).hexdigest()


def _inherited(links: Iterable[ForeignKey], field: Mapping[str, Any]) -> dict[str, Any]:
    """Synonyms of a column that names rows of another table: those of the names themselves."""
    link = next((link for link in links if link.column == field["name"]), None)
    if link is None:
        return {}
    names = next(each for each in read(link.reference)["fields"] if each["name"] == link.reference_column)
    return {key: names[key] for key in ("synonyms",) if key in names}


def conform(frame: pl.DataFrame, name: str) -> pl.DataFrame:
    """An output table as its contract says: its columns only, in its order and types.

    KeyError where a column is missing: a fault of the program, not of the user's.
    """
    contract = load(name)
    if missing := [column for column in contract.columns if column not in frame.columns]:
        raise KeyError(f"the table {name} lacks {', '.join(missing)}, which its contract promises")
    return frame.select(pl.col(column).cast(dtype) for column, dtype in contract.polars_schema().items())


def _figure(value: float) -> str:
    """A bound as people write it, six figures at most."""
    return f"{value:.6g}" if abs(value) < 1e6 else f"{value:,.0f}".replace(",", " ")


def _field(field: Mapping[str, Any]) -> Field:
    return Field(
        name=field["name"],
        kind=field["type"],
        description=field.get("description", ""),
        unit=field.get("unit"),
        source=field.get("source"),
        title=field.get("title"),
        example=field.get("example"),
        alternatives=tuple(field.get("alternatives", ())),
        category=field.get("category", False),
        synonyms=field.get("synonyms", {}),
        money=field.get("money", False),
        clock=field.get("clock", False),
        constraints=field.get("constraints"),
        true_values=tuple(field.get("trueValues", ("true", "1"))),
        false_values=tuple(field.get("falseValues", ("false", "0"))),
    )
