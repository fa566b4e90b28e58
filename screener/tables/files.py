"""A file, or a sheet of a workbook, as a grid of texts: only encoding, separator and size are looked at.

Reading text first keeps what was typed: type inference would turn the postal code 00601 into 601 and an Excel cell that
holds a word among numbers into nothing.
"""

import csv
import io
import re
from collections.abc import Set
from dataclasses import dataclass, field
from pathlib import Path

import polars as pl

from screener.tables import workbooks

ENDINGS = (".csv", ".parquet", ".xlsx")
BEGINNINGS = {"PARQUET": b"PAR1", "XLSX": b"PK"}
SEPARATORS = {",": "commas", ";": "semicolons", "\t": "tabs", "|": "bars"}
HEADER_WITHIN = 30  # rows in which the header is looked for, below titles and remarks
# Far above any portfolio, and low enough for an ordinary computer.
MOST_BYTES = 1_000_000_000
MOST_ROWS = 2_000_000
MOST_COLUMNS = 1_000
MOST_CHARACTERS = 32_767  # in a cell, as in a workbook


@dataclass(frozen=True)
class Source:
    """Where a table stands: a file and, of a workbook with several tables, the sheet."""

    file: Path
    sheet: str | None = None

    def __str__(self) -> str:
        return self.file.name if self.sheet is None else f"{self.file.name} (sheet {self.sheet})"


@dataclass(frozen=True)
class Grid:
    """Every cell of a table as text, the first row of the file first; `separator` is that of a CSV file."""

    cells: pl.DataFrame
    separator: str | None = None
    notes: list[str] = field(default_factory=list)


class UnreadableError(Exception):
    """A file that cannot be read as a table: rule and message of the fault."""

    def __init__(self, rule: str, message: str) -> None:
        self.rule, self.message = rule, message
        super().__init__(message)


def find_tables(folder: Path, names: Set[str]) -> dict[str, list[Source]]:
    """Where the tables of a folder stand, by lower-case name: files called so, and sheets of other workbooks.

    A file that is no table of `names` stays under its own name, unless it is a workbook with sheets that are.
    """
    found: dict[str, list[Source]] = {}
    for file in sorted(folder.iterdir()):
        stem, ending = file.stem.lower(), file.suffix.lower()
        if not file.is_file() or ending not in ENDINGS or file.name.startswith(("~$", ".")):
            continue
        sheets = workbooks.sheet_names(file) if ending == ".xlsx" and stem not in names else []
        tables = {sheet.strip().lower(): Source(file, sheet) for sheet in sheets if sheet.strip().lower() in names}
        for name, source in (tables or {stem: Source(file)}).items():
            found.setdefault(name, []).append(source)
    return found


def read_grid(source: Source, table: str, known: Set[str]) -> Grid:
    """The cells of a table, which by its contract may have columns named `known`. UnreadableError, in words."""
    file, ending = source.file, source.file.suffix.lower()
    try:
        if (size := file.stat().st_size) > MOST_BYTES:
            raise _too_large(source, f"{size:,} bytes", f"{MOST_BYTES:,}")
        _check_kind(file)
        if ending == ".csv":
            grid = _csv_grid(file, known)
        elif ending == ".parquet":
            grid = _parquet_grid(source)
        else:
            grid = _workbook_grid(source, table)
    except UnreadableError:
        raise
    except OSError as problem:
        message = f"{file.name} cannot be opened ({problem.strerror}); check that it may be read"
        raise UnreadableError("unreadable file", message) from problem
    except Exception as problem:  # the readers raise many kinds, and each of them is about the user's file
        reason = str(problem).strip().split("\n")[0]
        message = f"{file.name} cannot be read as {ending[1:].upper()} ({reason}); save it again or as CSV UTF-8"
        raise UnreadableError("unreadable file", message) from problem
    return _bounded(source, grid)


def _check_kind(file: Path) -> None:
    """UnreadableError where a file does not begin as its ending says."""
    kind = file.suffix[1:].upper()
    with file.open("rb") as content:
        if not content.read(8).startswith(BEGINNINGS.get(kind, b"")):
            message = f"{file.name} is no {kind} file, whatever its ending says; save it again or as CSV UTF-8"
            raise UnreadableError("unreadable file", message)


def _bounded(source: Source, grid: Grid) -> Grid:
    if grid.cells.height > MOST_ROWS:
        raise _too_large(source, f"{grid.cells.height:,} rows", f"{MOST_ROWS:,}")
    if grid.cells.width > MOST_COLUMNS:
        raise _too_large(source, f"{grid.cells.width:,} columns", f"{MOST_COLUMNS:,}")
    return grid


def _too_large(source: Source, has: str, most: str) -> UnreadableError:
    message = f"{source} has {has}, more than the {most} that are read; split it into several portfolios"
    return UnreadableError("too large", message)


def _workbook_grid(source: Source, table: str) -> Grid:
    file, notes = source.file, []
    if (size := workbooks.unpacked_bytes(file)) > MOST_BYTES:
        raise _too_large(source, f"{size:,} bytes unpacked", f"{MOST_BYTES:,}")
    names = workbooks.sheet_names(file)
    sheet = source.sheet or next((name for name in names if name.strip().lower() == table), names[0])
    if source.sheet is None and len(names) > 1:
        others = ", ".join(name for name in names if name != sheet)
        notes = [f"{file.name}: sheet {sheet} is read, {others} not"]
    return Grid(workbooks.cells(file, sheet), notes=notes)


def _parquet_grid(source: Source) -> Grid:
    rows: int = pl.scan_parquet(source.file, glob=False).select(pl.len()).collect().item()
    if rows > MOST_ROWS:
        raise _too_large(source, f"{rows:,} rows", f"{MOST_ROWS:,}")
    frame = pl.read_parquet(source.file, glob=False)
    if nested := [name for name, dtype in frame.schema.items() if dtype.is_nested() or dtype == pl.Binary]:
        message = f"{source}: {', '.join(nested)} hold more than one value a cell; flatten them"
        raise UnreadableError("unreadable file", message)
    header = pl.DataFrame([frame.columns], schema=frame.columns, orient="row")
    return Grid(pl.concat([header, frame.select(pl.all().cast(pl.String))]))


def _csv_grid(file: Path, known: Set[str]) -> Grid:
    text, notes = _decoded(file.name, file.read_bytes())
    if not text.strip():
        return Grid(pl.DataFrame())
    if "\n" not in text:  # an old way to end lines
        text = text.replace("\r", "\n")
    separator, width = _layout(text, known)
    if separator != ",":
        notes.append(f"{file.name}: columns are separated by {SEPARATORS[separator]}")
    try:
        cells = pl.read_csv(
            io.BytesIO(text.encode()),
            has_header=False,
            separator=separator,
            schema={f"column_{i}": pl.String for i in range(width)},
        )
    except (
        pl.exceptions.PolarsError
    ):  # a row longer than those at the top or a stray quote: the slower reader says where
        cells = _ragged(file.name, text, separator)
    return Grid(cells, separator, notes)


def _decoded(name: str, content: bytes) -> tuple[str, list[str]]:
    """The text of a file in UTF-8, in UTF-16 with its mark, or else in the usual code page of Western Europe."""
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        return content.decode("utf-16", errors="replace"), []
    if b"\0" in content[:4000]:
        message = f"{name} is UTF-16 text without a byte-order mark, or no text at all"
        raise UnreadableError("wrong encoding", f'{message}; save it as "CSV UTF-8"')
    try:
        return content.decode("utf-8-sig"), []
    except UnicodeDecodeError:
        text = "".join(map(_western, content.decode("latin-1")))
        word = re.search(r"[\w'’]*[^\x00-\x7f][\w'’]*", text)
        shown = f', such as "{word[0]}"' if word else ""
        return text, [f"{name} is not UTF-8 text and is read as Latin-1 (Windows-1252); look at its accents{shown}"]


def _western(character: str) -> str:
    """Latin-1 as Windows has it: the codes 80 to 9F are letters and quotes, save the five it leaves undefined."""
    if "\x80" <= character <= "\x9f":
        return character.encode("latin-1").decode("cp1252", errors="replace")
    return character


def _layout(text: str, known: Set[str]) -> tuple[str, int]:
    """Separator and number of columns: the mark that shows most column names in one row, else most cells."""
    lines = text[:200_000].splitlines()[: 2 * HEADER_WITHIN]
    tried = {mark: list(csv.reader(lines, delimiter=mark)) for mark in SEPARATORS}

    def shown(mark: str) -> tuple[int, int]:
        names = max(len(known & {cell.strip().lower() for cell in row}) for row in tried[mark])
        return names, max(map(len, tried[mark][:HEADER_WITHIN]))

    best = max(SEPARATORS, key=shown)
    return best, max(map(len, tried[best]))


def _ragged(name: str, text: str, separator: str) -> pl.DataFrame:
    reader = csv.reader(io.StringIO(text, newline=""), strict=True, delimiter=separator)
    try:
        rows = list(reader)
    except csv.Error as problem:
        message = f'{name}, line {reader.line_num}: {problem}; close every " and double those inside a text'
        raise UnreadableError("unreadable file", message) from problem
    width = max(map(len, rows))
    padded = [[cell or None for cell in row] + [None] * (width - len(row)) for row in rows]
    return pl.DataFrame(padded, schema=[f"column_{i}" for i in range(width)], orient="row", infer_schema_length=None)
