"""The ranking as a workbook: a sheet for each table, units in the headers, and a sheet of notes.

Texts are written as texts, whatever they look like, so nothing in a portfolio is ever calculated by a spreadsheet.
"""

import csv
import io
import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import polars as pl

from screener import __version__, contracts
from screener.report.findings import Findings
from screener.report.words import CAUTIONS, placeholder_caution

MOST_ROWS = 200_000  # of a sheet; far below what a workbook can hold, but what people still open
WRITTEN = datetime(2000, 1, 1)  # workbooks carry a date; a fixed one keeps them the same to the byte
FORMATS = {"1": "0.00", "a": "0.0", "degC": "0.0", "kg/kg": "0.0000", "L/kWh": "0.00"}  # by unit; others are whole
PERCENT = ("assumed_share", "share_of_bill")
MARKED = re.compile(r"^'(?=[=+\-@])")  # what a CSV file marks texts with that look like a formula
WIDEST, NARROWEST = 44, 9  # of a column, in letters


@dataclass(frozen=True)
class Sheet:
    """A table and the contract that tells its units."""

    name: str
    contract: str
    frame: pl.DataFrame
    frozen_columns: int


def workbook(found: Findings) -> bytes:
    """The content of ranking.xlsx."""
    import xlsxwriter

    file = io.BytesIO()
    options = {"strings_to_formulas": False, "strings_to_urls": False, "in_memory": True, "nan_inf_to_errors": True}
    with xlsxwriter.Workbook(file, options) as book:
        book.set_properties({"title": f"{found.settings['name']}: ranking", "created": WRITTEN})
        sheets = [
            Sheet("ranking", "ranking", found.with_more(found.ranking), 3),
            Sheet("groups", "groups", found.groups, 3),
            Sheet("strategies", "strategy_results", found.results, 2),
        ]
        _notes(book, found, sheets)
        for sheet in sheets:
            _table(book, sheet, found.currency)
        _columns(book, sheets, found.currency)
        book.get_worksheet_by_name("ranking").activate()
    return file.getvalue()


def of_texts(name: str, text: str) -> bytes:
    """A workbook of one sheet with the cells of a CSV text, as texts, which nothing calculates."""
    import xlsxwriter

    file = io.BytesIO()
    with xlsxwriter.Workbook(file, {"in_memory": True, "strings_to_urls": False}) as book:
        book.set_properties({"title": name, "created": WRITTEN})
        page, bold = book.add_worksheet(name), book.add_format({"bold": True})
        page.freeze_panes(1, 0)
        for row, cells in enumerate(csv.reader(io.StringIO(text))):
            for place, cell in enumerate(cells):
                if cell:
                    page.write_string(row, place, MARKED.sub("", cell), bold if row == 0 else None)
    return file.getvalue()


def header(name: str, unit: str | None, currency: str) -> str:
    """A heading with its unit: cost_saved [USD/a]."""
    return name if unit in (None, "1") else f"{name} [{_unit(unit, currency)}]"


def _unit(unit: str | None, currency: str) -> str:
    return (unit or "").replace("currency", currency)


def _table(book: Any, sheet: Sheet, currency: str) -> None:
    page = book.add_worksheet(sheet.name)
    bold = book.add_format({"bold": True, "text_wrap": True, "valign": "bottom", "bottom": 2, "bg_color": "#E4EEF1"})
    frame = sheet.frame.head(MOST_ROWS)
    units = {field.name: field.unit for field in contracts.load(sheet.contract).fields}
    page.freeze_panes(1, sheet.frozen_columns)
    page.autofilter(0, 0, frame.height, frame.width - 1)
    for place, name in enumerate(frame.columns):
        heading, column = header(name, units.get(name), currency), frame[name]
        form = book.add_format({"num_format": _format(name, units.get(name), column.dtype)})
        page.set_column(place, place, _width(heading, column), form)
        page.write_string(0, place, heading, bold)
        _write_column(page, place, column)
    page.set_row(0, 45)
    page.repeat_rows(0)
    page.set_landscape()
    page.fit_to_pages(1, 0)


def _write_column(page: Any, place: int, column: pl.Series) -> None:
    write = (
        page.write_string
        if column.dtype == pl.String
        else page.write_boolean
        if column.dtype == pl.Boolean
        else page.write_number
    )
    for row, value in enumerate(column.to_list(), start=1):
        if value is not None:
            write(row, place, value)


def _format(name: str, unit: str | None, dtype: pl.DataType) -> str:
    if not dtype.is_numeric():
        return "@" if dtype == pl.String else "General"
    if name in PERCENT:
        return "0%"
    return "0" if dtype.is_integer() else FORMATS.get(unit or "", "#,##0")


def _width(heading: str, column: pl.Series) -> int:
    """Room for the longest text, or for a number; headings may run over three lines."""
    longest = max(map(len, column.drop_nulls()), default=0) if column.dtype == pl.String else 12
    return min(max(longest + 1, len(heading) // 2 + 2, NARROWEST), WIDEST)


def _notes(book: Any, found: Findings, sheets: Iterable[Sheet]) -> None:
    page, bold = book.add_worksheet("notes"), book.add_format({"bold": True})
    wrapped = book.add_format({"text_wrap": True, "valign": "top"})
    page.set_column(0, 0, 34, wrapped)
    page.set_column(1, 1, 100, wrapped)
    row = 0
    for title, lines in _paragraphs(found, sheets):
        page.write_string(row, 0, title, bold)
        for what, words in lines:
            row += 1
            page.write_string(row, 0, what)
            page.write_string(row, 1, words)
        row += 2


def _paragraphs(found: Findings, sheets: Iterable[Sheet]) -> Iterable[tuple[str, list[tuple[str, str]]]]:
    placeholders = [("", placeholder_caution(found.placeholders))] if found.placeholders else []
    cut = [
        ("", f"{s.name}: the first {MOST_ROWS:,} of {s.frame.height:,} rows")
        for s in sheets
        if s.frame.height > MOST_ROWS
    ]
    yield found.settings["name"], [("written by", f"screener {__version__}"), *cut]
    yield "Cautions", [*placeholders, *(("", words) for words in CAUTIONS)]
    yield "Settings", [(name, str(value)) for name, value in found.settings.items()]
    assumed = [
        (a["column"], f"{a['figure']}, at {a['sites']} of the sites that count most: {a['origin']}")
        for a in found.assumptions().iter_rows(named=True)
    ]
    yield "Assumed most, and from where", assumed
    yield (
        "Under other prices",
        [
            (
                w["case"],
                f"{w['sites_with_savings']} sites worth changing, net savings {w['net_savings']:,.0f} {found.currency}",
            )
            for w in found.what_if.iter_rows(named=True)
        ],
    )


def _columns(book: Any, sheets: Iterable[Sheet], currency: str) -> None:
    """What every column means."""
    page, bold = book.add_worksheet("columns"), book.add_format({"bold": True, "bottom": 2, "bg_color": "#E4EEF1"})
    page.freeze_panes(1, 0)
    rows = [
        (sheet.name, field.name, _unit(field.unit, currency), field.description)
        for sheet in sheets
        for field in contracts.load(sheet.contract).fields
    ]
    for place, (heading, width) in enumerate((("sheet", 12), ("column", 32), ("unit", 14), ("meaning", 100))):
        page.set_column(place, place, width)
        page.write_string(0, place, heading, bold)
    for row, words in enumerate(rows, start=1):
        for place, each in enumerate(words):
            page.write_string(row, place, each)
