"""A grid of texts as a table: where its header is, which rows are data, and what is wrong with the names."""

import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from difflib import get_close_matches

import polars as pl

from screener import units
from screener.contracts import Contract
from screener.errors import no_faults, table_fault
from screener.tables import headings, tidying
from screener.tables.files import HEADER_WITHIN, Grid, Source, UnreadableError, read_grid
from screener.tables.setting_aside import NO_NOTES
from screener.text import count

REASON = "left_out_"  # begins the names of columns that say why a row was left out, where it is read back
EXTRA = "EXTRA_"  # names of columns that the header leaves without one of their own
MANY = 5  # rows listed in a note
NONE_ASIDE = pl.DataFrame(schema={"row": pl.Int64, "kind": pl.String, "reason": pl.String})
MEASURES = {
    "cent",
    "cents",
    "ct",
    "pence",
    "lb",
    "lbs",
    "kg",
    "g",
}  # of money and mass: words of a name that change its figures


@dataclass(frozen=True)
class RawTable:
    """A table as typed: `frame` has `row` (number in the file, its first row = 1) and text columns under lower-case names.

    Cells are stripped, empty ones null; rows without any text, and repetitions of the header, are left out. `separator`
    is that of a CSV file; other files keep numbers as numbers. `aside`: rows of a sheet of sites that are no site to rank, as
    typed, with `kind` and `reason`. `typed`: the frame before its cells were tidied, where they were. `headings`: the header as
    typed, by the name of its column. `row_notes`: `row` and `note` of sites. `said`: columns that are none of the contract and
    of which something was made, or said, all the same.
    """

    name: str
    frame: pl.DataFrame
    faults: pl.DataFrame
    notes: tuple[str, ...] = ()
    separator: str | None = None
    aside: pl.DataFrame = field(default_factory=lambda: NONE_ASIDE)
    typed: pl.DataFrame | None = None
    headings: Mapping[str, str] = field(default_factory=dict)
    row_notes: pl.DataFrame = field(default_factory=lambda: NO_NOTES)
    said: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Sheet:
    """A grid with its header found: the rows `first` to `last`, from 0, the lower-case names `typed` there, as `spelt`, and
    what they are `taken` for. `frame`: the rows below under those names, `row` beside them. `below`: further sheets whose
    rows follow."""

    source: Source
    grid: Grid
    first: int
    last: int
    typed: list[str]
    spelt: list[str]
    taken: headings.Taken
    frame: pl.DataFrame
    notes: list[str]
    below: tuple[str, ...] = ()


def read_table(sources: Sequence[Source], contract: Contract, needs_rows: bool = True) -> RawTable:
    """The table of a contract from its one file; what is wrong with the file or its header comes back as faults.

    A table that `needs_rows` is at fault where it has none.
    """
    name = contract.name
    if len(sources) > 1:
        return _nothing(name, "table given twice", f"there are {', '.join(map(str, sources))}; keep one of them")
    try:
        sheet = read_sheet(sources[0], contract)
    except UnreadableError as problem:
        return _nothing(name, problem.rule, problem.message)
    return table_of(sheet, contract, needs_rows)


def read_sheet(source: Source, contract: Contract, chosen: Mapping[str, str] | None = None) -> Sheet:
    """A file, or sheet, with its header. `chosen`: columns that somebody said headings mean. UnreadableError, in words."""
    known = {name for field in contract.fields for name in field.names}
    grid = read_grid(source, contract.name, known | {*headings.words(contract)})
    if grid.cells.is_empty():
        raise UnreadableError("empty table", f"{source} is empty; it needs a header and at least one row")
    first, last = _header_rows(grid, contract)
    spelt = _spelt(grid, first, last, contract)
    if contract.name == headings.TABLE:
        spelt = _told_apart(spelt, grid, last, known)
    typed = [_name(cell) for cell in spelt]
    lines = [[_name(cell) for cell in grid.cells.row(at)] for at in range(first, last + 1)]
    cells, again = _without_headers(_cells(grid.cells, last), lines)
    taken = headings.taken(typed, contract, cells.drop("row"), chosen, grid.hidden_columns)
    notes = [*grid.notes, *_skipped(contract.name, grid, first), *(f"{contract.name}: {note}" for note in again)]
    if last > first:
        notes.append(f"{contract.name}: the header is rows {first + 1} and {last + 1} together")
    if grid.hidden_rows and (rows := sorted(grid.hidden_rows & {*cells["row"]})):
        notes.append(f"{contract.name}: {count(len(rows), 'row')} that the sheet hides are read too ({_several(rows)})")
    return Sheet(source, grid, first, last, typed, spelt, taken, _named(cells, taken.header), [*notes, *taken.notes])


def table_of(sheet: Sheet, contract: Contract, needs_rows: bool = True, own: Collection[str] = ()) -> RawTable:
    """A sheet as a raw table, with the faults of its header; a sheet of sites tidied.

    `own`: plain words of headings that somebody said are columns of their own.
    """
    reasons = [each for each in sheet.frame.columns if each.startswith(REASON)]
    name, header, frame, notes = contract.name, sheet.taken.header, sheet.frame.drop(reasons), [*sheet.notes]
    doubtful, unclear = sheet.taken.doubtful, sheet.taken.unclear
    faults = pl.concat([_repeated(name, header), _rivals(name, doubtful), _of_two_units(contract, unclear)])
    close = misspelt(sheet, contract, own)
    if name == headings.TABLE:  # words with spaces between are people's own, and no name of a column misspelt
        worded = pl.col("column").str.contains(" ", literal=True)
        alike = close.filter(worded).select("column", "message").iter_rows()
        notes += [f'{name}: the heading "{heading}" is {message}' for heading, message in alike]
        close = close.filter(~worded)
    faults = pl.concat([faults, close])
    tidy = tidying.Tidied(frame, NONE_ASIDE)
    if name == headings.TABLE:
        tidy = tidying.tidied(frame, contract)
        optional = {each: names for each, names in unclear.items() if not _required(contract, names)}
        notes += [
            f'{name}: the heading "{each}" may be {" or ".join(names)} and is not used; name its unit'
            for each, names in optional.items()
        ]
        notes += tidy.notes
    if tidy.frame.is_empty() and faults.is_empty() and needs_rows:
        faults = table_fault(name, "empty table", f"{sheet.source} has no rows below its header; add at least one")
    told = {*tidy.used, *unclear, *reasons}
    unknown = [each for each in _unknown(header, contract) if each not in told]
    if faults.is_empty() and unknown and name != headings.TABLE:
        notes.append(f"{name}: column {', '.join(unknown)} is not used")
    spelt = {column: sheet.spelt[at] for at, column in enumerate(header) if column}
    before = frame if name == headings.TABLE else None
    separator, row_notes = sheet.grid.separator, tidy.row_notes
    return RawTable(
        name, tidy.frame, faults, tuple(notes), separator, tidy.aside, before, spelt, row_notes, frozenset({*unclear})
    )


def _told_apart(spelt: Sequence[str], grid: Grid, last: int, known: Collection[str]) -> list[str]:
    """Headings of a sheet of sites with a number where one says no more than another, or nothing at all above some cell: such
    columns are the owner's own. A row of a CSV file that has more cells than its header has commas of its own instead."""
    width = len(spelt) if grid.separator is None else grid.widths[last] if last < len(grid.widths) else 0
    found: list[str] = []
    for at, heading in enumerate(spelt):
        again = heading.lower() in {each.lower() for each in found} and heading.lower() not in known
        nameless = (
            not heading
            and at < width
            and not grid.cells[last + 1 :, at].cast(pl.String).str.strip_chars().is_in([""]).all()
        )
        found.append(f"{heading} {at + 1}" if heading and again else f"column {at + 1}" if nameless else heading)
    return found


def misspelt(sheet: Sheet, contract: Contract, own: Collection[str] = ()) -> pl.DataFrame:
    """Faults of headings that look like the name of a column and are none; `own` as in `table_of`."""
    taken = sheet.taken
    settled = {each for each in taken.header if headings.plain(each) in own} | {*taken.unclear}
    return _misspelt(
        contract.name, taken.header, contract, settled | {each for pair in taken.doubtful.values() for each in pair}
    )


def _nothing(name: str, rule: str, message: str) -> RawTable:
    return RawTable(name, pl.DataFrame(schema={"row": pl.Int64}), table_fault(name, rule, message))


def _name(cell: str | None) -> str:
    """The name that the column of a heading has; `*` and `^...$`, which would be patterns of many columns, get a word before."""
    name = (cell or "").strip().lower()
    return f"column {name}" if name == "*" or (name.startswith("^") and name.endswith("$")) else name


def _header_rows(grid: Grid, contract: Contract) -> tuple[int, int]:
    """First and last row, from 0, of the header: the row that holds most names of columns and headings, or two that hold more
    together, as `Area` above `sq ft`; where none holds any, the first row with any text."""
    rows = grid.cells.head(HEADER_WITHIN).rows()
    single = [_meaning(row, contract) for row in rows]
    best = max(single, default=0.0)
    if not best:
        at = next((at for at, row in enumerate(rows) if any(_name(cell) for cell in row)), 0)
        return at, at
    at = single.index(best)
    if contract.name != headings.TABLE:
        return at, at
    pairs = {
        above: _meaning(_together(rows[above], rows[above + 1], contract), contract)
        for above in (at - 1, at)
        if 0 <= above < len(rows) - 1 and _may_be_header(rows[above + 1]) and _may_be_header(rows[above])
    }
    above = max(pairs, key=lambda each: pairs[each], default=at)
    return (above, above + 1) if pairs and pairs[above] > best else (at, at)


def _meaning(row: Sequence[str | None], contract: Contract) -> float:
    """How many columns a row of headings names; one of several meanings counts a quarter."""
    known = {name for field in contract.fields for name in field.names}
    names, unclear = set[str](), set[str]()
    for cell in filter(None, map(_name, row)):
        found = (cell,) if cell in known else headings.meanings(cell, contract)
        (names if len(found) == 1 else unclear).update(found[:1])
    return len(names) + len(unclear) / 4


def _may_be_header(row: Sequence[str | None]) -> bool:
    """Whether a row has several texts and no figure."""
    texts = [text for cell in row if (text := _name(cell))]
    return len(texts) > 1 and not any(re.fullmatch(r"[.,$%:/ -]*\d[\d.,$%:/ -]*", text) for text in texts)


def _together(above: Sequence[str | None], below: Sequence[str | None], contract: Contract) -> list[str | None]:
    """Two rows of headings as one: the lower one where it says enough, else both; a group's heading holds for the columns
    beside it."""
    group, together = "", []
    known = {name for field in contract.fields for name in field.names}
    for top, bottom in zip(above, below, strict=True):
        upper, lower = (top or "").strip(), (bottom or "").strip()
        group = upper or group
        both = f"{upper or group} {lower}".strip()
        if not lower:
            together.append(upper or None)
        elif upper and _clear(upper, known, contract) and not _clear(both, known, contract):
            together.append(upper)
        else:
            together.append(both if _clear(both, known, contract) or not _clear(lower, known, contract) else lower)
    return together


def _clear(heading: str, known: Collection[str], contract: Contract) -> bool:
    return heading.lower() in known or headings.meant(heading.lower(), contract) is not None


def _spelt(grid: Grid, first: int, last: int, contract: Contract) -> list[str]:
    """The headings as typed."""
    rows = [grid.cells.row(at) for at in range(first, last + 1)]
    row = rows[0] if len(rows) == 1 else _together(rows[0], rows[1], contract)
    return [(cell or "").strip() for cell in row]


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
    text = text.str.replace(r"^'([=+\-@]|\d)", "${1}")  # that a spreadsheet marks texts with, and files for one
    cells = cells.select(pl.col("row").cast(pl.Int64), pl.when(text != "").then(text).name.keep())
    return cells.filter(pl.any_horizontal(pl.col(plain).is_not_null()))


def _without_headers(cells: pl.DataFrame, lines: Sequence[Sequence[str]]) -> tuple[pl.DataFrame, list[str]]:
    """The rows that are no repetition of a line of the header, as page breaks leave them, and a note on those that are.

    A row with half of the header's words in their columns is one, or the whole of a short one.
    """
    again = pl.lit(False)
    for line in lines:
        words = [(f"column_{i}", name) for i, name in enumerate(line) if name and f"column_{i}" in cells.columns]
        if not words:
            continue
        same = pl.sum_horizontal(
            (pl.col(column).str.to_lowercase() == name).fill_null(False).cast(pl.Int32) for column, name in words
        )
        again |= same >= (len(words) if len(words) < 4 else (len(words) + 1) // 2)
    found = cells.select("row", again=again)
    rows = found.filter("again")["row"].to_list()
    notes = [f"the header is repeated in row {_several(rows)}; not counted as data"] if rows else []
    return cells.filter(~found["again"]), notes


def _several(rows: Sequence[int]) -> str:
    """A few numbers of rows, and how many more there are."""
    return ", ".join(map(str, rows[:MANY])) + (f" and {len(rows) - MANY:,} more" if len(rows) > MANY else "")


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


def _of_two_units(contract: Contract, unclear: Mapping[str, tuple[str, ...]]) -> pl.DataFrame:
    """Faults of headings that may be a required figure in several units."""
    faults = [
        table_fault(
            contract.name,
            "heading without its unit",
            f"may be {' or '.join(names)}; name its unit, or let `screener adopt` ask",
            heading,
        )
        for heading, names in unclear.items()
        if _required(contract, names)
    ]
    return pl.concat([no_faults(), *faults])


def _required(contract: Contract, names: Sequence[str]) -> bool:
    return any(field.required for field in contract.fields if {*names} & {*field.names})


def _misspelt(table: str, header: list[str], contract: Contract, told: Collection[str] = ()) -> pl.DataFrame:
    """Unknown columns that look like the name of a quantity that is absent; other unknown columns are only noted.

    A name in another unit is no misspelling: figures would pass under the wrong one.
    """
    absent = [name for field in contract.fields if not set(field.names) & set(header) for name in field.names]
    faults = [no_faults()]
    for name in _unknown(header, contract):
        if name in told:
            continue
        spelt = re.sub(r"[\s_/()\[\].-]+", "_", name.replace("²", "2")).strip("_")
        close = get_close_matches(spelt, absent, n=len(absent) or 1, cutoff=0.8)
        if alike := [each for each in close if not _in_other_units(spelt, each)]:
            has_unit = units.unit_of(spelt) or spelt.split("_")[-1] == alike[0].split("_")[-1]
            meant = " or ".join(f'"{each}"' for each in (alike[:1] if has_unit else _in_every_unit(alike[0], contract)))
            message = f"not a column of {table}; did you mean {meant}?"
            faults.append(table_fault(table, "misspelt column", message, name))
        elif close:
            known = next(field.names for field in contract.fields if close[0] in field.names)
            message = f"not a unit that {table} knows; convert the figures and call the column {' or '.join(known)}"
            faults.append(table_fault(table, "unknown unit", message, name))
    return pl.concat(faults)


def _in_every_unit(name: str, contract: Contract) -> Sequence[str]:
    """The names of a column in all its units: one without a unit may be any of them."""
    return next(field.names for field in contract.fields if name in field.names)


def _in_other_units(name: str, known: str) -> bool:
    """Whether two names end in units that are not one and the same, misspelt, or one has cents or pounds in it."""
    if {*name.split("_")} & MEASURES != {*known.split("_")} & MEASURES:
        return True
    own, other = units.unit_of(name), units.unit_of(known)
    if own == other or own is None or other is None:
        return False
    return own in units.WORDS or not get_close_matches(own, [other], cutoff=0.7)
