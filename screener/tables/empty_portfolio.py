"""An empty portfolio to fill in: every table with its header, an example row where one is required, and notes.

As a folder of CSV files, or as one workbook with drop-down lists and a note on every header. What it writes can be
checked and run as it is.
"""

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields
from pathlib import Path
from typing import TYPE_CHECKING, Any

import polars as pl

from screener import units
from screener.contracts import Contract, Field, load
from screener.contracts.in_words import facts
from screener.errors import UsageError
from screener.tables import shipped
from screener.tables.offers import OFFERS
from screener.tables.portfolio import REQUIRED, TABLES
from screener.tables.settings import FILE, RULES, Settings

if TYPE_CHECKING:
    from xlsxwriter import Workbook
    from xlsxwriter.format import Format
    from xlsxwriter.worksheet import Worksheet

NOTES = "NOTES.md"
LISTED_ROWS = 10_000  # rows below a header that offer a list
# Left empty in the example row: other ways to say the same, and what has a table of its own.
NOT_SHOWN = (
    *("latitude", "longitude", "climate_zone", "weather_file", "humidity_limit_rh_pct"),
    *("equipment_id", "open_days", "closed_months", "cannot_have"),
)
HOW_TO = (
    "One row per building in sites, one per tariff in tariffs; the first row of each is an example: replace it.",
    "Beside rows of your own the example row of sites, left as it was, is no store.",
    "Cells may stay empty unless they are required: the building type fills them, and the run says so.",
    "Quantities may be given in another unit under the other name of their column; keep one of the two columns.",
    "Tables with nothing below their header are not used; columns you do not need may be deleted.",
)


@dataclass(frozen=True)
class Blank:
    """A table to fill in: its contract, the names of its columns in the chosen units, and its example row, if any."""

    contract: Contract
    names: list[str]
    example: list[Any]

    @property
    def columns(self) -> Iterator[tuple[str, Field]]:
        """Name in the header and field, in order."""
        return zip(self.names, self.contract.fields, strict=True)


def write(folder: Path, us: bool = False, workbook: bool = False) -> list[Path]:
    """Write an empty portfolio and return its files. UsageError where the folder holds something already.

    `us`: quantities under their names in US units, where there are any. `workbook`: one XLSX file instead of CSV files.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise UsageError(f"{folder} is there already and not an empty folder; name a new one")
    folder.mkdir(parents=True, exist_ok=True)
    first = [name for name in reversed(TABLES) if name != OFFERS]  # offers refer to sites
    blanks = [_blank(load(name), us) for name in (*first, OFFERS)]
    settings = folder / FILE
    settings.write_text(settings_text(folder.resolve().name), encoding="utf-8", newline="\n")
    tables = [_workbook(folder, blanks)] if workbook else [*_csv_files(folder, blanks), _notes(folder, blanks)]
    return [*tables, settings]


def _blank(contract: Contract, us: bool) -> Blank:
    names = [_in_us_units(field) if us else field.name for field in contract.fields]
    shown = [contract.name in REQUIRED and field.name not in NOT_SHOWN for field in contract.fields]
    example = [
        field.example_in(name) if is_shown else None
        for field, name, is_shown in zip(contract.fields, names, shown, strict=True)
    ]
    return Blank(contract, names, example if any(shown) else [])


def _in_us_units(field: Field) -> str:
    """The first other name of a column, but for electricity, which goes by kilowatt-hours everywhere."""
    return next((name for name in field.alternatives if units.unit_of(name) != "mwh"), field.name)


def _told(field: Field, name: str) -> str:
    """What a column means, with temperatures in the unit that its name goes with."""
    return units.in_us_words(field.description) if name != field.name else field.description


def _plain(value: Any) -> str:
    return f"{value:.10g}" if isinstance(value, float) else str(value)


def _csv_files(folder: Path, blanks: Sequence[Blank]) -> Iterator[Path]:
    for blank in blanks:
        file = folder / f"{blank.contract.name}.csv"
        rows = [["" if value is None else _plain(value) for value in blank.example]] if blank.example else []
        pl.DataFrame(rows, schema=dict.fromkeys(blank.names, pl.String), orient="row").write_csv(file)
        yield file


def _notes(folder: Path, blanks: Sequence[Blank]) -> Path:
    lines = ["# How to fill in this portfolio", "", *(f"- {text}" for text in HOW_TO), ""]
    for blank in blanks:
        lines += [f"## {blank.contract.name}.csv", "", blank.contract.description, ""]
        lines += [f"- `{name}`: {', '.join(facts(field, name))}. {_told(field, name)}" for name, field in blank.columns]
        lines.append("")
    file = folder / NOTES
    file.write_text("\n".join(lines), encoding="utf-8", newline="\n")
    return file


POSSIBLE = {  # of settings that have no default
    "inflation": "0.02",
    "electricity_escalation": "0.01",
    "fuel_escalation": "0.01",
    "decimal_mark": '"."',
    "calendar_year": "2026",
    "holidays": '["01-01", "12-25"]',
}


def settings_text(name: str, given: Mapping[str, str] | None = None) -> str:
    """A settings file: the name, what is `given`, and every other setting as a comment with its default or, where it has none, a
    possible value."""
    stated = {"name": name, **(given or {})}
    lines = [f"{key} = {_in_toml(value)}" for key, value in stated.items()]
    lines.append("# Take the # away from a line to change it.")
    for setting in fields(Settings):
        if setting.name not in stated:
            shown = POSSIBLE.get(setting.name) or _in_toml(setting.default)
            lines.append(f"# {setting.name} = {shown}  # {RULES[setting.name][1]}")
    return "\n".join(lines) + "\n"


def _in_toml(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    return json.dumps(value, ensure_ascii=False) if isinstance(value, str) else str(value)


def _workbook(folder: Path, blanks: Sequence[Blank]) -> Path:
    import xlsxwriter

    file = folder / "portfolio.xlsx"
    with xlsxwriter.Workbook(file) as book:
        sheets = {blank.contract.name: book.add_worksheet(blank.contract.name) for blank in blanks}
        lists = _lists(book)
        head, required = (book.add_format({"bold": True, "bg_color": color}) for color in ("#E7EEF4", "#F6E3C0"))
        for blank in blanks:
            _fill_sheet(sheets[blank.contract.name], blank, head, required)
            _offer_lists(sheets[blank.contract.name], blank, lists)
        notes = book.add_worksheet("notes")
        notes.set_column(0, 0, 120)
        notes.write_column(0, 0, [*HOW_TO, "Required columns are amber. Point at a header to read what it means."])
    return file


def _fill_sheet(sheet: "Worksheet", blank: Blank, head: "Format", required: "Format") -> None:
    sheet.freeze_panes(1, 1)
    for at, (name, field) in enumerate(blank.columns):
        sheet.set_column(at, at, max(12, len(name) + 2))
        sheet.write_string(0, at, name, required if field.required else head)
        note = f"{', '.join(facts(field, name))}.\n{_told(field, name)}"
        sheet.write_comment(0, at, note, {"x_scale": 3, "y_scale": 1.5})
    for at, value in enumerate(blank.example):
        if isinstance(value, str):
            sheet.write_string(1, at, value)
        elif value is not None:
            sheet.write(1, at, value)


def _lists(book: "Workbook") -> Mapping[str, str]:
    """A sheet of the words that columns take; by contract and column the range to choose from."""
    words = {
        "building_type": shipped.building_types().values["building_type"].to_list(),
        "strategy": shipped.strategies()["strategy"].to_list(),
        "true_false": ["true", "false"],
    }
    for field in load("sites").fields:
        if field.enum:
            words[field.name] = list(field.enum)
    sheet = book.add_worksheet("lists")
    ranges = {}
    for at, (name, column) in enumerate(words.items()):
        sheet.write_column(0, at, [name, *column])
        letter = chr(ord("A") + at)
        ranges[name] = f"=lists!${letter}$2:${letter}${len(column) + 1}"
    return ranges | {key: f"={table}!$A$2:$A${LISTED_ROWS}" for key, table in REFERRED.items()}


REFERRED = {"tariff_id": "tariffs", "equipment_id": "equipment"}  # columns that name rows of another sheet
SAME_WORDS = {"current_strategy": "strategy", "based_on": "building_type"}


def _offer_lists(sheet: "Worksheet", blank: Blank, lists: Mapping[str, str]) -> None:
    """Drop-down lists; other words are allowed, after a question, since a portfolio may have names of its own."""
    for at, (_, field) in enumerate(blank.columns):
        key = "true_false" if field.kind == "boolean" else SAME_WORDS.get(field.name, field.name)
        defines = field.name in blank.contract.primary_key[:1]
        if key in lists and not (defines and field.name in REFERRED):
            offer = {"validate": "list", "source": lists[key], "error_type": "information"}
            sheet.data_validation(1, at, LISTED_ROWS, at, offer)
