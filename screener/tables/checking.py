"""One table against its contract: text into typed SI columns, and every fault of every cell."""

from collections.abc import Mapping
from dataclasses import dataclass

import polars as pl

from screener.contracts import Contract, Field
from screener.errors import FAULT_SCHEMA, no_faults, table_fault
from screener.tables.cells import Cells
from screener.tables.files import MOST_CHARACTERS
from screener.tables.numerals import TWO_MEANINGS
from screener.tables.reading import EXTRA, MANY, RawTable

NOT_A = {  # rule and message where a text is not of the field's type
    "number": (
        "not a number",
        "not a plain number; write it like 1234.5, without unit or thousands marks, or leave it empty",
    ),
    "integer": ("not a whole number", "not a whole number; write it like 7, or leave it empty"),
    "boolean": ("not true or false", "neither true nor false; write one of the two"),
}
BLANKS_IN = "sites"  # the table that is exported as it is: tariffs and the like are written for this program
TOLD = ("state",)  # columns that tell people more than the program
UNREADABLE = {rule for rule, _ in NOT_A.values()}
UNCLEAR = (
    "its mark may be a decimal mark or part thousands, and no other number of the table tells; "
    'write it without the mark, or state decimal_mark = "." or "," in portfolio.toml'
)


@dataclass(frozen=True)
class CheckedTable:
    """A table under its contract. All frames have the rows of the file, faulty ones included, in its order.

    `values`: `row` and the contract's columns, typed, SI, null where the cell is at fault. `blanked`: faults of cells of
    sites that may stay empty and cannot be read, which are taken for empty.
    """

    contract: Contract
    raw: RawTable
    cells: Cells
    values: pl.DataFrame
    faults: pl.DataFrame
    blanked: pl.DataFrame

    @property
    def notes(self) -> list[str]:
        """How numbers and words were read, where there was more than one way to."""
        return self.cells.notes()

    @property
    def given(self) -> pl.DataFrame:
        """Per column "given", "converted" or null."""
        return self.cells.given()

    def told(self, *columns: str) -> pl.DataFrame:
        """Values of some columns beside the names and texts they were given as, `<column>:name` and `<column>:text`."""
        site = ["site_id"] if self.contract.name == "sites" and "site_id" not in columns else []
        texts = [part for column in columns for part in self._typed_as(column)]
        return self.values.select("row", *site, *columns).with_columns(self.raw.frame.select("row", *texts).drop("row"))

    def _typed_as(self, column: str) -> list[pl.Expr]:
        present = _present(self.contract.field(column), self.raw)
        names = [pl.when(pl.col(name).is_not_null()).then(pl.lit(name)) for name in present]
        nothing = pl.lit(None, dtype=pl.String)
        parts = {"name": pl.coalesce(*names, nothing), "text": pl.coalesce(*present, nothing)}
        return [part.alias(f"{column}:{what}") for what, part in parts.items()]


@dataclass(frozen=True)
class Rule:
    """What must not be: `broken` is true for a row of the table's texts (and values, as `:name`) that breaks it."""

    column: str | pl.Expr
    name: str
    broken: pl.Expr
    value: pl.Expr
    message: str | pl.Expr


def checked(raw: RawTable, contract: Contract, decimal_mark: str | None = None) -> CheckedTable:
    """The table typed and in SI, with the faults of its header and of every single cell.

    `decimal_mark` is the one the user states; otherwise it is told by the numbers themselves.
    """
    present = {field.name: _present(field, raw) for field in contract.fields}
    cells = Cells(raw, contract, present, decimal_mark)
    frame = raw.frame.with_columns(cells.values)
    rules = [*_row_rules(raw), *(rule for field in contract.fields for rule in _rules(raw, field, present[field.name]))]
    broken = frame.select(rule.broken.fill_null(False).alias(str(i)) for i, rule in enumerate(rules))
    at_fault = [i for i, any_broken in enumerate(broken.select(pl.all().any()).row(0)) if any_broken] if rules else []
    faults = [raw.faults, *_missing_columns(raw, contract, present)]
    blanked = [no_faults()]
    for i in at_fault:
        rule = rules[i]
        found = row_faults(raw.name, frame.filter(broken[str(i)]), rule.column, rule.name, rule.value, rule.message)
        # an error of a spreadsheet, or what it made a date of, stands for a figure
        meant = pl.col("value").str.contains(r"^(#|\d{4}-\d\d-\d\d)").fill_null(False)
        if _may_be_blank(contract, rule):
            blanked.append(found.filter(~meant))
            found = found.filter(meant)
        faults.append(found)
    values = frame.select("row", *(_combined(field, present[field.name]) for field in contract.fields))
    values = values.with_columns(_without_faulty(contract, values, at_fault))
    faults.append(_duplicates(raw, values, contract))
    return CheckedTable(contract, raw, cells, values, pl.concat(faults), pl.concat(blanked))


def _may_be_blank(contract: Contract, rule: Rule) -> bool:
    """Whether a rule is of a cell of a site that cannot be read and may as well stay empty."""
    told = isinstance(rule.column, str) and rule.column in TOLD
    if contract.name != BLANKS_IN or not (told or rule.name in UNREADABLE):
        return False
    return any(rule.column in field.names and not field.required for field in contract.fields)


def row_faults(
    table: str, frame: pl.DataFrame, column: str | pl.Expr, rule: str | pl.Expr, value: pl.Expr, message: str | pl.Expr
) -> pl.DataFrame:
    """A fault for each row of `frame`, which has `row` and, for sites, `site_id`."""
    if frame.is_empty():
        return no_faults()
    texts: Mapping[str, str | pl.Expr] = {"table": table, "column": column, "rule": rule, "message": message}
    literal = {name: pl.lit(text) if isinstance(text, str) else text for name, text in texts.items()}
    site = pl.col("site_id") if table == "sites" and "site_id" in frame.columns else pl.lit(None)
    columns = literal | {"row": pl.col("row"), "site_id": site, "value": value}
    return frame.select(columns[name].cast(dtype).alias(name) for name, dtype in FAULT_SCHEMA.items())


def _present(field: Field, raw: RawTable) -> list[str]:
    return [name for name in field.names if name in raw.frame.columns]


def _row_rules(raw: RawTable) -> list[Rule]:
    """Rules of whole rows: no cells beyond the header, the sign of a comma in an unquoted text, and none too long."""
    shown = [
        Rule(
            pl.lit(name),
            "cell too long",
            pl.nth(at).str.len_bytes() > MOST_CHARACTERS,
            pl.nth(at).str.head(20),
            f"more than {MOST_CHARACTERS:,} bytes; shorten the text",
        )
        for at, name in enumerate(raw.frame.columns)  # by number: a name may be any text, also a pattern
        if name != "row"
    ]
    extra = [name for name in raw.frame.columns if name.startswith(EXTRA)]
    if extra:
        message = "cells beyond the header; put texts that contain commas in double quotes"
        surplus = pl.concat_str(extra, separator=", ", ignore_nulls=True)
        there = pl.any_horizontal(pl.col(extra).is_not_null())
        shown.append(Rule(pl.lit(None), "too many cells", there, surplus, message))
    return shown


def _rules(raw: RawTable, field: Field, present: list[str]) -> list[Rule]:
    """Every rule of a field, for each of the names it is given under."""
    rules = []
    for name in present:
        text, value = pl.col(name), pl.col(f":{name}")
        rules += _type_rules(name, field, text, text.is_not_null() & value.is_null())
        rules += [
            Rule(name, each.rule, each.broken, text, each.message) for each in field.rules(given_as=name, value=value)
        ]
    if len(present) > 1:
        rules.append(_two_units(present))
    if field.required and present and raw.faults.is_empty():
        message = f"empty; every row of {raw.name} needs {' or '.join(field.names)}"
        empty = pl.all_horizontal(pl.col(name).is_null() for name in present)
        rules.append(Rule(present[0], "missing value", empty, pl.lit(None), message))
    return rules


def _type_rules(name: str, field: Field, text: pl.Expr, unread: pl.Expr) -> list[Rule]:
    """Texts that are no number, or may be two; no whole number; neither true nor false."""
    if field.kind not in NOT_A:
        return []
    rule, message = NOT_A[field.kind]
    if field.kind == "boolean":
        return [Rule(name, rule, unread, text, message)]
    unclear = text.str.contains(TWO_MEANINGS)
    return [
        Rule(name, rule, unread & ~unclear, text, message),
        Rule(name, "number of two meanings", unread & unclear, text, UNCLEAR),
    ]


def _two_units(present: list[str]) -> Rule:
    names = [pl.when(pl.col(name).is_not_null()).then(pl.lit(name)) for name in present]
    columns = pl.concat_str(names, separator=", ", ignore_nulls=True)
    values = pl.concat_str(present, separator=" and ", ignore_nulls=True)
    several = pl.sum_horizontal(pl.col(name).is_not_null() for name in present) > 1
    return Rule(columns, "two units at once", several, values, "given in two units at once; keep one of them")


def _missing_columns(raw: RawTable, contract: Contract, present: Mapping[str, list[str]]) -> list[pl.DataFrame]:
    if not raw.faults.is_empty():
        return []
    lacking = [field for field in contract.fields if field.required and not present[field.name]]
    message = "{} has no column {}; add it, every row needs it"
    return [
        table_fault(raw.name, "missing column", message.format(raw.name, " or ".join(field.names)), field.name)
        for field in lacking
    ]


def _combined(field: Field, present: list[str]) -> pl.Expr:
    """The field in SI, from whichever of its names the row was given under."""
    return pl.coalesce(*(f":{name}" for name in present), pl.lit(None)).cast(field.dtype).alias(field.name)


def _without_faulty(contract: Contract, values: pl.DataFrame, at_fault: list[int]) -> list[pl.Expr]:
    """The columns with nulls for values that break a rule."""
    if not at_fault:
        return []
    bad = {field.name: [rule.broken for rule in field.rules()] for field in contract.fields}
    return [pl.when(~pl.any_horizontal(broken)).then(name).alias(name) for name, broken in bad.items() if broken]


def rows_of(*key: str) -> pl.Expr:
    """The numbers of the rows that share a key: a few of them, and how many more there are."""
    more = pl.len().cast(pl.Int64) - MANY
    first = pl.col("row").head(MANY).cast(pl.String).str.join(", ")
    rest = pl.when(more > 0).then(pl.format(" and {} more", more)).otherwise(pl.lit(""))
    return pl.concat_str(first, rest).over(*key)


def _duplicates(raw: RawTable, values: pl.DataFrame, contract: Contract) -> pl.DataFrame:
    """Rows that share their key: all of them are at fault, since none can be told to be the right one."""
    if not contract.primary_key or contract.primary_key[0] not in raw.frame.columns:
        return no_faults()
    key = contract.primary_key[0]
    twice = values.select("row", key).filter(pl.col(key).is_not_null() & pl.col(key).is_duplicated())
    frame = twice.with_columns(rows=rows_of(key))
    message = pl.concat_str(pl.lit("stands in rows "), "rows", pl.lit(f"; give every row its own {key}"))
    return row_faults(raw.name, frame, key, "duplicate", pl.col(key), message)
