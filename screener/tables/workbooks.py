"""Sheets of an Excel workbook as texts, with the cells that hold an error, which the reader leaves empty."""

import re
import zipfile
from pathlib import Path
from xml.etree import ElementTree

import fastexcel
import polars as pl

ERROR = re.compile(rb'<c r="([A-Z]+)([0-9]+)"[^>]*\st="e"[^>]*>.*?<v>([^<]*)</v>', re.DOTALL)
MAIN = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"
LINK = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id"


def sheet_names(file: Path) -> list[str]:
    """The names of the sheets, in order; none where the file is no workbook."""
    try:
        return list(fastexcel.read_excel(file).sheet_names)
    except fastexcel.FastExcelError:
        return []


def unpacked_bytes(file: Path) -> int:
    """How large a workbook is when unpacked: a small file can hold a huge one."""
    with zipfile.ZipFile(file) as package:
        return sum(part.file_size for part in package.infolist())


def cells(file: Path, sheet: str) -> pl.DataFrame:
    """Every cell of a sheet as text, from its first row and column, empty ones too; an error cell as `#DIV/0!`."""
    read = fastexcel.read_excel(file).load_sheet(sheet, header_row=None, skip_rows=0, dtypes="string")
    grid = read.to_polars()
    grid.columns = [f"column_{i}" for i in range(grid.width)]
    for column, row, error in _errors(file, sheet):
        if column < grid.width and row < grid.height:
            grid[row, column] = error
    return grid


def _errors(file: Path, sheet: str) -> list[tuple[int, int, str]]:
    """Column and row, from 0, of the cells whose formula failed, and the error they show."""
    with zipfile.ZipFile(file) as package:
        content = package.read(_part(package, sheet))
    if b't="e"' not in content:
        return []
    return [(_number(name), int(row) - 1, error.decode()) for name, row, error in ERROR.findall(content)]


def _part(package: zipfile.ZipFile, sheet: str) -> str:
    """The path of a sheet inside the workbook [ECMA-376 part 1, 18.2.19]."""
    book = ElementTree.fromstring(package.read("xl/workbook.xml"))
    link = next(each.get(LINK) for each in book.iter(f"{MAIN}sheet") if each.get("name") == sheet)
    links = ElementTree.fromstring(package.read("xl/_rels/workbook.xml.rels"))
    target = next(each.get("Target", "") for each in links if each.get("Id") == link)
    return target.lstrip("/") if target.startswith("/") else f"xl/{target}"


def _number(letters: bytes) -> int:
    """Column A is 0, AA is 26."""
    number = 0
    for letter in letters:
        number = 26 * number + letter - ord("A") + 1
    return number - 1
