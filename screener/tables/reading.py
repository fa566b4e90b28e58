"""A grid of texts as a table: where its header is, which rows are data, and what is wrong with the names."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from difflib import get_close_matches

import polars as pl

from screener import units
from screener.contracts import Contract
from screener.errors import no_faults, table_fault
from screener.tables import headings, tidying
from screener.tables.files import HEADER_WITHIN, Grid, Source, UnreadableError, read_grid

EXTRA = "EXTRA_"  # names of columns that the header leaves without one of their own
MANY = 5  # rows listed in a note
NONE_ASIDE = pl.DataFrame(schema={"row": pl.Int64, "kind": pl.String, "reason": pl.String})


@dataclass(frozen=True)
class RawTable:
    """A table as typed: `frame` has `row` (number in the file, its first row = 1) and text columns under lower-case names.

    Cells are stripped, empty ones null; rows without any text, and repetitions of the header, are left out. `separator`
    is that of a CSV file; other files keep numbers as numbers. `aside`: rows of a sheet of sites that are no site to rank, as
    typed, with `kind` and `reason`. `typed`: the frame before its cells were tidied, where they were.
    """

    name: str
    frame: pl.DataFrame
    faults: pl.DataFrame
    notes: tuple[str, ...] = ()
    separator: str | None = None
    aside: pl.DataFrame = field(default_factory=lambda: NONE_ASIDE)
    typed: pl.DataFrame | None = None


def read_table(sources: Sequence[Source], contract: Contract, needs_rows: bool = True) -> RawTable:
    """The table of a contract from its one file; what is wrong with the file or its header comes back as faults.

    A table that `needs_rows` is at fault where it has none.
    """
    name, known = contract.name, {name for field in contract.fields for name in field.names}
    if len(sources) > 1:
        return _nothing(name, "table given twice", f"there are {', '.join(map(str, sources))}; keep one of them")
    source = sources[0]
    try:
        grid = read_grid(source, name, known | {*headings.words(contract)})
        if grid.cells.is_empty():
            raise UnreadableError("empty table", f"{source} is empty; it needs a header and at least one row")
    except UnreadableError as problem:
        return _nothing(name, problem.rule, problem.message)
    at = _header_row(grid.cells, contract)
    typed = [_name(cell) for cell in grid.cells.row(at)]
    header, taken, doubtful = headings.taken(typed, contract)
    faults = pl.concat([_repeated(name, header), _rivals(name, doubtful), _misspelt(name, header, contract, doubtful)])
    frame, again = _without_headers(_cells(grid.cells, at), typed)
    frame = _named(frame, header)
    aside, before = NONE_ASIDE, None
    if name == headings.TABLE:
        before = frame
        tidy = tidying.tidied(frame, contract)
        frame, aside = tidy.frame, tidy.aside
        taken = [*taken, *tidy.notes]
    if frame.is_empty() and faults.is_empty() and needs_rows:
        faults = table_fault(name, "empty table", f"{source} has no rows below its header; add at least one")
    notes = [*grid.notes, *_skipped(name, grid, at), *(f"{name}: {note}" for note in again), *taken]
    if faults.is_empty() and (unknown := _unknown(header, contract)):
        notes.append(f"{name}: column {', '.join(unknown)} is not used")
    return RawTable(name, frame, faults, tuple(notes), grid.separator, aside, before)


def _nothing(name: str, rule: str, message: str) -> RawTable:
    return RawTable(name, pl.DataFrame(schema={"row": pl.Int64}), table_fault(name, rule, message))


def _name(cell: str | None) -> str:
    return (cell or "").strip().lower()


def _header_row(cells: pl.DataFrame, contract: Contract) -> int:
    """The row, from 0, that holds most names of columns and headings; where none holds any, the first with any text."""
    known = {name for field in contract.fields for name in field.names}
    rows = cells.head(HEADER_WITHIN).rows()
    names = [
        len({cell if cell in known else headings.meant(cell, contract) for cell in map(_name, row)} - {None})
        for row in rows
    ]
    if not any(names):
        return next((at for at, row in enumerate(rows) if any(_name(cell) for cell in row)), 0)
    return names.index(max(names))


def _skipped(table: str, grid: Grid, at: int) -> list[str]:
    """A note on what stands above the header."""
    above = [[_name(cell) for cell in row] for row in grid.cells.head(at).rows()]
    skipped = sum(any(row) for row in above)
    what = "1 row" if skipped == 1 else f"{skipped} rows"
    return [f"{table}: the header is row {at + 1}; {what} above it skipped"] if skipped else []


def _cells(grid: pl.DataFrame, header: int) -> pl.DataFrame:
    """The rows below the header with any text: `row`, and a column of stripped texts for each of the grid."""
    plain = [f"column_{i}" for i in range(grid.width)]
    cells = grid.rename(dict(zip(grid.columns, plain, strict=True))).with_row_index("row", offset=1)[header + 1 :]
    text = pl.col(plain).cast(pl.String).str.strip_chars()
    cells = cells.select(pl.col("row").cast(pl.Int64), pl.when(text != "").then(text).name.keep())
    return cells.filter(pl.any_horizontal(pl.col(plain).is_not_null()))


def _without_headers(cells: pl.DataFrame, header: list[str]) -> tuple[pl.DataFrame, list[str]]:
    """The rows that are no repetition of the header, as page breaks leave them, and a note on those that are."""
    texts = [pl.col(f"column_{i}").str.to_lowercase().eq_missing(pl.lit(n or None)) for i, n in enumerate(header)]
    first = next((i for i, name in enumerate(header) if name), None)
    if first is None or not cells.select(texts[first].any()).item():
        return cells, []
    again = cells.select("row", again=pl.all_horizontal(texts))
    rows = again.filter("again")["row"].to_list()
    told = ", ".join(map(str, rows[:MANY])) + (f" and {len(rows) - MANY:,} more" if len(rows) > MANY else "")
    notes = [f"the header is repeated in row {told}; not counted as data"] if rows else []
    return cells.filter(~again["again"]), notes


def _named(cells: pl.DataFrame, header: list[str]) -> pl.DataFrame:
    """Cells under the names of the header; those beyond it are kept as `EXTRA_<n>` if there are any."""
    names: list[str] = []
    for number, cell in enumerate(header, start=1):  # headers are lower case: names in capitals are free
        own = cell and cell != "row" and cell not in names
        names.append(cell if own else f"ROW_{number}" if cell == "row" else f"{EXTRA}{number}")
    plain = [f"column_{i}" for i in range(len(header))]
    empty = [i for i, name in zip(plain, names, strict=True) if name.startswith(EXTRA) and cells[i].is_null().all()]
    return cells.drop(empty).rename({i: name for i, name in zip(plain, names, strict=True) if i not in empty})


def _repeated(table: str, header: list[str]) -> pl.DataFrame:
    twice = sorted({name for name in header if name and header.count(name) > 1})
    faults = [table_fault(table, "column given twice", "stands in the header twice; keep one", name) for name in twice]
    return pl.concat([no_faults(), *faults])


def _unknown(header: list[str], contract: Contract) -> list[str]:
    known = {name for field in contract.fields for name in field.names}
    return [name for name in header if name and name not in known]


def _rivals(table: str, doubtful: Mapping[str, list[str]]) -> pl.DataFrame:
    faults = [
        table_fault(
            table,
            "two headings for one figure",
            f"{' and '.join(repr(each) for each in alike)} may both be {figure}; call the one that counts {figure}",
            ", ".join(alike),
        )
        for figure, alike in doubtful.items()
    ]
    return pl.concat([no_faults(), *faults])


def _misspelt(
    table: str, header: list[str], contract: Contract, doubtful: Mapping[str, list[str]] | None = None
) -> pl.DataFrame:
    """Unknown columns that look like the name of a quantity that is absent; other unknown columns are only noted.

    A name in another unit is no misspelling: figures would pass under the wrong one.
    """
    absent = [name for field in contract.fields if not set(field.names) & set(header) for name in field.names]
    faults = [no_faults()]
    told = {each for alike in (doubtful or {}).values() for each in alike}
    for name in _unknown(header, contract):
        if name in told:
            continue
        spelt = re.sub(r"[\s_/()\[\].-]+", "_", name.replace("²", "2")).strip("_")
        close = get_close_matches(spelt, absent, n=len(absent) or 1, cutoff=0.8)
        if alike := [each for each in close if not _in_other_units(spelt, each)]:
            message = f'not a column of {table}; did you mean "{alike[0]}"?'
            faults.append(table_fault(table, "misspelt column", message, name))
        elif close:
            known = next(field.names for field in contract.fields if close[0] in field.names)
            message = f"not a unit that {table} knows; convert the figures and call the column {' or '.join(known)}"
            faults.append(table_fault(table, "unknown unit", message, name))
    return pl.concat(faults)


def _in_other_units(name: str, known: str) -> bool:
    """Whether two names end in units that are not one and the same, misspelt."""
    own, other = units.unit_of(name), units.unit_of(known)
    if own == other or own is None or other is None:
        return False
    return own in units.WORDS or not get_close_matches(own, [other], cutoff=0.7)
