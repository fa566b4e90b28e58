"""The spreadsheets of a chain as they come, made into a portfolio folder: read once with somebody's choices, then by these.

`adopt` reads files and sheets by `reading`, asks where two readings fit, joins what belongs together by the number of the
site, and writes `sites.csv` in plain figures under the names of the contract, `tariffs.csv` where prices stand
beside the sites, `portfolio.toml`, `set_aside.csv` and `reading.toml`. Rows at fault stay in `sites.csv` as typed: the next
answer tells them.
"""

import hashlib
import re
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from difflib import get_close_matches
from pathlib import Path

import polars as pl

from screener.contracts import Contract, load
from screener.errors import ContractError, UsageError, table_fault
from screener.outputs import add_files
from screener.tables import adopted, files, headings, left_out, prices_beside, shipped, workbooks
from screener.tables.cells import spelling
from screener.tables.checking import CheckedTable, checked
from screener.tables.choices import PRICES, Choices, read_choices
from screener.tables.default_tariffs import ANYWHERE, state_tariffs
from screener.tables.empty_portfolio import settings_text
from screener.tables.files import Source, UnreadableError
from screener.tables.reading import EXTRA, RawTable, Sheet, misspelt, read_sheet, table_of
from screener.tables.setting_aside import same_number
from screener.tables.settings import FILE as SETTINGS
from screener.text import count

ID = "site_id"
SI_AND_WORDS = ("building_type", "current_strategy")  # whose words other tables define
OWN = "leave it as a column of your own"
OWN, UNUSED = "(own column)", "(not used)"
NEITHER = "none of them"
ALL = "all of them, one below the other"
APART = 1_000_000  # by which the rows of sheets one below the other are numbered apart
SEVERAL = 2  # headings that make a sheet a table
FEW = 3  # cells shown with a heading
TWELVE = 12
EMPTY = "nothing that is known: leave its cells empty"
LIST = ("building_type", "floor_area_m2", "postal_code", "latitude")  # a sheet with one of these lists sites


@dataclass(frozen=True)
class Question:
    """What the sheets do not tell: in words, with what may be answered, of which `proposed` is taken where nobody is asked."""

    text: str
    options: Sequence[str]
    proposed: int = 0


Ask = Callable[[Question], int]


@dataclass(frozen=True)
class Adopted:
    """What became of the sheets: `files` written, `notes`, `taken` (sheet, heading, meaning, example), rows, those set aside."""

    files: list[Path]
    notes: list[str]
    taken: list[dict[str, str]]
    rows: int
    aside: pl.DataFrame
    answers: list[tuple[str, str]] = field(default_factory=list)


class _Asking:
    """Asks, and remembers what was answered."""

    def __init__(self, ask: Ask) -> None:
        self._ask, self.answers = ask, list[tuple[str, str]]()

    def __call__(self, text: str, options: Sequence[str], proposed: int = 0) -> str:
        answer = options[self._ask(Question(text, options, proposed))]
        self.answers.append((text, answer))
        return answer


def adopt(
    sheets: Sequence[Path],
    out: Path,
    ask: Ask,
    reading: Path | None = None,
    every_row: Mapping[str, str] | None = None,
    force: bool = False,
) -> Adopted:
    """Make the portfolio folder `out` of spreadsheets, or make it anew from the next export.

    `reading`: choices made earlier; those in `out` where it is None. `every_row`: what all rows say in a column. UsageError
    where the folder holds other things, or its sites were changed by hand since and nobody forces it; ContractError where
    no sheet can be read as a list of sites.
    """
    contract, asking = load("sites"), _Asking(ask)
    kept = out / adopted.READING
    choices = Choices()
    if reading is not None or kept.is_file():
        choices = read_choices(reading or kept, contract)
    _require_ours(out, choices if reading is None else None, force)
    sheets = _once(sheets, out, force)
    for name, text in (every_row or {}).items():
        if name not in {each for column in contract.fields for each in column.names}:
            raise UsageError(f"there is no column {name}; `screener schema sites` has them")
        choices = replace(choices, every_row={**choices.every_row, name: text})
    read, choices, notes = _read(sheets, contract, choices, asking)
    main, *others = read
    main, choices = _settled(main, contract, choices, asking)
    for sheet in reversed([main, *others]):
        choices = choices.with_headings(sheet.taken.means)
    joined, joined_notes, spelt = _joined(main, others, contract, choices, asking)
    notes += [*_of_sheets([main, *others]), *joined_notes]
    raw = table_of(replace(main, frame=joined, notes=[]), contract, own=_own(choices))
    raw = replace(raw, notes=tuple(note for note in raw.notes if not note.endswith("is not used")))
    raw = _without_shifted(raw)
    raw, choices, prices, priced = _with_rates(raw, out, spelt, choices)
    raw = _with_every_row(raw, choices)
    raw, choices = _with_required(raw, contract, choices, asking)
    raw, table, choices = _with_words(raw, contract, choices, asking)
    rejecting = raw.faults
    if not rejecting.is_empty():
        hidden = "".join(map(_hidden_in, sheets))
        raise ContractError(rejecting.with_columns(pl.col("message") + hidden))
    texts = _plain_texts(table, raw, contract)
    written = {adopted.SITES: left_out.csv(texts), adopted.ASIDE: left_out.csv(_aside(raw, main, spelt))}
    if prices is not None:
        written["tariffs.csv"] = left_out.csv(prices)
    if not (out / SETTINGS).exists():
        written[SETTINGS] = settings_text(out.resolve().name, {"decimal_mark": "."})
    digests = {name: hashlib.sha256(text.encode()).hexdigest() for name, text in written.items() if name != SETTINGS}
    choices = replace(choices, files=digests)
    written[adopted.READING] = choices.in_toml()
    paths = add_files(out, written)
    notes += [*raw.notes, *priced, *table.notes]
    if own := [
        name for name in texts.columns if name not in {each for column in contract.fields for each in column.names}
    ]:
        notes.append(f"kept as columns of your own: {', '.join(own)}")
    taken = [row for sheet in [main, *others] for row in _table_of_headings(sheet, {*joined.columns})]
    return Adopted(paths, list(dict.fromkeys(notes)), taken, raw.frame.height, raw.aside, asking.answers)


def _require_ours(out: Path, choices: Choices | None, force: bool) -> None:
    """UsageError where `out` is no folder for this: other things in it, or tables that were changed since they were written."""
    if out.is_symlink() and not out.exists():
        raise UsageError(f"{out} is a link that leads nowhere; name another folder")
    if out.exists() and not out.is_dir():
        raise UsageError(f"{out} is a file; name a folder for the portfolio")
    if not out.is_dir() or not any(out.iterdir()) or force:
        return
    if not (out / adopted.READING).is_file():
        raise UsageError(
            f"{out} holds something that was not adopted; name a new folder, or add --force to write into it"
        )
    for name, digest in (choices.files if choices else {}).items():
        file = out / Path(name).name
        if file.is_file() and hashlib.sha256(file.read_bytes()).hexdigest() != digest:
            way_out = "mend the spreadsheet instead, or add --force to have it written anew"
            raise UsageError(f"{file} was changed since it was adopted; {way_out}")


def _once(sheets: Sequence[Path], out: Path, force: bool) -> list[Path]:
    """Each of the files once; UsageError where one is what was made of others in `out`, which would forget those set aside."""
    once = {file.resolve(): file for file in reversed(sheets)}
    for place, file in once.items():
        if not force and place.parent == out.resolve() and place.name in (adopted.SITES, adopted.ASIDE):
            way_out = "name the sheets it was made of, or another --out"
            raise UsageError(f"{file} was adopted from other sheets, and what they set aside would be lost; {way_out}")
    return [*reversed(once.values())]


def _read(
    paths: Sequence[Path], contract: Contract, choices: Choices, asking: _Asking
) -> tuple[list[Sheet], Choices, list[str]]:
    """The sheets that look like tables, the list of sites first; which those are is asked where several may be it."""
    known = {name for each in contract.fields for name in each.names} | {*headings.words(contract)}
    notes: list[str] = []
    found: list[Sheet] = []
    for file in paths:
        for source in _sources(file, known, choices, notes):
            try:
                found.append(read_sheet(source, contract, choices.headings))
            except UnreadableError as problem:
                raise ContractError(table_fault("sites", problem.rule, problem.message)) from None
    mended = [sheet for sheet in found if left_out.ROW in sheet.typed]
    if len(mended) < len(found):
        found = [sheet for sheet in found if sheet not in mended]
    lists = [sheet for sheet in found if _figures(sheet, contract) & {*LIST}]
    if not lists:
        lists = sorted(found, key=lambda sheet: -len(_figures(sheet, contract)))[:1]
    lists.sort(key=lambda sheet: -len(_figures(sheet, contract)))
    most = len(_figures(lists[0], contract))
    rivals = [
        sheet for sheet in lists if len(_figures(sheet, contract)) >= most - 1 and _is_like(sheet, lists[0], contract)
    ]
    main = lists[0]
    if len(rivals) > 1:
        names = [str(sheet.source) for sheet in rivals]
        if len({*names}) < len(names):  # files of one name in several folders
            names = [f"{sheet.source.file.parent}/{sheet.source}" for sheet in rivals]
        remembered = [sheet for sheet in rivals if str(sheet.source.sheet) in choices.sheets]
        if not remembered:
            apart = _are_apart(rivals)
            answer = asking(
                "Several sheets list sites. Which one is the list?", [*names, ALL], len(names) if apart else 0
            )
            remembered = rivals if answer == ALL else [rivals[names.index(answer)]]
        settled = []
        for sheet in remembered:
            sheet, choices = _settled(read_sheet(sheet.source, contract, choices.headings), contract, choices, asking)
            settled.append(sheet)
        main = _stacked(settled)
        kept = {sheet.source for sheet in remembered}
        notes += [
            f"{name} lists sites too and is not read"
            for name, sheet in zip(names, rivals, strict=True)
            if sheet.source not in kept
        ]
        choices = replace(choices, sheets=[sheet.source.sheet for sheet in remembered if sheet.source.sheet])
    others = [sheet for sheet in found if sheet.source != main.source and sheet not in rivals]
    beside = [sheet for sheet in others if ID in sheet.taken.header]
    notes += [f"{sheet.source} has no number of a site and is not read" for sheet in others if sheet not in beside]
    for sheet in mended:
        if sheet.source != main.source:
            main, told = _mended(main, sheet)
            notes.append(told)
    return [main, *beside], choices, notes


def _are_apart(sheets: Sequence[Sheet]) -> bool:
    """Whether no site is in two of the sheets, so that together they are the list."""
    numbers = [
        sheet.frame.select(same_number(pl.col(ID))).to_series().drop_nulls().unique()
        for sheet in sheets
        if ID in sheet.frame
    ]
    return len(numbers) == len(sheets) and pl.concat(numbers).is_unique().all()


def _stacked(sheets: Sequence[Sheet]) -> Sheet:
    """Sheets one below the other, their rows numbered apart."""
    frames = [sheet.frame.with_columns(pl.col("row") + APART * at) for at, sheet in enumerate(sheets)]
    below = tuple(str(sheet.source) for sheet in sheets[1:])
    return replace(sheets[0], frame=pl.concat(frames, how="diagonal"), below=below) if below else sheets[0]


def _mended(main: Sheet, sheet: Sheet) -> tuple[Sheet, str]:
    """The list with rows that were left out of an earlier run and mended in `rejects.csv`, each in its place."""
    names = [name for name in main.frame.columns if name in sheet.frame.columns and name != "row"]
    rows = sheet.frame.select(pl.col(left_out.ROW).cast(pl.Int64, strict=False).alias("row"), *names)
    if ID in names:  # by its number where that is one site's; a row of another export may be another site
        there = main.frame.select(place="row", id=same_number(pl.col(ID)))
        alone = there.filter(pl.col("id").is_not_null() & pl.col("id").is_unique())
        rows = rows.with_columns(id=same_number(pl.col(ID))).join(alone, on="id", how="left", maintain_order="left")
        rows = rows.join(there.select(row="place", was="id"), on="row", how="left", maintain_order="left")
        fits = pl.col("was").is_null() | pl.col("id").is_null() | (pl.col("was") == pl.col("id"))
        rows = rows.with_columns(row=pl.coalesce("place", pl.when(fits).then("row"))).drop("id", "place", "was")
    rows = rows.filter(pl.col("row").is_in(main.frame["row"].implode())).unique("row", keep="last", maintain_order=True)
    kept = main.frame.join(rows, on="row", how="anti")
    frame = pl.concat([kept, rows], how="diagonal").sort("row").select(main.frame.columns)
    lost = sheet.frame.height - rows.height
    rest = f"; {count(lost, 'row')} of it belong to none" if lost else ""
    return replace(
        main, frame=frame
    ), f"{sheet.source}: {count(rows.height, 'mended row')} in place of those of the list{rest}"


def _sources(file: Path, known: set[str], choices: Choices, notes: list[str]) -> list[Source]:
    """A file, or the sheets of a workbook that can be seen and look like tables."""
    if not file.is_file():
        raise UsageError(f"{file} is no file; name the spreadsheets, CSV or XLSX")
    ending = file.suffix.lower()
    if ending == ".xls":
        raise UsageError(f"{file.name} is a workbook of the old kind; save it as XLSX")
    if ending not in (*files.ENDINGS, ".xlsm", ".tsv", ".txt"):
        raise UsageError(f"{file.name} is none of the kinds that are read; save it as XLSX or CSV UTF-8")
    if ending not in (".xlsx", ".xlsm"):
        return [Source(file)]
    there = workbooks.sheets(file)
    names = [name for name, hidden in there.items() if not hidden]
    if len(there) < 2 or not names:
        return [Source(file)]
    try:
        looks = files.likeness(file, names, known)
    except Exception:  # told in words where the sheet is read
        return [Source(file)]
    tables = [name for name in names if looks[name][0] >= SEVERAL and looks[name][1]]
    tables = tables or [max(names, key=lambda name: looks[name])]
    passed = [name + (" (hidden)" if hidden else "") for name, hidden in there.items() if name not in tables]
    notes.append(f"{file.name}: of its sheets {', '.join(tables)} {'is' if len(tables) == 1 else 'are'} read"
                 + (f", {', '.join(passed)} not" if passed else ""))  # fmt: skip
    return [Source(file, name) for name in tables]


def _hidden_in(file: Path) -> str:
    """That a workbook hides sheets, which are not read; empty where it hides none."""
    if file.suffix.lower() not in (".xlsx", ".xlsm"):
        return ""
    hidden = [name for name, is_hidden in workbooks.sheets(file).items() if is_hidden]
    return f"; hidden sheets are not read: {', '.join(hidden)}" if hidden else ""


def _figures(sheet: Sheet, contract: Contract) -> set[str]:
    own = {name: each.name for each in contract.fields for name in each.names}
    unclear = {own[names[0]] for names in sheet.taken.unclear.values()}
    return {own[name] for name in sheet.taken.header if name in own} | {*sheet.taken.doubtful} | unclear


def _is_like(sheet: Sheet, other: Sheet, contract: Contract) -> bool:
    """Whether two sheets say much the same of sites."""
    one, two = _figures(sheet, contract), _figures(other, contract)
    return len(one & two) >= 0.7 * len(one | two)


def _own(choices: Choices) -> set[str]:
    return {heading for heading, column in choices.headings.items() if not column}


def _settled(sheet: Sheet, contract: Contract, choices: Choices, asking: _Asking) -> tuple[Sheet, Choices]:
    """A sheet of which every heading means one thing: where two fit, somebody says which."""
    before = choices
    for figure, rivals in sheet.taken.doubtful.items():
        shown = [f"{heading}{_examples(sheet, heading)}" for heading in rivals]
        answer = asking(f"Which column is {figure}?", [*shown, NEITHER])
        for heading, told in zip(rivals, shown, strict=True):
            column = next(iter(headings.meanings(heading, contract)), "") if told == answer else ""
            choices = choices.with_headings({heading: column})
    for heading, names in sheet.taken.unclear.items():
        proposed = _proposed(names, sheet)
        answer = asking(f'What is "{heading}"{_examples(sheet, heading)}?', [*names, OWN], proposed)
        choices = choices.with_headings({heading: "" if answer == OWN else answer})
    for fault in misspelt(sheet, contract, _own(choices)).to_dicts():
        heading, close = fault["column"], re.search(r'did you mean "(\w+)"\?$', fault["message"])
        required = close is not None and any(each.required for each in contract.fields if close[1] in each.names)
        options = [close[1], OWN] if close else [OWN]
        answer = asking(
            f'Is "{heading}"{_examples(sheet, heading)} another word?', options, int(not required) if close else 0
        )
        choices = choices.with_headings({heading: "" if answer == OWN else answer})
    if choices is before:
        return sheet, choices
    return read_sheet(sheet.source, contract, choices.headings), choices


def _proposed(names: Sequence[str], sheet: Sheet) -> int:
    """Of one figure in several units that of the sheet's other figures; else the one in US units where it has US places."""
    us = [name for name in sheet.taken.header if name.endswith(("_ft2", "_tons", "_cfm", "_eer", "_f", "_ft"))]
    si = [name for name in sheet.taken.header if name.endswith(("_m2", "_kw", "_l_s", "_cop", "_c"))]
    is_us = len(us) > len(si) or (not si and {"postal_code", "state"} & {*sheet.taken.header})
    own = [name.endswith(("_ft2", "_tons", "_cfm", "_eer", "_f", "_ft")) == bool(is_us) for name in names]
    return own.index(True) if True in own else 0


def _examples(sheet: Sheet, heading: str) -> str:
    """The first cells below a heading, in brackets."""
    if heading not in sheet.typed:
        return ""
    name = sheet.taken.header[sheet.typed.index(heading)]
    if name not in sheet.frame.columns:
        return ""
    cells = sheet.frame[name].drop_nulls().unique(maintain_order=True).head(FEW)
    return f" ({', '.join(cell[:20] for cell in cells)})" if len(cells) else ""


def _of_sheets(sheets: Iterable[Sheet]) -> list[str]:
    """What was said when the sheets were read, each under its own name."""
    return [note.replace("sites: ", f"{sheet.source}: ", 1) for sheet in sheets for note in sheet.notes]


def _table_of_headings(sheet: Sheet, kept: Collection[str]) -> list[dict[str, str]]:
    rows = []
    known = {name for field in load("sites").fields for name in field.names}
    for at, heading in enumerate(sheet.spelt):
        if heading:
            name = sheet.taken.header[at]
            meaning = name if name != sheet.typed[at] or name in known else OWN if name in kept else UNUSED
            example = next(iter(sheet.frame[name].drop_nulls()), "") if name in sheet.frame.columns else ""
            rows.append(
                {"sheet": str(sheet.source), "heading": heading, "taken for": meaning, "such as": str(example)[:24]}
            )
    return rows


def _joined(
    main: Sheet, others: Sequence[Sheet], contract: Contract, choices: Choices, asking: _Asking
) -> tuple[pl.DataFrame, list[str], dict[str, str]]:
    """The rows of the list with what other sheets say of the same sites; notes; and the headings as typed, by column."""
    frame, notes = main.frame, list[str]()
    spelt = {column: main.spelt[at] for at, column in enumerate(main.taken.header) if column}
    for sheet in others:
        sheet, _ = _settled(sheet, contract, choices, asking)
        rows, told = _one_row_a_site(sheet)
        notes += told
        names = [name for name in rows.columns if name not in ("_key", "row", ID) and not name.startswith("EXTRA_")]
        key = _keys(frame[ID], rows[ID]) if ID in frame.columns else None
        if key is None or not names:
            notes.append(f"{sheet.source} cannot be joined: no number of its sites is in the list")
            continue
        mine, theirs = key
        beside = rows.with_columns(_key=theirs).filter(pl.col("_key").is_not_null()).unique("_key", keep="first")
        new = [name for name in names if name not in frame.columns]
        also = [name for name in names if name in frame.columns]
        renamed = beside.select("_key", *new, *(pl.col(name).alias(f"_other_{name}") for name in also))
        frame = frame.with_columns(_key=mine).join(renamed, on="_key", how="left", maintain_order="left")
        for name in also:
            if unlike := _unlike(frame[name], frame[f"_other_{name}"]):
                notes.append(
                    f"{sheet.source}: {name} of {count(unlike, 'site')} differs from the list's, which is taken"
                )
        frame = frame.with_columns(pl.coalesce(name, f"_other_{name}").alias(name) for name in also)
        frame = frame.drop("_key", *(f"_other_{name}" for name in also))
        spelt |= {column: sheet.spelt[at] for at, column in enumerate(sheet.taken.header) if column in new}
        met = beside["_key"].is_in(mine.drop_nulls().to_list())
        lost = beside.filter(~met)[ID].to_list()
        notes.append(f"{sheet.source} is joined by {ID}: {count(int(met.sum()), 'site')}")
        if lost:
            shown = ", ".join(map(str, lost[:5])) + (" ..." if len(lost) > 5 else "")
            notes.append(f"{sheet.source}: {count(len(lost), 'row')} of no site in the list left out ({shown})")
    return frame, notes, spelt


def _unlike(mine: pl.Series, theirs: pl.Series) -> int:
    """Of how many rows two columns of texts say different things: other figures, or other words."""
    one, two = (
        each.to_frame().select(spelling(pl.first()).str.replace_all(",", "")).to_series() for each in (mine, theirs)
    )
    of_one, of_two = (each.cast(pl.Float64, strict=False) for each in (one, two))
    return int(((one != two) & (of_one != of_two).fill_null(True)).sum())


def _keys(mine: pl.Series, theirs: pl.Series) -> tuple[pl.Series, pl.Series] | None:
    """Numbers of sites as two sheets write them, alike where they mean one site: `S-0122` and `122` too, where the list then
    still tells all of its sites apart. None where they have none in common."""
    one, two = (each.to_frame().select(same_number(pl.first())).to_series() for each in (mine, theirs))
    of_one, of_two = (each.str.extract(r"^\D*?0*(\d+)\D*$") for each in (one, two))
    by_text, by_digits = _in_common(one, two), _in_common(of_one, of_two)
    apart = of_one.drop_nulls().n_unique() == one.filter(of_one.is_not_null()).n_unique()
    if not (by_text or by_digits):
        return None
    return (of_one, of_two) if by_digits > by_text and apart else (one, two)


def _in_common(one: pl.Series, two: pl.Series) -> int:
    return int(two.drop_nulls().is_in(one.drop_nulls().to_list()).sum())


def _one_row_a_site(sheet: Sheet) -> tuple[pl.DataFrame, list[str]]:
    """A sheet beside the list with one row a site: twelve months of a bill are added up, other repetitions left out."""
    rows = sheet.frame.filter(pl.col(ID).is_not_null()).with_columns(_key=same_number(pl.col(ID)))
    twice = rows.filter(pl.col("_key").is_duplicated())
    if twice.is_empty():
        return rows, []
    energy = "annual_electricity_kwh"
    month = next((name for name in rows.columns if headings.plain(name) in MONTHS), None)
    if energy in rows.columns and month is not None:
        figure = pl.col(energy).str.replace_all(r"[,\s]", "").cast(pl.Float64, strict=False)
        sums = rows.group_by("_key", maintain_order=True).agg(
            pl.col(ID).first(),
            pl.col("row").first(),
            pl.len().alias("n"),
            pl.col(month).n_unique().alias("months"),
            figure.is_not_null().all().alias("read"),
            figure.sum().alias(energy),
        )
        whole = (pl.col("n") == TWELVE) & (pl.col("months") == TWELVE) & pl.col("read")
        told = [f"{sheet.source}: {energy} is the sum of twelve months a site"]
        if short := sums.filter(~whole).height:
            told.append(
                f"{sheet.source}: {count(short, 'site')} without twelve whole months; their {energy} is left empty"
            )
        summed = sums.with_columns(pl.when(whole).then(pl.col(energy).cast(pl.String)).alias(energy))
        return summed.select("row", ID, "_key", energy), told
    kept = rows.filter(~pl.col("_key").is_duplicated())
    shown = ", ".join(twice["_key"].unique(maintain_order=True).head(5))
    return kept, [f"{sheet.source}: sites with several rows are left out, since none can be told to count: {shown}"]


MONTHS = (
    "month",
    "billing month",
    "bill month",
    "period",
    "billing period",
    "date",
    "bill date",
    "month year",
    "read date",
)


def _without_shifted(raw: RawTable) -> RawTable:
    """The sites without rows that have more cells than the header: of which column each is nobody can tell. Those are set
    aside."""
    beyond = [name for name in raw.frame.columns if name.startswith(EXTRA)]
    rows = raw.frame.filter(pl.any_horizontal(pl.col(beyond).is_not_null())) if beyond else raw.frame.clear()
    if rows.is_empty():
        return raw
    typed = (raw.frame if raw.typed is None else raw.typed).join(rows.select("row"), on="row", how="semi")
    why = "cells beyond the header; put texts that contain commas in double quotes"
    shifted = typed.with_columns(kind=pl.lit("too many cells"), reason=pl.lit(why))
    frame = raw.frame.join(rows, on="row", how="anti", maintain_order="left")
    return replace(raw, frame=frame, aside=pl.concat([raw.aside, shifted], how="diagonal"))


def _with_rates(
    raw: RawTable, out: Path, spelt: Mapping[str, str], choices: Choices
) -> tuple[RawTable, Choices, pl.DataFrame | None, list[str]]:
    """The sites with tariffs of the prices that stand beside them; without any, tariffs by name are columns of their own."""
    frame, notes = raw.frame, list[str]()
    prices: dict[str, tuple[str, str]] = {}
    for name in frame.columns:
        heading = spelt.get(name, name)
        column = choices.headings.get(headings.plain(heading)) or prices_beside.meant(heading)
        if column in PRICES and column not in prices and frame[name].null_count() < frame.height:
            prices[column] = (name, heading)
    given = prices_beside.ID if prices_beside.ID in frame.columns else None
    if prices:
        table, names, remarks = _tariffs(frame, prices, given)
        notes += remarks
        if not table.is_empty():
            kept = frame.drop(given) if given else frame
            frame = kept.with_columns(names.alias(prices_beside.ID))
            told = ", ".join(f'"{heading}" as {column}' for column, (_, heading) in prices.items())
            notes.append(f"prices beside the sites are read: {told}; {count(table.height, 'tariff')} in tariffs.csv")
            return replace(raw, frame=frame), choices, table, notes
    if given is not None and not (out / "tariffs.csv").is_file():
        heading = spelt.get(given, given)
        frame = frame.rename({given: "named_tariff"})
        notes.append(
            f'"{heading}" names tariffs that no sheet prices; it is kept as named_tariff and average prices of the states '
            "stand in: write tariffs.csv and call the column tariff_id"
        )
    return replace(raw, frame=frame), choices, None, notes


def _tariffs(
    frame: pl.DataFrame, prices: dict[str, tuple[str, str]], given: str | None
) -> tuple[pl.DataFrame, pl.Series, list[str]]:
    """Tariffs of prices beside the sites; without any of fuel the averages of the states stand in, which their names say."""
    if any(name.startswith("fuel") for name in prices) or "electricity_price_per_kwh" not in prices:
        return *prices_beside.tariffs(frame, prices, given), []
    averages = state_tariffs()
    states = (
        frame["state"].str.to_uppercase()
        if "state" in frame.columns
        else pl.Series([None] * frame.height, dtype=pl.String)
    )
    by_state = dict(averages.select("state", "fuel_price_per_kwh").iter_rows())
    fuel = states.replace_strict(by_state, default=by_state[ANYWHERE], return_dtype=pl.Float64)
    column = prices["electricity_price_per_kwh"][0]
    texts = pl.select(pl.when(frame[column].is_not_null()).then(fuel.cast(pl.String))).to_series()
    more = frame.with_columns(texts.alias("_fuel"))
    prices = {**prices, "fuel_price_per_kwh": ("_fuel", "fuel $/kWh")}
    table, names = prices_beside.tariffs(more, prices, None)
    suffix = pl.lit("_average_fuel")
    named = pl.select(pl.concat_str(names, suffix)).to_series()
    table = table.with_columns(pl.concat_str(prices_beside.ID, suffix).alias(prices_beside.ID))
    return (
        table,
        named,
        [
            "no sheet has a price of fuel: averages of the states stand in, a placeholder that their tariffs are named for"
        ],
    )


def _with_every_row(raw: RawTable, choices: Choices) -> RawTable:
    """The sites with what all of them say in columns that no sheet has."""
    new = {name: text for name, text in choices.every_row.items() if name not in raw.frame.columns}
    told = [
        f"{name} stands in the sheet: {choices.every_row[name]} for all rows is not used"
        for name in choices.every_row
        if name not in new
    ]
    frame = raw.frame.with_columns(pl.lit(text).alias(name) for name, text in new.items())
    return replace(raw, frame=frame, notes=(*raw.notes, *told))


def _with_required(raw: RawTable, contract: Contract, choices: Choices, asking: _Asking) -> tuple[RawTable, Choices]:
    """The sites with a building type: one of the types for all rows where no column says it and somebody knows."""
    if "building_type" in raw.frame.columns:
        return raw, choices
    types = shipped.building_types().values["building_type"].to_list()
    open_ = "none of these: a column of the sheet says it, or will"
    answer = asking("No column says what kind of building a site is. What are they all?", [*types, open_], len(types))
    if answer == open_:
        return raw, choices
    choices = replace(choices, every_row={**choices.every_row, "building_type": answer})
    return _with_every_row(raw, choices), choices


def _with_words(
    raw: RawTable, contract: Contract, choices: Choices, asking: _Asking
) -> tuple[RawTable, CheckedTable, Choices]:
    """The sites with words of the contract in place of those that somebody says mean the same; checked."""
    mark = choices.decimal_mark
    table = checked(raw, contract, mark)
    if mark is None and (unclear := table.faults.filter(rule="number of two meanings")).height:
        shown = unclear["value"][0]
        options = ["a comma parts thousands, a point decimals", "a comma is the decimal mark"]
        answer = asking(f"How are figures such as {shown} written?", options, int(raw.separator == ";"))
        choices = replace(choices, decimal_mark="." if answer == options[0] else ",")
        table = checked(raw, contract, choices.decimal_mark)
    known = {
        "building_type": shipped.building_types().values["building_type"].to_list(),
        "current_strategy": shipped.strategies()["strategy"].to_list(),
    }
    known |= {
        each.name: list(each.enum)
        for each in contract.fields
        if each.enum and each.name not in ("state", "climate_zone")
    }
    frame = raw.frame
    for column, names in known.items():
        if column not in frame.columns:
            continue
        synonyms = contract.field(column).synonyms
        chosen = {spelling_of(word): meant for word, meant in choices.words.get(column, {}).items()}
        used = (
            frame.select(word=pl.col(column), plain=spelling(pl.col(column)))
            .drop_nulls()
            .unique("plain", maintain_order=True)
        )
        for word, plain in used.iter_rows():
            if plain in names or plain in synonyms or plain in chosen:
                continue
            likely = _likely(plain, {name: name for name in names} | dict(synonyms))
            required = contract.field(column).required
            options = [*names, "something else: leave it as it is" if required else EMPTY]
            answer = asking(f'What is the {column} "{word}"?', options, options.index(likely) if likely else len(names))
            meant = "" if answer == options[-1] else answer
            choices = choices.with_word(column, word, meant)
            chosen[plain] = meant
        optional = not contract.field(column).required
        replaced = {plain: meant or None for plain, meant in chosen.items() if meant or optional}
        if replaced:
            meant_by = spelling(pl.col(column)).replace_strict(replaced, default=pl.col(column), return_dtype=pl.String)
            frame = frame.with_columns(meant_by.alias(column))
    if frame is not raw.frame:
        raw = replace(raw, frame=frame)
        table = checked(raw, contract, choices.decimal_mark)
    return raw, table, choices


def _likely(plain: str, meanings: Mapping[str, str]) -> str | None:
    """What a word most likely means: one spelt nearly so, or the one meaning of the known words in it; None where there is none,
    or more than one."""
    if close := get_close_matches(plain, meanings, n=1, cutoff=0.8):
        return meanings[close[0]]
    if {*plain.split("_")} & {"no", "non", "not", "without"}:
        return None
    held = [word for word in meanings if len(word) > 2 and f"_{word}_" in f"_{plain}_"]
    whole = [word for word in held if not any(word != other and word in other for other in held)]
    found = {meanings[word] for word in whole}
    return found.pop() if len(found) == 1 else None


def spelling_of(word: str) -> str:
    """A word as categories are compared."""
    return str(pl.select(spelling(pl.lit(word))).item())


def _plain_texts(table: CheckedTable, raw: RawTable, contract: Contract) -> pl.DataFrame:
    """The rows as `sites.csv` has them: figures plain in the unit of their column, words of the contract, dates and own columns
    as typed; cells at fault and those that cannot be read as typed too, for whoever reads the table next to tell."""
    columns: list[pl.Series] = []
    numbers = table.cells.numbers
    for each in contract.fields:
        for name in each.names:
            if name not in raw.frame.columns:
                continue
            texts = raw.frame[name]
            if name in numbers.columns:
                figures = numbers[name].round_sig_figs(12).cast(pl.String).str.replace(r"\.0$", "")
                texts = pl.select(pl.coalesce(figures, texts)).to_series()
            elif each.name != ID and (each.enum or each.category or each.name == "postal_code"):
                texts = pl.select(pl.coalesce(table.values[each.name], texts)).to_series()
            columns.append(texts.alias(name))
    known = {name for each in contract.fields for name in each.names}
    own = [
        raw.frame[name].alias(raw.headings.get(name, name))
        for name in raw.frame.columns
        if name not in known and name != "row" and not name.startswith(("EXTRA_", "ROW_"))
    ]
    frame = pl.DataFrame([*columns, *left_out.distinct(own, {series.name for series in columns})])
    return frame


def _aside(raw: RawTable, main: Sheet, spelt: Mapping[str, str]) -> pl.DataFrame:
    """The rows set aside under the headings of their sheet, with why, and where they stand."""
    sheets = [str(main.source), *main.below]
    cells = [name for name in raw.aside.columns if name not in ("row", "kind", "reason")]
    named = left_out.distinct([raw.aside[name].alias(spelt.get(name, name)) for name in cells], {*adopted.OWN})
    site = raw.aside[ID] if ID in cells else pl.Series([None] * raw.aside.height, dtype=pl.String)
    why = {
        adopted.KIND: raw.aside["kind"],
        adopted.REASON: raw.aside["reason"],
        adopted.FILE: pl.Series([sheets[row // APART] for row in raw.aside["row"]], dtype=pl.String),
        adopted.ROW: (raw.aside["row"] % APART).cast(pl.String),
        adopted.SITE: site,
    }
    return pl.DataFrame([*named, *(series.alias(name) for name, series in why.items())])
