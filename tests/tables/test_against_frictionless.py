"""The same faulty cells as an independent implementation of Table Schema finds: the frictionless library.

Every cell of a good row is replaced, one at a time, by texts that people and machines write. Where the two disagree, the
difference is one of those listed here, and each of them is met at least once.
"""

from collections.abc import Callable

import pytest
from frictionless import Resource

from screener import contracts
from screener.contracts import Field, load
from screener.errors import no_faults
from screener.tables.checking import checked
from screener.tables.portfolio import TABLES
from screener.tables.reading import RawTable

TEXTS = ["", "0", "-0", "1", "-1", "+1", "7", "7.0", "7.5", ".5", "5.", "24", "25", "41", "1e2", "1E5", "-1e9", "1e400"]
TEXTS += [
    "9" * 30,
    "nan",
    "NaN",
    "inf",
    "-inf",
    "INF",
    "1,234.5",
    "1,234",
    "1,5",
    "1_000",
    "0x10",
    "1 000",
    "50%",
    "$5",
    "1/2",
]
TEXTS += [
    "abc",
    "true",
    "TRUE",
    "false",
    "Yes",
    "no",
    "1.0",
    "fuel",
    "FUEL",
    "gas",
    "2A",
    "2a",
    "9Z",
    "00601",
    "601",
    "1234",
]
TEXTS += [
    "ABCDE",
    "02138-1234",
    "123456",
    "#REF!",
    "=1+1",
    "null",
    "n/a",
    "-",
    "٣",
    "é",
    "office",
    "Office",
    "2024-01-01",
]

PROFILE = "https://datapackage.org/profiles/2.0/dataresource.json"
Cell = tuple[int, str]


def tables(name: str) -> tuple[list[str], list[list[str]]]:
    """Header, and a row for every column and text: the examples of the contract with that one cell replaced."""
    contract = load(name)
    header = contract.columns
    good = ["" if f.example is None else str(f.example) for f in contract.fields]
    key = header.index(contract.primary_key[0]) if contract.primary_key else None
    rows = []
    for column in range(len(header)):
        for text in TEXTS:
            row = [*good]
            if key is not None:
                row[key] = f"K{len(rows)}"
            row[column] = text if column != key else f"{text}K{len(rows)}" if text else ""
            rows.append(row)
    return header, rows


def ours(name: str, header: list[str], rows: list[list[str]]) -> set[Cell]:
    import polars as pl

    cells = pl.DataFrame(
        [[cell.strip() or None for cell in row] for row in rows], schema=dict.fromkeys(header, pl.String), orient="row"
    )
    frame = cells.with_row_index("row", offset=2).cast({"row": pl.Int64})
    table = checked(RawTable(name, frame, no_faults(), separator=","), load(name))
    faults = pl.concat([table.faults, table.blanked])
    return set(faults.select("row", "column").rows())


def theirs(name: str, header: list[str], rows: list[list[str]]) -> set[Cell]:
    schema = contracts.read(name) | {"foreignKeys": []}
    resource = Resource.from_descriptor({"$schema": PROFILE, "name": name, "data": [header, *rows], "schema": schema})
    report = resource.validate(limit_errors=len(rows) * len(header))
    errors = report.tasks[0].errors
    return {(e.row_number, e.field_name) if hasattr(e, "field_name") else (e.row_number, header[0]) for e in errors}


NUMERIC = ("number", "integer")
# What the two read differently on purpose: where it may be, and which of them finds fault.
DIFFERENCES: dict[str, tuple[str, Callable[[Field, str], bool]]] = {
    "underscores are no part of a number": ("ours", lambda f, text: f.kind in NUMERIC and text == "1_000"),
    "digits of other scripts are not read": ("ours", lambda f, text: f.kind in NUMERIC and text == "٣"),
    "commas that can only part thousands are": (
        "theirs",
        lambda f, text: f.kind in NUMERIC and text in ("1,234", "1,234.5", "1 000"),
    ),
    "whole numbers may be written as 7.0, 1e2": (
        "theirs",
        lambda f, text: f.kind == "integer" and text in ("7.0", "1.0", "5.", "1e2"),
    ),
    "categories may be spelt in upper or lower case": (
        "theirs",
        lambda f, text: bool(f.enum) and text.lower() in [e.lower() for e in f.enum],
    ),
    "categories have other words": ("theirs", lambda f, text: bool(f.enum) and text in f.synonyms),
    "prices may carry a sign of their currency": ("theirs", lambda f, text: f.money and text == "$5"),
    "postal codes get their zeros back and lose their extension": (
        "theirs",
        lambda f, text: f.name == "postal_code" and text in ("601", "1234", "02138-1234"),
    ),
    "true and false in any case": (
        "theirs",
        lambda f, text: f.kind == "boolean" and text.lower() in f.true_values + f.false_values,
    ),
}


def explained(name: str) -> tuple[list[tuple[str, str, str]], set[str], int]:
    """Cells that only one of the two finds faulty and nothing explains, the differences met, and how often both agree."""
    header, rows = tables(name)
    our_faults, their_faults = ours(name, header, rows), theirs(name, header, rows)
    unexplained, met = [], set()
    for row, column in our_faults ^ their_faults:
        text, field = rows[row - 2][header.index(column)], load(name).field(column)
        finder = "ours" if (row, column) in our_faults else "theirs"
        why = {what for what, (who, differs) in DIFFERENCES.items() if who == finder and differs(field, text)}
        met |= why
        unexplained += [] if why else [(column, text, finder)]
    return unexplained, met, len(our_faults & their_faults)


@pytest.mark.parametrize("name", TABLES)
def test_same_faulty_cells(name: str) -> None:
    unexplained, _, both = explained(name)
    assert unexplained == []
    assert both >= 3 * len(load(name).fields)


def test_every_difference_is_met() -> None:
    assert set().union(*(explained(name)[1] for name in TABLES)) == set(DIFFERENCES)
