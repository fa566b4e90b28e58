"""The cells of a table from text to typed values in SI, whether each was given as it is or converted, and from what."""

from collections.abc import Mapping, Sequence

import polars as pl

from screener import units
from screener.contracts import Contract, Field
from screener.contracts.origins import CONVERTED, GIVEN
from screener.tables import numerals, written
from screener.tables.reading import RawTable

MANY = 5  # words listed in a note
YES, NO = ("yes", "y", "t", "on"), ("no", "n", "f", "off")  # further words for true and false
NUMERIC = ("number", "integer")


class Cells:
    """`values` holds, for every name a column is given under, its typed values in SI as `:<name>`."""

    def __init__(
        self, raw: RawTable, contract: Contract, present: Mapping[str, Sequence[str]], decimal_mark: str | None
    ) -> None:
        self._raw, self._contract, self._present = raw, contract, present
        named = [(name, contract.field(column)) for column, names in present.items() for name in names]
        numeric = [name for name, field in named if field.kind in NUMERIC]
        plain = raw.frame.with_columns(_plainly(name, field).alias(name) for name, field in named)
        read, self._numerals = numerals.numbers(plain, numeric, decimal_mark, raw.separator)
        self._priced = [name for name, field in named if field.money]
        cents = raw.frame.select(written.is_cents(pl.col(name), name).fill_null(False) for name in self._priced)
        self._numbers = read.with_columns(
            pl.when(cents[name]).then(pl.col(name) / 100).otherwise(name).alias(name) for name in self._priced
        )
        texts = {name: _text(pl.col(name), field) for name, field in named if field.kind not in NUMERIC}
        numbers = {name: _number(name, field) for name, field in named if field.kind in NUMERIC}
        words = raw.frame.select("row", *(text.alias(f":{name}") for name, text in texts.items()))
        in_si = self._numbers.select(number.alias(f":{name}") for name, number in numbers.items())
        self.values = words.with_columns(in_si).drop("row")

    @property
    def numbers(self) -> pl.DataFrame:
        """The numeric columns under the names and in the units they are given in; null where a text is no number."""
        return self._numbers

    def given(self) -> pl.DataFrame:
        """Per column of the contract "given", "converted" or null, one row per row of the table."""
        columns = (self._given(field) for field in self._contract.fields)
        return self._raw.frame.with_columns(self.values).with_columns(columns).select(self._contract.columns)

    def _given(self, field: Field) -> pl.Expr:
        own, names = field.name in self._present[field.name], self._present[field.name]
        told = [pl.when(pl.col(field.name).is_not_null()).then(pl.lit(GIVEN))] if own else []
        if own and (changed := _changed(field)) is not None:
            told.insert(0, pl.when(changed).then(pl.lit(CONVERTED)))
        told += [pl.when(pl.col(name).is_not_null()).then(pl.lit(CONVERTED)) for name in names if name != field.name]
        return pl.coalesce(*told, pl.lit(None, dtype=pl.String)).alias(field.name)

    def notes(self) -> list[str]:
        """How numbers and words were read, where there was more than one way to."""
        table, frame = self._contract.name, self._raw.frame
        notes = []
        mark = self._numerals.decimal if self._numerals.decimal == "," else self._numerals.thousands
        what = "decimal commas" if mark == "," == self._numerals.decimal else "commas between thousands"
        if example := self._example(mark):
            notes.append(f'{table}: numbers are read with {what}, as in "{example}"')
        for field in self._contract.fields:
            if field.synonyms and field.name in frame.columns:
                notes += self._synonyms(field)
        for name in self._priced:
            cents = frame.filter(written.is_cents(pl.col(name), name))
            notes += [f'{table}: {name} is read in cents, as in "{cents[name][0]}"'] if cents.height else []
        return notes

    def _example(self, mark: str) -> str | None:
        """The first text with a mark that became a number."""
        for name in self._numbers.columns:
            read = pl.col(name).str.contains(mark, literal=True) & self._numbers[name].is_not_null()
            if (found := self._raw.frame.select(pl.col(name).filter(read).first()).item()) is not None:
                return str(found)
        return None

    def _synonyms(self, field: Field) -> list[str]:
        frame = self._raw.frame.select(field.name).filter(_is_synonym(field))
        read = frame.unique(maintain_order=True).head(MANY)[field.name]
        spelt = read.to_frame().select(word=spelling(pl.col(field.name)))["word"]
        meant = [f'"{word}" as {field.synonyms[plain]}' for word, plain in zip(read, spelt, strict=True)]
        return [f"{self._contract.name}: {field.name} reads {', '.join(meant)}"] if meant else []


def _plainly(name: str, field: Field) -> pl.Expr:
    """A column of texts with prices and hours of the day as plain numbers."""
    if field.money:
        return written.price(pl.col(name), name)
    return written.hour(pl.col(name)) if field.clock else pl.col(name)


def spelling(word: pl.Expr) -> pl.Expr:
    """A category as names are spelt here: lower case, one underscore for spaces, hyphens, dashes, slashes and underscores."""
    return word.str.to_lowercase().str.replace_all(r"[\s\-–—/_]+", "_")


def _number(name: str, field: Field) -> pl.Expr:
    """A column of numbers in SI; integers only where they are whole."""
    value = pl.col(name)
    if field.kind == "integer":
        whole = (value == value.floor()) & (value.abs() < 2**53)
        value = pl.when(whole).then(value).cast(pl.Int64, strict=False)
    return units.to_si(value, name)


def _text(text: pl.Expr, field: Field) -> pl.Expr:
    """A column of texts as its field's type; null where a text is no such thing."""
    if field.kind == "boolean":
        word = text.str.to_lowercase()
        yes, no = (*field.true_values, *YES), (*field.false_values, *NO)
        return pl.when(word.is_in(yes)).then(True).when(word.is_in(no)).then(False)
    if field.name == "postal_code":
        return _postal_code(text)
    if field.enum:
        known = {value.lower(): value for value in field.enum} | dict(field.synonyms)
        return spelling(text).replace_strict(known, default=text, return_dtype=pl.String)
    if field.category:
        return spelling(text).replace(dict(field.synonyms)) if field.synonyms else spelling(text)
    return text


def _postal_code(text: pl.Expr) -> pl.Expr:
    """Five digits: leading zeros a spreadsheet ate are put back, and the extension of ZIP+4 is cut off."""
    short = text.str.replace(r"^(\d{3,5})\.0+$", "${1}").str.replace(r"^(\d{5})(-|[- –]?\d{4})$", "${1}")
    short = short.str.replace(r"^(\d{3,4})[- –]\d{4}$", "${1}")
    return pl.when(short.str.contains(r"^\d{3,4}$")).then(short.str.zfill(5)).otherwise(short)


def _changed(field: Field) -> pl.Expr | None:
    """Where a text given under the field's own name was turned into another."""
    if field.name == "postal_code":
        return pl.col(field.name) != pl.col(f":{field.name}")
    return _is_synonym(field) if field.synonyms else None


def _is_synonym(field: Field) -> pl.Expr:
    return spelling(pl.col(field.name)).is_in(list(field.synonyms))
