"""A file, or a sheet of a workbook, as a grid of texts: only encoding, separator and size are looked at.

Reading text first keeps what was typed: type inference would turn the postal code 00601 into 601 and an Excel cell that
holds a word among numbers into nothing.
"""

import csv
import io
import os
import re
from collections import Counter
from collections.abc import Iterable, Sequence, Set
from dataclasses import dataclass, field
from pathlib import Path

import polars as pl

from screener.tables import workbooks
from screener.tables.headings import plain
from screener.text import count

ENDINGS = (".csv", ".parquet", ".xlsx")
TEXTS = (".csv", ".tsv", ".txt")  # the latter two only where they are named
BEGINNINGS = {"PARQUET": b"PAR1", "XLSX": b"PK", "XLSM": b"PK"}
SEPARATORS = {",": "commas", ";": "semicolons", "\t": "tabs", "|": "bars"}
HEADER_WITHIN = 30  # rows in which the header is looked for, below titles and remarks
# Far above any portfolio, and low enough for an ordinary computer.
MOST_BYTES = 250_000_000
MOST_ROWS = 2_000_000
MOST_COLUMNS = 1_000
MOST_ROWS_OF_ANY_SIZE = 100_000  # more take at least a byte each
MOST_CELLS = 16_000_000  # rows times columns, known before any is kept
MOST_CHARACTERS = 32_767  # in a cell, as in a workbook
NEWLINE = "\n"
BLOCK = 5_000  # rows that become columns together
WORD = 40  # characters of a word that is shown


@dataclass(frozen=True)
class Source:
    """Where a table stands: a file and, of a workbook with several tables, the sheet."""

    file: Path
    sheet: str | None = None

    def __str__(self) -> str:
        return self.file.name if self.sheet is None else f"{self.file.name} (sheet {self.sheet})"


@dataclass(frozen=True)
class Grid:
    """Every cell of a table as text, the first row of the file first; `separator` is that of a CSV file.

    `widths`: how many cells the first rows of a CSV file have.
    What a sheet of a workbook hides: `hidden_rows` from 1, `hidden_columns` from 0.
    """

    cells: pl.DataFrame
    separator: str | None = None
    notes: list[str] = field(default_factory=list)
    hidden_rows: frozenset[int] = frozenset()
    hidden_columns: frozenset[int] = frozenset()
    widths: Sequence[int] = ()


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


def links_outside(folder: Path, files: Iterable[Path]) -> list[str]:
    """A note on every file, or folder of files, whose content stands elsewhere than in `folder`."""
    home = folder.resolve()
    found = []
    for file in sorted(set(files)):
        if os.path.lexists(file) and not (there := Path(os.path.realpath(file))).is_relative_to(home):
            found.append(f"{file.name} is a link: what is read stands in {there}, outside {folder.name or folder}")
    return found


def read_grid(source: Source, table: str, known: Set[str]) -> Grid:
    """The cells of a table, which by its contract may have columns named `known`. UnreadableError, in words."""
    file, ending = source.file, source.file.suffix.lower()
    try:
        if (size := file.stat().st_size) > MOST_BYTES:
            raise _too_large(source, f"{size:,} bytes", f"{MOST_BYTES:,}")
        _check_kind(file)
        if ending in TEXTS:
            grid = _csv_grid(source, known)
        elif ending == ".parquet":
            grid = _parquet_grid(source)
        else:
            grid = _workbook_grid(source, table, known)
    except UnreadableError:
        raise
    except workbooks.TooLargeError as problem:
        raise _too_large(source, problem.has, problem.most) from None
    except (Exception, pl.exceptions.PanicException) as problem:  # readers raise many kinds, all about the user's file
        reason = str(problem).strip().split("\n")[0]
        message = f"{file.name} cannot be read as {ending[1:].upper()} ({reason}); save it again or as CSV UTF-8"
        if isinstance(problem, OSError) and problem.strerror:  # of the system; readers have some of their own
            message = f"{file.name} cannot be opened ({problem.strerror}); check that it may be read"
        raise UnreadableError("unreadable file", message) from problem
    _require_bounded(source, grid.cells.height, grid.cells.width)
    return grid


def _check_kind(file: Path) -> None:
    """UnreadableError where a file does not begin as its ending says."""
    kind = file.suffix[1:].upper()
    with file.open("rb") as content:
        if not content.read(8).startswith(BEGINNINGS.get(kind, b"")):
            message = f"{file.name} is no {kind} file, whatever its ending says; save it again or as CSV UTF-8"
            raise UnreadableError("unreadable file", message)


def _require_bounded(source: Source, rows: int, columns: int) -> None:
    """UnreadableError for a table of more rows, columns or cells than are read."""
    if rows > MOST_ROWS:
        raise _too_large(source, f"{rows:,} rows", f"{MOST_ROWS:,}")
    if columns > MOST_COLUMNS:
        raise _too_large(source, f"{columns:,} columns", f"{MOST_COLUMNS:,}")
    if rows * columns > MOST_CELLS:
        raise _too_large(source, f"{rows:,} rows of {columns:,} columns", f"{MOST_CELLS:,} cells")


def _too_large(source: Source, has: str, most: str) -> UnreadableError:
    message = (
        f"{source} has {has}, more than the {most} that are read; delete what is no part of the table, or split it"
    )
    return UnreadableError("too large", message)


def _workbook_grid(source: Source, table: str, known: Set[str]) -> Grid:
    file, notes = source.file, []
    there = workbooks.sheets(file)
    if not there:
        raise UnreadableError("unreadable file", f"{file.name} has no sheets that can be read; save it again")
    names = [name for name, hidden in there.items() if not hidden]
    if not names:
        raise UnreadableError("unreadable file", f"{file.name} hides all of its sheets; show the one that counts")
    sheet = source.sheet or next((name for name in names if name.strip().lower() == table), None)
    sheet = sheet or best_sheet(file, names, known)
    if source.sheet is None and len(there) > 1:
        others = ", ".join(name + (" (hidden)" if there[name] else "") for name in there if name != sheet)
        notes = [f"{file.name}: sheet {sheet} is read, {others} not"]
    read = workbooks.read(file, sheet)
    return Grid(read.grid, None, notes, read.hidden_rows, read.hidden_columns)


def best_sheet(file: Path, names: Sequence[str], known: Set[str]) -> str:
    """The sheet that looks most like a table whose columns are `known`: by the words of one row, then by its rows."""
    if len(names) == 1:
        return names[0]
    looks = likeness(file, names, known)
    return max(names, key=lambda name: looks[name])


def likeness(file: Path, names: Iterable[str], known: Set[str]) -> dict[str, tuple[int, int]]:
    """Of sheets how many `known` headings, lower-case or in plain words, one of their first rows holds, and how many rows
    below it have several cells."""
    found = {}
    for name, top in workbooks.tops(file, names, HEADER_WITHIN).items():
        rows = [[cell.strip().lower() for cell in row if cell and cell.strip()] for row in top.rows()]
        held = [len({cell for cell in row if cell in known or plain(cell) in known}) for row in rows]
        best = max(held, default=0)
        below = rows[held.index(best) + 1 :] if best else []
        found[name] = best, sum(len(row) > 1 for row in below)
    return found


def _parquet_grid(source: Source) -> Grid:
    from pyarrow import parquet  # a third of a second, of those with such tables only

    described = parquet.read_metadata(source.file)
    rows, size = described.num_rows, source.file.stat().st_size
    _require_bounded(source, rows, described.num_columns)
    unpacked = sum(described.row_group(i).total_byte_size for i in range(described.num_row_groups))
    if unpacked > MOST_BYTES:
        raise _too_large(source, f"{unpacked:,} bytes unpacked", f"{MOST_BYTES:,}")
    if rows > MOST_ROWS_OF_ANY_SIZE and rows > size:  # not even names would fit
        message = f"{source} has {rows:,} rows in {size:,} bytes, so all say the same; give every site one row"
        raise UnreadableError("too large", message)
    frame = pl.read_parquet(source.file, glob=False)
    if nested := [name for name, dtype in frame.schema.items() if dtype.is_nested() or dtype == pl.Binary]:
        message = f"{source}: {', '.join(nested)} hold more than one value a cell; flatten them"
        raise UnreadableError("unreadable file", message)
    if (characters := sum(map(_characters, frame))) > MOST_BYTES:
        raise _too_large(source, f"{characters:,} characters", f"{MOST_BYTES:,}")
    header = pl.DataFrame([frame.columns], schema=frame.columns, orient="row")
    return Grid(pl.concat([header, frame.select(pl.all().cast(pl.String))]))


def _characters(column: pl.Series) -> int:
    """How many bytes a column of texts takes when each cell has its own, however often it says the same."""
    is_text = isinstance(column.dtype, pl.String | pl.Categorical | pl.Enum)
    return int(column.cast(pl.String).str.len_bytes().sum()) if is_text else 0


def _csv_grid(source: Source, known: Set[str]) -> Grid:
    file = source.file
    text, notes = _decoded(file.name, file.read_bytes())
    if not text.strip():
        return Grid(pl.DataFrame())
    if "\n" not in text:  # an old way to end lines
        text = text.replace("\r", "\n")
    separator, widths, usual = _layout(text, known)
    width = max(widths)
    lines = text.count("\n") + (not text.endswith("\n"))
    _require_bounded(source, lines, width)
    if separator != ",":
        notes.append(f"{file.name}: columns are separated by {SEPARATORS[separator]}")
    cells = _even(text, separator, width)
    if cells is None or ('"' in text and cells.height + _breaks(cells) != lines):
        cells = _ragged(source, text, separator)  # the slower reader, which also says where a quote is wrong
    if '"' in text:
        _require_closed(file.name, cells, separator, usual)
    return Grid(cells, separator, notes, widths=widths)


def _even(text: str, separator: str, width: int) -> pl.DataFrame | None:
    """The cells of a text whose rows are no longer than those at its top; None where it has others, or a stray quote."""
    schema = {f"column_{i}": pl.String for i in range(width)}
    try:
        return pl.read_csv(io.BytesIO(text.encode()), has_header=False, separator=separator, schema=schema)
    except (pl.exceptions.PolarsError, pl.exceptions.PanicException):
        return None


def _breaks(cells: pl.DataFrame) -> int:
    """Line breaks inside of cells: with the rows they make up the lines of a file."""
    return int(cells.select(pl.sum_horizontal(pl.all().str.count_matches("\n", literal=True).sum())).item())


def _require_closed(name: str, cells: pl.DataFrame, separator: str, usual: int) -> None:
    """UnreadableError where a cell holds a line break and as many separators as a row of `usual` cells: a quote that opens
    one cell and closes another has taken the rows between for one text."""
    is_broken = pl.any_horizontal(pl.all().str.contains("\n", literal=True))
    broken = cells.with_row_index("row", offset=1).filter(cells.select(is_broken).to_series())
    for row, *texts in broken.iter_rows():
        for column, text in enumerate(texts, start=1):
            if text and "\n" in text and text.count(separator) >= usual - 1:
                where = f"opens in column {column} and closes {count(text.count(NEWLINE), 'line')} below"
                message = f"{name}, row {row}: a quote {where}, around what looks like whole rows ({text[:40]!r} ...)"
                raise UnreadableError("quote left open", f'{message}; close every " and double those inside a text')


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
        text = content.decode("cp1252", errors="replace")  # five codes are undefined
        at = next(number for number, byte in enumerate(content) if byte > 0x7F)
        before, after = (
            re.search(r"[\w'’]*$", text[max(at - WORD, 0) : at]),
            re.match(r"[\w'’]*", text[at + 1 : at + WORD]),
        )
        shown = f"{before and before[0]}{text[at]}{after and after[0]}"
        return text, [
            f'{name} is not UTF-8 text and is read as Latin-1 (Windows-1252); look at its accents, such as "{shown}"'
        ]


def _layout(text: str, known: Set[str]) -> tuple[str, list[int], int]:
    """Separator, numbers of columns of the first rows and the usual one: the mark that shows most column names in one row,
    else most cells."""
    lines = text[:200_000].splitlines()[: 2 * HEADER_WITHIN]
    tried = {mark: list(csv.reader(lines, delimiter=mark)) for mark in SEPARATORS}

    def shown(mark: str) -> tuple[int, int]:
        names = max(
            len({cell for cell in row if cell.strip().lower() in known or plain(cell) in known}) for row in tried[mark]
        )
        return names, max(map(len, tried[mark][:HEADER_WITHIN]))

    best = max(SEPARATORS, key=shown)
    usual = Counter(line.count(best) + 1 for line in lines if best in line).most_common(1)
    return best, [*map(len, tried[best])], usual[0][0] if usual else 1


def _ragged(source: Source, text: str, separator: str) -> pl.DataFrame:
    """The cells of a text with rows of any length, turned into columns by the thousand."""
    reader = csv.reader(io.StringIO(text, newline=""), strict=True, delimiter=separator)
    frames, rows, read = [], [], 0
    try:
        for row in reader:
            rows.append(row)
            read += 1
            if len(row) > MOST_COLUMNS or len(rows) == BLOCK:
                width = max(map(len, rows))
                _require_bounded(source, read, width)
                frames.append(_padded(rows, width))
                rows.clear()
    except csv.Error as problem:
        message = f'{source.file.name}, line {reader.line_num}: {problem}; close every " and double those inside a text'
        raise UnreadableError("unreadable file", message) from problem
    if rows:
        frames.append(_padded(rows, max(map(len, rows))))
    _require_bounded(source, read, max(frame.width for frame in frames))
    return pl.concat(frames, how="diagonal")


def _padded(rows: list[list[str]], width: int) -> pl.DataFrame:
    columns = range(width)
    texts = {f"column_{i}": [(row[i] or None) if i < len(row) else None for row in rows] for i in columns}
    return pl.DataFrame(texts, schema=dict.fromkeys(texts, pl.String))
