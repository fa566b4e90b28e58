"""Tables of a page: which columns, under which heading and unit, written how."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import polars as pl

from screener import text


@dataclass(frozen=True)
class Column:
    """A column of a table: its heading, its unit in words, and how a value is written."""

    name: str
    heading: str
    unit: str = ""
    form: text.Format = text.words
    width: str = ""  # of a text: "some" or "wide"

    @property
    def is_number(self) -> bool:
        """Whether it is set to the right and sorted by value."""
        return self.form not in (text.words, str)


@dataclass(frozen=True)
class Cell:
    """What a cell shows, and the number behind it for sorting and for checks."""

    words: str
    value: str | None


@dataclass(frozen=True)
class Table:
    """A table as a template writes it. `behind`: what there is to say of each row that is read only when it is asked for."""

    name: str
    caption: str
    columns: Sequence[Column]
    rows: Sequence[Sequence[Cell]]
    behind: Sequence[Sequence[tuple[Column, Cell]]] = ()


def table(
    name: str, caption: str, frame: pl.DataFrame, columns: Sequence[Column], behind: Sequence[Column] = ()
) -> Table:
    """The columns of a frame as cells; those `behind` the rows only where they say something."""
    rows = list(frame.iter_rows(named=True))
    return Table(name, caption, columns, [_cells(row, columns) for row in rows], _behind(rows, behind))


def _behind(rows: Sequence[Mapping[str, Any]], columns: Sequence[Column]) -> list[list[tuple[Column, Cell]]]:
    if not columns:
        return []
    cells = ([*zip(columns, _cells(row, columns), strict=True)] for row in rows)
    return [[(column, cell) for column, cell in each if cell.words not in ("", "-")] for each in cells]


def _cells(row: Mapping[str, Any], columns: Sequence[Column]) -> list[Cell]:
    def words(column: Column) -> str:
        value = row[column.name]
        return "" if value is None and not column.is_number else column.form(value)

    return [Cell(words(column), _value(row[column.name], column)) for column in columns]


def _value(value: object, column: Column) -> str | None:
    if not column.is_number or value is None:
        return None
    return f"{value:.9g}" if isinstance(value, float) else str(value)
