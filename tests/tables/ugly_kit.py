"""Thirty spreadsheets as chains keep them, each from a habit seen in practice (own making, common practice, no source).

Every one says the same of the same twelve stores, in its own way; `STORES` is what a careful person reads in all of them.
A habit changes how the stores are written: headings, cells, what stands around them, or the kind of file.
"""

import csv
import datetime
import io
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import xlsxwriter

KW_TON, COP_EER, M2_FT2 = 3.516853, 1 / 3.412142, 0.09290304  # ton of refrigeration, Btu/Wh, square foot
TYPES = ("supermarket", "convenience_store", "retail")
STORES: list[dict[str, Any]] = [
    {
        "site_id": str(number),
        "name": f"{street} Store",
        "building_type": TYPES[at % 3],
        "postal_code": postal,
        "state": state,
        "city": city,
        "floor_area_ft2": area,
        "cooling_capacity_tons": tons,
        "cooling_eer": 9.5 + at % 4 * 0.5,
        "opens_hour": 6.0 + at % 3 * 0.5,
        "closes_hour": 21.0 + at % 3,
        "humidity_limit_rh_pct": 50 + at % 3 * 5,
        "peak_occupants": 40 + 10 * at,
    }
    for at, (number, street, postal, state, city, area, tons) in enumerate(
        [
            (101, "Quay", "33101", "FL", "Miami", 40_300, 110),
            (102, "Mill", "33602", "FL", "Tampa", 3_200, 12),
            (103, "Weir", "30303", "GA", "Atlanta", 18_500, 48),
            (104, "Lock", "02138", "MA", "Cambridge", 38_900, 96),
            (105, "Ford", "07030", "NJ", "Hoboken", 2_950, 9),
            (106, "Pond", "77002", "TX", "Houston", 21_000, 60),
            (107, "Bridge", "70112", "LA", "New Orleans", 45_200, 125),
            (108, "Harbour", "28202", "NC", "Charlotte", 3_600, 14),
            (109, "Canal", "37203", "TN", "Nashville", 16_750, 44),
            (110, "Dock", "06103", "CT", "Hartford", 36_400, 92),
            (111, "Ferry", "19103", "PA", "Philadelphia", 3_050, 10),
            (112, "Sluice", "60601", "IL", "Chicago", 24_800, 62),
        ]
    )
]
HEADINGS = {
    "site_id": "Store #",
    "name": "Store Name",
    "building_type": "Type",
    "postal_code": "ZIP",
    "state": "State",
    "city": "City",
    "floor_area_ft2": "Sq Ft",
    "cooling_capacity_tons": "Tons",
    "cooling_eer": "EER",
    "opens_hour": "Opens",
    "closes_hour": "Closes",
    "humidity_limit_rh_pct": "Max RH",
    "peak_occupants": "Occupants",
}
Row = list[Any]


@dataclass
class Sheet:
    """What stands in a sheet: rows of cells, headings first; what else its workbook has; where its marks and times are."""

    rows: list[Row]
    formats: Mapping[int, str] = field(default_factory=dict)  # number formats by column
    merged: Sequence[tuple[int, int, int, int]] = ()
    hidden_rows: Sequence[int] = ()
    hidden_columns: Sequence[int] = ()
    other: Mapping[str, tuple[list[Row], bool]] = field(
        default_factory=dict
    )  # sheets before it, and whether each is hidden
    formulas: bool = False


@dataclass(frozen=True)
class Habit:
    """`make` gives what is written to `file`; `usable`: stores to be ranked, all but those set aside for a reason; `expected`:
    what the sheet says otherwise than `STORES`, by store and column."""

    make: Callable[[], Sheet | bytes]
    file: str = "stores.csv"
    aside: Mapping[str, str] = field(default_factory=dict)
    expected: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    lacks: Sequence[str] = ()


def written(
    headings: Mapping[str, str] = HEADINGS,
    cells: Mapping[str, Callable[[Any], Any]] | None = None,
    stores: Sequence[Mapping[str, Any]] = STORES,
) -> list[Row]:
    """Headings and stores as rows; `cells` says how a column's values are written."""
    write = cells or {}
    rows: list[Row] = [list(headings.values())]
    rows += [[write.get(name, lambda value: value)(store[name]) for name in headings] for store in stores]
    return rows


def with_columns(rows: list[Row], **columns: Sequence[Any]) -> list[Row]:
    """The rows with further columns at their end, by heading."""
    made = [[*row] for row in rows]
    for heading, cells in columns.items():
        for row, cell in zip(made, [heading.replace("_", " "), *cells], strict=True):
            row.append(cell)
    return made


def text(rows: Sequence[Row], separator: str = ",", ends: str = "\r\n") -> str:
    file = io.StringIO()
    csv.writer(file, delimiter=separator, lineterminator=ends).writerows(
        ["" if cell is None else f"{cell:g}" if isinstance(cell, float) else cell for cell in row] for row in rows
    )
    return file.getvalue()


def clock(hour: float) -> str:
    """10:30 PM."""
    return f"{(int(hour) - 1) % 12 + 1}:{round(hour % 1 * 60):02} {'AM' if hour < 12 else 'PM'}"


def without(*names: str) -> dict[str, str]:
    return {name: heading for name, heading in HEADINGS.items() if name not in names}


def titled() -> Sheet:
    return Sheet([["Harbour Lane Grocers"], ["Facilities list, do not forward"], [], *written()], merged=[(0, 0, 0, 5)])


def grouped_headings() -> Sheet:
    """A row of groups in merged cells above the row of headings, the units in the lower one."""
    above = ["Store", None, None, "Location", None, None, "Area", "Cooling", None, "Hours", None, "Humidity", "People"]
    below = [
        "#",
        "Store Name",
        "Type",
        "ZIP",
        "State",
        "City",
        "sq ft",
        "tons",
        "EER",
        "Opens",
        "Closes",
        "Max RH",
        "Occupants",
    ]
    return Sheet([above, below, *written()[1:]], merged=[(0, 3, 0, 5), (0, 7, 0, 8)])


def units_below() -> Sheet:
    rows = written(HEADINGS | {"floor_area_ft2": "Area", "cooling_capacity_tons": "Cooling capacity"})
    units = [None, None, None, None, None, None, "(sq ft)", "(tons)", "Btu/Wh", None, None, "%", None]
    return Sheet([rows[0], units, *rows[1:]])


def merged_state() -> Sheet:
    """The state once, in a cell merged over its stores."""
    rows = written(cells={"state": lambda state: state})
    return Sheet(rows, merged=[(1, 4, 2, 4)])


def totals_by_district() -> bytes:
    rows = written()
    lines = [rows[0]]
    for first in range(1, 13, 4):
        part = rows[first : first + 4]
        lines += [[f"District {first // 4 + 1}"], *part]
        lines.append(
            ["Subtotal", None, None, None, None, None, sum(row[6] for row in part), sum(row[7] for row in part)]
        )
    return text([*lines, ["Grand Total", None, None, None, None, None, sum(row[6] for row in rows[1:])]]).encode()


def footnotes() -> bytes:
    return text(
        [*written(), [], ["* areas are leased areas as of last year"], ["Source: real estate dept."], ["Page 1 of 1"]]
    ).encode()


def hidden_things() -> Sheet:
    """A hidden older list under the better name, a hidden column of older areas, a row that a filter hides."""
    old = written(stores=[{**store, "floor_area_ft2": 1} for store in STORES])
    rows = with_columns(written(), Square_Feet=[9 * store["floor_area_ft2"] for store in STORES])
    return Sheet(
        rows, hidden_columns=[13], hidden_rows=[5], other={"sites": (old, True), "Notes": ([["see below"]], False)}
    )


def excel_times() -> Sheet:
    day = {"opens_hour": lambda hour: hour / 24, "closes_hour": lambda hour: hour / 24}
    return Sheet(written(cells=day), formats={9: "h:mm AM/PM", 10: "[h]:mm"})


def times_unformatted() -> bytes:
    day = {"opens_hour": lambda hour: f"{hour / 24:.6f}", "closes_hour": lambda hour: f"{hour / 24:.6f}"}
    return text(written(cells=day)).encode()


def percents() -> Sheet:
    return Sheet(written(cells={"humidity_limit_rh_pct": lambda pct: pct / 100}), formats={11: "0%"})


def numbers_as_texts() -> Sheet:
    cells = dict.fromkeys(
        ("floor_area_ft2", "cooling_capacity_tons", "cooling_eer", "postal_code", "peak_occupants"), str
    )
    return Sheet(written(cells={**cells, "floor_area_ft2": lambda area: f"{area:,}"}))


def thousands() -> bytes:
    return text(written(cells={"floor_area_ft2": lambda area: f"{area:,}"})).encode()


def european() -> bytes:
    """Semicolons, decimal commas, points between thousands, a byte-order mark."""
    comma = dict.fromkeys(("cooling_eer", "opens_hour", "closes_hour"), lambda value: f"{value:.1f}".replace(".", ","))
    area = {"floor_area_ft2": lambda value: f"{value:,.1f}".replace(",", " ").replace(".", ",").replace(" ", ".")}
    return text(written(cells=comma | area), ";").encode("utf-8-sig")


def utf16_tabs() -> bytes:
    return text(written(), "\t").encode("utf-16")


def old_code_page() -> bytes:
    stores = [{**STORES[0], "name": "Café Zürich – Quay"}, *STORES[1:]]
    return text(written(stores=stores)).encode("cp1252")


def spaces() -> bytes:
    """Spaces at ends, non-breaking ones in headings, cells and figures, and a double one in a name."""
    headings = {name: f" {heading} ".replace(" ", "\u00a0") for name, heading in HEADINGS.items()}
    cells: dict[str, Callable[[Any], Any]] = {
        "floor_area_ft2": lambda area: f"{area:,}".replace(",", "\u00a0") + "\u00a0"
    }
    cells |= {name: lambda word: f"  {word}\u00a0 " for name in ("building_type", "state", "site_id", "postal_code")}
    return text(written(headings, cells)).encode()


def lost_zeros() -> Sheet:
    return Sheet(written(cells={"postal_code": int, "site_id": int}))


def zip_plus_four() -> bytes:
    forms = ("{}-1234", "{}", "{} 1234", "{}1234", "{}-")
    places = {store["postal_code"]: at for at, store in enumerate(STORES)}
    return text(written(cells={"postal_code": lambda code: forms[places[code] % 5].format(code)})).encode()


def units_in_cells() -> bytes:
    cells: dict[str, Callable[[Any], Any]] = {
        "floor_area_ft2": lambda area: f"{area:,} sq ft" if area % 100 == 0 else f"{area} SF",
        "cooling_capacity_tons": lambda tons: f"{tons} tons" if tons != 48 else f"{48 * KW_TON:.4f} kW",
        "cooling_eer": lambda eer: f"{eer} EER",
        "humidity_limit_rh_pct": lambda pct: f"{pct}% RH",
    }
    return text(written(HEADINGS | {"floor_area_ft2": "Size"}, cells)).encode()


def about() -> bytes:
    """~, k, +/-, footnote marks, words for nothing, and figures that nobody could read."""
    cells: dict[str, Callable[[Any], Any]] = {
        "floor_area_ft2": lambda area: f"~{area / 1000:g}k" if area % 100 == 0 else f"approx. {area:,}*",
        "cooling_capacity_tons": lambda tons: {110: "TBD", 12: "n/a", 48: "-", 96: "#N/A", 9: "see Bob"}.get(
            tons, tons
        ),
        "peak_occupants": lambda people: f"{people} +/-",
    }
    return text(written(cells=cells)).encode()


def errors_and_booleans() -> Sheet:
    rows = with_columns(written(), Open=[True] * 11 + [False], Has_Deli=[True, False] * 6)
    rows[3][12] = float("nan")
    rows[4][8] = "#N/A"
    return Sheet(rows)


def formulas() -> Sheet:
    return Sheet(written(), formulas=True)


def shouting() -> bytes:
    cells = dict.fromkeys(("name", "building_type", "city"), str.upper)
    return text(written({name: heading.upper() for name, heading in HEADINGS.items()}, cells)).encode()


def closing() -> bytes:
    status = [
        "Open",
        "open",
        "CLOSED",
        "Open",
        "Permanently Closed",
        "Open",
        "Coming soon",
        "Temporarily closed",
        *["Open"] * 4,
    ]
    dates = [None] * 8 + ["3/31/2020", "12/31/2098", "2019-05-01", None]
    return text(with_columns(written(), Store_Status=status, Closing_Date=dates)).encode()


def same_store_again() -> bytes:
    """Numbers in every spelling; a store twice, once with a cell less."""
    forms = ("{}", "0{}", "#{}", "{}.0")
    rows = written(cells={"site_id": lambda number: forms[int(number) % 4].format(number)})
    again = [[*rows[1]], [*rows[2]], [*rows[3]]]
    again[0][0], again[1][0], again[2][0] = "#101", "102", "0103"
    again[0][8] = None
    return text([*rows[:7], *again, *rows[7:]]).encode()


def prefixed() -> bytes:
    return text(written(cells={"site_id": lambda number: f"STR-{int(number):05}"})).encode()


def pages() -> bytes:
    """Headings once more every five rows, as page breaks leave them, with blank rows and blank columns between."""
    rows = [[*row[:6], None, *row[6:], None] for row in written()]
    return text([rows[0], *rows[1:6], [], rows[0], *rows[6:11], rows[0], *rows[11:]]).encode()


def notes_in_the_last_column() -> bytes:
    remarks = [None] * 12
    remarks[1], remarks[4], remarks[9] = "roof leaks, see photos", "closed Sundays; new RTU 2023", "total refit planned"
    return text(with_columns(written(), Notes=remarks)).encode()


def accountant() -> bytes:
    """Longitudes in brackets for negative ones, as accountants' formats write them."""
    stores = [{**store, "latitude": 30 + at / 2, "longitude": f"({80 + at / 4})"} for at, store in enumerate(STORES)]
    headings = without("postal_code", "state", "city") | {"latitude": "Lat", "longitude": "Long"}
    return text(written(headings, stores=stores)).encode()


def one_column_of_hours() -> bytes:
    rows = written(without("opens_hour", "closes_hour"))
    spans = [f"{clock(store['opens_hour'])} - {clock(store['closes_hour'])}" for store in STORES]
    return text(with_columns(rows, Store_Hours=spans)).encode()


def clock_words() -> bytes:
    forms: tuple[Callable[[float], str], ...] = (
        clock,
        lambda hour: clock(hour).replace(" ", "").replace("M", "").lower(),
        lambda hour: f"{int(hour):02}:{round(hour % 1 * 60):02}:00",
        lambda hour: f"{clock(hour)[:-2].strip()} {'a.m.' if hour < 12 else 'p.m.'}",
    )
    cells = {name: lambda hour: forms[round(hour * 2) % 4](hour) for name in ("opens_hour", "closes_hour")}
    return text(written(cells=cells)).encode()


def military() -> bytes:
    cells = {name: lambda hour: f"{int(hour):02}{round(hour % 1 * 60):02}" for name in ("opens_hour", "closes_hour")}
    return text(written(cells=cells)).encode()


def addresses() -> bytes:
    """Place only at the end of an address."""
    rows = written(without("postal_code", "state", "city"))
    lines = [
        f"{at + 1} Elm St, {store['city']}, {store['state']} {store['postal_code']}" for at, store in enumerate(STORES)
    ]
    return text(with_columns(rows, Address=lines)).encode()


def rivals() -> bytes:
    """Headings that mean one thing twice: store and its number, location, gross area beside area, zones that are no climate."""
    headings = {"site_id": "Number", "name": "Store"} | without("site_id", "name") | {"floor_area_ft2": "Square Feet"}
    rows = with_columns(
        written(headings),
        GSF=[store["floor_area_ft2"] for store in STORES],
        Location=[f"{store['city']} Plaza" for store in STORES],
        Zone=["North", "South"] * 6,
        Elevation=[10 * at for at in range(12)],
        Sales=[f"${at + 1},250,000" for at in range(12)],
    )
    return text(rows).encode()


def exported() -> bytes:
    """A database's export: names in capitals with underscores, quoted throughout, dates with times, nulls in words."""
    rows = with_columns(
        written({name: heading.upper().replace(" ", "_").replace("#", "NO") for name, heading in HEADINGS.items()}),
        CLOSE_DATE=["NULL"] * 11 + ["2015-01-31 00:00:00.000"],
        IS_ACTIVE=["Y"] * 10 + ["N", "N"],
    )
    file = io.StringIO()
    csv.writer(file, quoting=csv.QUOTE_ALL, lineterminator="\n").writerows(rows)
    return file.getvalue().encode()


XLSX = "stores.xlsx"
CLOSED = "closed"
NO_TONS = {store: {"cooling_capacity_tons": None} for store in ("101", "102", "103", "104", "105")}
KIT: dict[str, Habit] = {
    "title rows": Habit(titled, XLSX),
    "groups above headings": Habit(grouped_headings, XLSX),
    "units below headings": Habit(units_below, XLSX),
    "merged cells": Habit(merged_state, XLSX),
    "totals per district": Habit(totals_by_district),
    "footnotes": Habit(footnotes),
    "hidden sheets, columns and rows": Habit(hidden_things, XLSX),
    "times of a spreadsheet": Habit(excel_times, XLSX),
    "times without their format": Habit(times_unformatted),
    "per cent formats": Habit(percents, XLSX),
    "numbers as texts": Habit(numbers_as_texts, XLSX),
    "thousands": Habit(thousands),
    "semicolons, decimal commas": Habit(european),
    "UTF-16, tabs": Habit(utf16_tabs),
    "old code page": Habit(old_code_page, expected={"101": {"name": "Café Zürich – Quay"}}),
    "spaces of all kinds": Habit(spaces),
    "leading zeros lost": Habit(lost_zeros, XLSX),
    "ZIP+4": Habit(zip_plus_four),
    "units in cells": Habit(units_in_cells),
    "about": Habit(about, expected=NO_TONS),
    "errors, booleans": Habit(
        errors_and_booleans, XLSX, {"112": CLOSED, "103": "with faults"}, {"104": {"cooling_eer": None}}
    ),
    "formulas": Habit(formulas, XLSX),
    "capitals": Habit(shouting),
    "closed stores": Habit(
        closing, aside={"103": CLOSED, "105": CLOSED, "107": "not open yet", "109": CLOSED, "111": CLOSED}
    ),
    "the same store again": Habit(same_store_again),
    "prefixed numbers": Habit(prefixed),
    "headings on every page": Habit(pages),
    "notes in the last column": Habit(notes_in_the_last_column),
    "brackets for minus": Habit(accountant, lacks=("postal_code", "state", "city")),
    "one column of hours": Habit(one_column_of_hours),
    "hours in words": Habit(clock_words),
    "hours without a colon": Habit(military),
    "addresses": Habit(addresses),
    "rival headings": Habit(rivals),
    "an export": Habit(exported, aside={"111": CLOSED, "112": CLOSED}),
}


def write(habit: Habit, folder: Path) -> Path:
    """The file of a habit."""
    made, file = habit.make(), folder / habit.file
    if isinstance(made, bytes):
        file.write_bytes(made)
    else:
        _workbook(file, made)
    return file


def _workbook(file: Path, made: Sheet) -> None:
    with xlsxwriter.Workbook(file, {"nan_inf_to_errors": True}) as book:
        for name, (rows, hidden) in made.other.items():
            sheet = book.add_worksheet(name)
            for at, row in enumerate(rows):
                sheet.write_row(at, 0, row)
            if hidden:
                sheet.hide()
        sheet = book.add_worksheet("Stores 2026")
        sheet.activate()
        forms = {column: book.add_format({"num_format": code}) for column, code in made.formats.items()}
        for at, row in enumerate(made.rows):
            for column, value in enumerate(row):
                _cell(sheet, at, column, value, forms.get(column), made.formulas and at > 0)
        for first, left, last, right in made.merged:
            value = made.rows[first][left]
            sheet.merge_range(first, left, last, right, value)
        for at in made.hidden_rows:
            sheet.set_row(at, None, None, {"hidden": True})
        for at in made.hidden_columns:
            sheet.set_column(at, at, None, None, {"hidden": True})


def _cell(sheet: Any, row: int, column: int, value: Any, form: Any, as_formula: bool) -> None:
    if isinstance(value, datetime.date):
        sheet.write_datetime(row, column, value, form)
    elif as_formula and isinstance(value, int | float):
        sheet.write_formula(row, column, f"={value}*1", form, value)
    elif as_formula and isinstance(value, str):
        sheet.write_formula(row, column, f'="{value}"&""', form, value)
    elif isinstance(value, str):
        sheet.write_string(row, column, value, form)
    elif value is not None:
        sheet.write(row, column, value, form)
