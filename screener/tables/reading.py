"""Files into frames of text: CSV, Parquet or XLSX, nothing interpreted yet.

Reading text first keeps what was typed: type inference would turn the postal code 00601 into 601 and an Excel cell that
holds a word among numbers into nothing.
"""

import csv
import io
from collections.abc import Iterable
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path

import polars as pl

from screener.contracts import Contract
from screener.errors import no_faults, table_fault

ENDINGS = (".csv", ".parquet", ".xlsx")
EXTRA = "EXTRA_"  # names of columns that the header leaves without one of their own
AS_UTF8 = 'save it as "CSV UTF-8"'


@dataclass(frozen=True)
class RawTable:
    """A table as typed: `frame` has `row` (number in the file, header = 1) and text columns under lower-case names.

    Cells are stripped, empty ones null; rows without any text are left out.
    """

    name: str
    frame: pl.DataFrame
    faults: pl.DataFrame
    notes: tuple[str, ...] = ()


class UnreadableError(Exception):
    """A file that cannot be read as a table: rule and message of the fault."""

    def __init__(self, rule: str, message: str) -> None:
        self.rule, self.message = rule, message
        super().__init__(message)


def find_tables(folder: Path) -> dict[str, list[Path]]:
    """The table files of a folder by lower-case name without ending, in order of name."""
    found: dict[str, list[Path]] = {}
    for file in sorted(folder.iterdir()):
        if file.is_file() and file.suffix.lower() in ENDINGS and not file.name.startswith(("~$", ".")):
            found.setdefault(file.stem.lower(), []).append(file)
    return found


def read_table(files: list[Path], contract: Contract) -> RawTable:
    """The table of a contract from its one file; what is wrong with the file or its header comes back as faults."""
    name = contract.name
    if len(files) > 1:
        names = ", ".join(file.name for file in files)
        return _nothing(name, "table given twice", f"there are {names}; keep one of them")
    try:
        grid = _grid(files[0])
        if grid.is_empty():
            raise UnreadableError("empty table", f"{files[0].name} is empty; it needs a header and at least one row")
    except UnreadableError as problem:
        return _nothing(name, problem.rule, problem.message)
    header = [str(cell or "").strip().lower() for cell in grid.row(0)]
    faults = pl.concat([_repeated(name, header), *_separator(name, header), _misspelt(name, header, contract)])
    frame = _cells(grid, header)
    if frame.is_empty() and faults.is_empty():
        faults = table_fault(name, "empty table", f"{files[0].name} has no rows below its header; add at least one")
    unknown = _unknown(header, contract) if faults.is_empty() else []
    notes = [f"{name}: column {', '.join(unknown)} is not used"] if unknown else []
    return RawTable(name, frame, faults, tuple(notes))


def _nothing(name: str, rule: str, message: str) -> RawTable:
    return RawTable(name, pl.DataFrame(schema={"row": pl.Int64}), table_fault(name, rule, message))


def _grid(file: Path) -> pl.DataFrame:
    """Every cell of a file as text, the header as first row."""
    try:
        if file.suffix.lower() == ".csv":
            return _csv_grid(file.name, file.read_bytes())
        if file.suffix.lower() == ".parquet":
            return _parquet_grid(file)
        return pl.read_excel(file, has_header=False, infer_schema_length=0)
    except UnreadableError:
        raise
    except OSError as problem:
        message = f"{file.name} cannot be opened ({problem.strerror}); check that it may be read"
        raise UnreadableError("unreadable file", message) from problem
    except Exception as problem:  # the readers raise many kinds, and each of them is about the user's file
        reason = str(problem).strip().split("\n")[0]
        message = f"{file.name} cannot be read as {file.suffix[1:].upper()} ({reason}); save it again or as CSV UTF-8"
        raise UnreadableError("unreadable file", message) from problem


def _parquet_grid(file: Path) -> pl.DataFrame:
    frame = pl.read_parquet(file)
    if nested := [name for name, dtype in frame.schema.items() if dtype.is_nested() or dtype == pl.Binary]:
        message = f"{file.name}: {', '.join(nested)} hold more than one value a cell; flatten them"
        raise UnreadableError("unreadable file", message)
    header = pl.DataFrame([frame.columns], schema=frame.columns, orient="row")
    return pl.concat([header, frame.select(pl.all().cast(pl.String))])


def _csv_grid(name: str, content: bytes) -> pl.DataFrame:
    text = _decoded(name, content)
    if not text.strip():
        return pl.DataFrame()
    try:
        return pl.read_csv(io.BytesIO(text.encode()), has_header=False, infer_schema=False)
    except pl.exceptions.PolarsError:  # rows of unequal length or stray quotes: the slower reader says where
        return _ragged_grid(name, text)


def _decoded(name: str, content: bytes) -> str:
    if content.startswith((b"\xff\xfe", b"\xfe\xff")) or b"\0" in content[:4000]:
        raise UnreadableError("wrong encoding", f"{name} is UTF-16 text, not UTF-8; {AS_UTF8}")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as problem:
        line = content[: problem.start].count(b"\n") + 1
        byte = content[problem.start]
        message = f"{name} is not UTF-8 text (line {line} has the byte 0x{byte:02X}); {AS_UTF8}"
        raise UnreadableError("wrong encoding", message) from problem


def _ragged_grid(name: str, text: str) -> pl.DataFrame:
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    try:
        rows = list(reader)
    except csv.Error as problem:
        message = f'{name}, line {reader.line_num}: {problem}; close every " and double those inside a text'
        raise UnreadableError("unreadable file", message) from problem
    width = max(map(len, rows))
    padded = [[cell or None for cell in row] + [None] * (width - len(row)) for row in rows]
    return pl.DataFrame(padded, schema=[f"column_{i}" for i in range(width)], orient="row", infer_schema_length=None)


def _cells(grid: pl.DataFrame, header: list[str]) -> pl.DataFrame:
    """The rows below the header under its names; cells beyond it are kept as `EXTRA_<n>` if there are any."""
    plain = [f"column_{i}" for i in range(grid.width)]  # a header such as * would be a pattern to Polars
    cells = grid.rename(dict(zip(grid.columns, plain, strict=True))).with_row_index("row", offset=1)[1:]
    text = pl.col(plain).cast(pl.String).str.strip_chars()
    cells = cells.select(pl.col("row").cast(pl.Int64), pl.when(text != "").then(text).name.keep())
    cells = cells.filter(pl.any_horizontal(pl.col(plain).is_not_null()))
    names: list[str] = []
    for number, cell in enumerate(header, start=1):  # headers are lower case: names in capitals are free
        own = cell and cell != "row" and cell not in names
        names.append(cell if own else f"ROW_{number}" if cell == "row" else f"{EXTRA}{number}")
    empty = [i for i, name in zip(plain, names, strict=True) if name.startswith(EXTRA) and cells[i].is_null().all()]
    return cells.drop(empty).rename({i: name for i, name in zip(plain, names, strict=True) if i not in empty})


def _repeated(table: str, header: list[str]) -> pl.DataFrame:
    twice = sorted({name for name in header if name and header.count(name) > 1})
    faults = [table_fault(table, "column given twice", "stands in the header twice; keep one", name) for name in twice]
    return pl.concat([no_faults(), *faults])


def _separator(table: str, header: list[str]) -> Iterable[pl.DataFrame]:
    for mark, word in ((";", "semicolons"), ("\t", "tabs")):
        if len(header) == 1 and mark in header[0]:
            yield table_fault(table, "wrong separator", f"columns are separated by {word}; separate them by commas")


def _unknown(header: list[str], contract: Contract) -> list[str]:
    known = {name for field in contract.fields for name in field.names}
    return [name for name in header if name and name not in known]


def _misspelt(table: str, header: list[str], contract: Contract) -> pl.DataFrame:
    """Unknown columns that look like the name of a quantity that is absent; other unknown columns are only noted."""
    absent = [name for field in contract.fields if not set(field.names) & set(header) for name in field.names]
    faults = [no_faults()]
    for name in _unknown(header, contract):
        if close := get_close_matches(name.replace(" ", "_"), absent, n=1, cutoff=0.8):
            message = f'not a column of {table}; did you mean "{close[0]}"?'
            faults.append(table_fault(table, "misspelt column", message, name))
    return pl.concat(faults)
