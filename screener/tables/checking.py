"""One table against its contract: text into typed SI columns, and every fault of every cell."""

from dataclasses import dataclass

import polars as pl

from screener import units
from screener.contracts import Check, Contract, Field
from screener.errors import FAULT_SCHEMA, no_faults, table_fault
from screener.tables.reading import EXTRA, RawTable

NUMBER = r"^[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?$"
# 1,234.5 and 1,234,567 can only be thousands; 1,234 may be a decimal comma and is not guessed
THOUSANDS = r"^[+-]?[1-9]\d{0,2}((,\d{3})+\.\d+|(,\d{3}){2,})$"
NOT_A = {  # rule and message where a text is not of the field's type
    "number": (
        "not a number",
        "not a plain number; write it like 1234.5, without unit or thousands marks, or leave it empty",
    ),
    "integer": ("not a whole number", "not a whole number; write it like 7, or leave it empty"),
    "boolean": ("not true or false", "neither true nor false; write one of the two"),
}


@dataclass(frozen=True)
class CheckedTable:
    """A table under its contract. All frames have the rows of the file, faulty ones included, in its order.

    `values`: `row` and the contract's columns, typed, SI, null where the cell is at fault.
    `given`: per column "given", "converted" or null. `typed_as`: per column the name and the text the user gave, as
    `<column>:name` and `<column>:text`.
    """

    contract: Contract
    raw: RawTable
    values: pl.DataFrame
    given: pl.DataFrame
    typed_as: pl.DataFrame
    faults: pl.DataFrame


def check(raw: RawTable, contract: Contract) -> CheckedTable:
    """The table typed and in SI, with the faults of its header and of every single cell."""
    frame, faults = raw.frame, [raw.faults, _too_many_cells(raw)]
    values, given, typed_as = [pl.col("row")], [], []
    for field in contract.fields:
        present = [name for name in field.names if name in frame.columns]
        values.append(_combined(field, present))
        given.append(_given(field, present))
        typed_as += _typed_as(field, present)
        faults += [_cell_faults(raw, field, name) for name in present]
        faults.append(_two_units(raw, present))
        if field.required and raw.faults.is_empty():
            faults.append(_missing(raw, field, present))
    # with_columns keeps the number of rows even where every column is a literal
    checked = frame.with_columns(values).select("row", *map(_without_faulty, contract.fields))
    given_as = frame.with_columns(given).select(contract.columns)
    told = frame.with_columns(typed_as).select(expr.meta.output_name() for expr in typed_as)
    faults.append(_duplicates(raw, checked, contract))
    return CheckedTable(contract, raw, checked, given_as, told, pl.concat(faults))


def row_faults(
    table: str, frame: pl.DataFrame, column: str | pl.Expr, rule: str | pl.Expr, value: pl.Expr, message: str | pl.Expr
) -> pl.DataFrame:
    """A fault for each row of `frame`, which has `row` and, for sites, `site_id`."""
    texts = {"table": table, "column": column, "rule": rule, "message": message}
    literal = {name: pl.lit(text) if isinstance(text, str) else text for name, text in texts.items()}
    site = pl.col("site_id") if "site_id" in frame.columns else pl.lit(None)
    columns = literal | {"row": pl.col("row"), "site_id": site, "value": value}
    return frame.select(columns[name].cast(dtype).alias(name) for name, dtype in FAULT_SCHEMA.items())


def parsed(text: pl.Expr, field: Field) -> pl.Expr:
    """Cells as the field's type, in the unit they were typed in; null where the text is no such thing."""
    if field.kind == "boolean":
        word = text.str.to_lowercase()
        return pl.when(word.is_in(field.true_values)).then(True).when(word.is_in(field.false_values)).then(False)
    if field.kind in ("number", "integer"):
        plain = pl.when(text.str.contains(THOUSANDS)).then(text.str.replace_all(",", "")).otherwise(text)
        number = pl.when(plain.str.contains(NUMBER)).then(plain).cast(pl.Float64, strict=False)
        number = pl.when(number.is_finite()).then(number)
        if field.kind == "number":
            return number
        return pl.when((number == number.floor()) & (number.abs() < 2**53)).then(number).cast(pl.Int64, strict=False)
    if field.name == "postal_code":
        return _postal_code(text)
    if field.enum:
        spelling = {value.lower(): value for value in field.enum}
        return text.str.to_lowercase().replace_strict(spelling, default=text, return_dtype=pl.String)
    return text.str.to_lowercase() if field.lower else text


def _postal_code(text: pl.Expr) -> pl.Expr:
    """Five digits: leading zeros a spreadsheet ate are put back, and the extension of ZIP+4 is cut off."""
    short = text.str.replace(r"^(\d{5})-\d{4}$", "${1}")
    return pl.when(short.str.contains(r"^\d{3,4}$")).then(short.str.zfill(5)).otherwise(short)


def _combined(field: Field, present: list[str]) -> pl.Expr:
    """The field in SI, from whichever of its names the row was given under."""
    converted = [units.to_si(parsed(pl.col(name), field), name) for name in present]
    return pl.coalesce(*converted, pl.lit(None)).cast(field.dtype).alias(field.name)


def _without_faulty(field: Field) -> pl.Expr:
    broken = [check.broken for check in field.checks()]
    good = pl.when(~pl.any_horizontal(broken)).then(field.name) if broken else pl.col(field.name)
    return good.alias(field.name)


def _given(field: Field, present: list[str]) -> pl.Expr:
    own = [name for name in present if name == field.name]
    given = [pl.when(pl.col(name).is_not_null()).then(pl.lit("given")) for name in own]
    if field.name == "postal_code" and own:
        changed = pl.col(field.name) != parsed(pl.col(field.name), field)
        given.insert(0, pl.when(changed).then(pl.lit("converted")))
    other = [pl.when(pl.col(name).is_not_null()).then(pl.lit("converted")) for name in present if name not in own]
    return pl.coalesce(*given, *other, pl.lit(None, dtype=pl.String)).alias(field.name)


def _typed_as(field: Field, present: list[str]) -> list[pl.Expr]:
    names = [pl.when(pl.col(name).is_not_null()).then(pl.lit(name)) for name in present]
    texts = [pl.col(name) for name in present]
    nothing = pl.lit(None, dtype=pl.String)
    return [
        pl.coalesce(*names, nothing).alias(f"{field.name}:name"),
        pl.coalesce(*texts, nothing).alias(f"{field.name}:text"),
    ]


def _cells(raw: RawTable, **more: pl.Expr) -> pl.DataFrame:
    """Row and site of a raw table with some columns computed from its texts."""
    site = [pl.col("site_id")] if raw.name == "sites" and "site_id" in raw.frame.columns else []
    return raw.frame.select("row", *site, **more)


def _cell_faults(raw: RawTable, field: Field, name: str) -> pl.DataFrame:
    """Faults of the cells under one name: not of the type, or breaking a rule of the contract."""
    text, value = pl.col(":text"), pl.col(field.name)
    frame = _cells(raw, **{":text": pl.col(name)}).filter(text.is_not_null())
    frame = frame.with_columns(units.to_si(parsed(text, field), name).alias(field.name))
    checks = list(field.checks(given_as=name))
    if field.kind in NOT_A:
        rule, message = NOT_A[field.kind]
        checks.insert(0, Check(name, rule, value.is_null(), message))
    found = [row_faults(raw.name, frame.filter(c.broken), name, c.rule, text, c.message) for c in checks]
    return pl.concat([no_faults(), *found])


def _two_units(raw: RawTable, present: list[str]) -> pl.DataFrame:
    if len(present) < 2:
        return no_faults()
    values = pl.concat_str(present, separator=" and ", ignore_nulls=True)
    names = [pl.when(pl.col(name).is_not_null()).then(pl.lit(name)) for name in present]
    columns = pl.concat_str(names, separator=", ", ignore_nulls=True)
    count = pl.sum_horizontal(pl.col(name).is_not_null() for name in present)
    frame = _cells(raw, columns=columns, values=values, count=count).filter(pl.col("count") > 1)
    message = "given in two units at once; keep one of them"
    return row_faults(raw.name, frame, pl.col("columns"), "two units at once", pl.col("values"), message)


def _missing(raw: RawTable, field: Field, present: list[str]) -> pl.DataFrame:
    names = " or ".join(field.names)
    if not present:
        message = f"{raw.name} has no column {names}; add it, every row needs it"
        return table_fault(raw.name, "missing column", message, field.name)
    frame = raw.frame.filter(pl.all_horizontal(pl.col(name).is_null() for name in present))
    frame = frame.select("row", *[c for c in ("site_id",) if raw.name == "sites" and c in frame.columns])
    message = f"empty; every row of {raw.name} needs {names}"
    return row_faults(raw.name, frame, present[0], "missing value", pl.lit(None), message)


def _duplicates(raw: RawTable, values: pl.DataFrame, contract: Contract) -> pl.DataFrame:
    """Rows that share their key: all of them are at fault, since none can be told to be the right one."""
    if not contract.primary_key or contract.primary_key[0] not in raw.frame.columns:
        return no_faults()
    key = contract.primary_key[0]
    twice = values.select("row", key).filter(pl.col(key).is_not_null() & pl.col(key).is_duplicated())
    rows = pl.col("row").cast(pl.String).str.join(", ").over(key)
    frame = twice.with_columns(rows=rows)
    message = pl.concat_str(pl.lit("stands in rows "), "rows", pl.lit(f"; give every row its own {key}"))
    return row_faults(raw.name, frame, key, "duplicate", pl.col(key), message)


def _too_many_cells(raw: RawTable) -> pl.DataFrame:
    """Cells to the right of the header: the sign of a comma inside a text that was not quoted."""
    extra = [name for name in raw.frame.columns if name.startswith(EXTRA)]
    if not extra:
        return no_faults()
    value = pl.concat_str(extra, separator=", ", ignore_nulls=True)
    frame = _cells(raw, value=value, extra=pl.any_horizontal(pl.col(extra).is_not_null())).filter("extra")
    message = "cells beyond the header; put texts that contain commas in double quotes"
    return row_faults(raw.name, frame, pl.lit(None), "too many cells", pl.col("value"), message)
