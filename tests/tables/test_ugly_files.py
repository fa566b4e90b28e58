"""Tables as people keep them: titles, encodings, separators, marks in numbers, other words. Read, and noted."""

import datetime
import re
import zipfile
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import pytest
import xlsxwriter
from polars.testing import assert_frame_equal

from screener.contracts import load
from screener.errors import ContractError
from screener.strategies import REGISTRY
from screener.tables import Portfolio, files, read_portfolio, shipped, workbooks
from screener.tables.settings import Settings
from tests.tables.portfolios import SITE, TARIFFS, sites, table, write

CHANGES = ({"floor_area_m2": "1234.5", "name": "Café Zürich"}, {"floor_area_m2": "900", "name": "Elm, west"})
PLAIN = sites(*CHANGES)
EUROPEAN = PLAIN.replace(",", ";").replace("1234.5", "1.234,5")
EUROPEAN_TARIFFS = TARIFFS.replace(",", ";").replace(".", ",")
HEADER = PLAIN.split("\n")[0] + "\n"


def own_notes(portfolio: Portfolio) -> list[str]:
    return [note for note in portfolio.notes if "placeholder" not in note and "no currency" not in note]


UGLY: dict[str, tuple[Mapping[str, Any], list[str]]] = {
    "title": (
        {"sites": "Our stores\n" + PLAIN},
        ["sites: the header is row 2; 1 row above it skipped"],
    ),
    "title and remarks": (
        {"sites": "Our stores,,,\n\nprinted 3 May, by hand\n\n" + PLAIN},
        ["sites: the header is row 5; 2 rows above it skipped"],
    ),
    "blank rows above": ({"sites": "\n\n" + PLAIN}, []),
    "separator named": (
        {"sites": "sep=;\n" + PLAIN.replace('","', '";"')},
        ["sites.csv: columns are separated by semicolons", "sites: the header is row 2; 1 row above it skipped"],
    ),
    "semicolons": ({"sites": PLAIN.replace('","', '";"')}, ["sites.csv: columns are separated by semicolons"]),
    "tabs": ({"sites": PLAIN.replace('","', '"\t"')}, ["sites.csv: columns are separated by tabs"]),
    "semicolons and decimal commas": (
        {"sites": PLAIN.replace('","', '";"').replace("1234.5", "1.234,5"), "tariffs": EUROPEAN_TARIFFS},
        [
            "tariffs.csv: columns are separated by semicolons",
            "sites.csv: columns are separated by semicolons",
            'tariffs: numbers are read with decimal commas, as in "0,12"',
            'sites: numbers are read with decimal commas, as in "1.234,5"',
        ],
    ),
    "decimal commas in quotes": (
        {"sites": PLAIN.replace("1234.5", "1234,5")},
        ['sites: numbers are read with decimal commas, as in "1234,5"'],
    ),
    "thousands": (
        {"sites": PLAIN.replace("1234.5", "1,234.5").replace('"1000"', '"1,000"')},
        ['sites: numbers are read with commas between thousands, as in "1,000"'],
    ),
    "thousands parted by spaces": ({"sites": PLAIN.replace("1234.5", "1 234.5").replace('"1000"', '"1\u00a0000"')}, []),
    "thousands parted by apostrophes": ({"sites": PLAIN.replace("1234.5", "1'234.5")}, []),
    "byte-order mark": ({"sites": PLAIN.encode("utf-8-sig")}, []),
    "UTF-16": ({"sites": PLAIN.encode("utf-16")}, []),
    "Latin-1": (
        {"sites": PLAIN.encode("latin-1")},
        ['sites.csv is not UTF-8 text and is read as Latin-1 (Windows-1252); look at its accents, such as "Café"'],
    ),
    "old line ends": ({"sites": PLAIN.replace("\n", "\r")}, []),
    "trailing spaces": ({"sites": PLAIN.replace('"office"', '" office  "').replace('"T1"', '"T1\u00a0"')}, []),
    "quoted blanks": ({"sites": PLAIN.replace('""', '"  "')}, []),
    "header repeated": (
        {"sites": PLAIN + HEADER + HEADER},
        ["sites: the header is repeated in row 5, 6; not counted as data"],
    ),
    "categories spelt freely": (
        {"sites": PLAIN.replace('"office"', '"Office Building"').replace('"4A"', '"Zone 4a"')},
        ['sites: climate_zone reads "Zone 4a" as 4A', 'sites: building_type reads "Office Building" as office'],
    ),
}


@pytest.mark.parametrize("case", UGLY)
def test_ugly_table_is_read_like_the_plain_one(case: str, tmp_path: Path) -> None:
    tables, notes = UGLY[case]
    plain = read_portfolio(write(tmp_path / "plain", sites=PLAIN))
    ugly = read_portfolio(write(tmp_path / "ugly", **tables))
    assert ugly.faults.is_empty()
    assert sorted(own_notes(ugly)) == sorted(notes)
    assert_frame_equal(ugly.sites.drop("row"), plain.sites.drop("row"))
    assert_frame_equal(ugly.tariffs, plain.tariffs)


def test_rows_are_those_of_the_file_below_a_title(tmp_path: Path) -> None:
    portfolio = read_portfolio(write(tmp_path, sites="Our stores\n\n" + sites({"floor_area_m2": "big"})))
    assert portfolio.faults["row"].to_list() == [5]


def test_a_stated_decimal_mark_settles_what_numbers_do_not_tell(tmp_path: Path) -> None:
    text = sites({"floor_area_m2": "1,234"}, {"floor_area_m2": "12.345"})
    folder = write(tmp_path, sites=text, tariffs=TARIFFS)
    areas = {}
    for mark in (".", ","):
        (folder / "portfolio.toml").write_text(f'decimal_mark = "{mark}"\n')
        (folder / "tariffs.csv").write_text(
            table({"tariff_id": "T1", "electricity_price_per_kwh": f"0{mark}12", "fuel_price_per_kwh": "1"})
        )
        areas[mark] = read_portfolio(folder).sites["floor_area_m2"].to_list()
    assert areas == {".": [1000, 1234, 12.345], ",": [1000, 1.234, 12345]}


def test_marks_that_contradict_each_other_are_not_guessed(tmp_path: Path) -> None:
    portfolio = read_portfolio(write(tmp_path, sites=sites({"floor_area_m2": "12,5"}, {"floor_area_m2": "12.5"})))
    assert portfolio.faults.select("row", "value").rows() == [(3, "12,5")]


def test_points_between_semicolons_may_part_thousands(tmp_path: Path) -> None:
    text = sites({"floor_area_m2": "1.234"}).replace('","', '";"')
    portfolio = read_portfolio(write(tmp_path, sites=text))
    assert portfolio.faults.select("value", "rule").rows() == [("1.234", "number of two meanings")]


def test_own_building_type_wins_over_another_word_for_a_shipped_one(tmp_path: Path) -> None:
    types = "building_type,based_on,opens_hour\nGrocery,Corner shop,5\n"
    portfolio = read_portfolio(write(tmp_path, sites=sites({"building_type": "grocery"}), building_types=types))
    assert portfolio.sites["building_type"].to_list() == ["office", "grocery"]
    own = portfolio.building_types.filter(building_type="grocery").row(0, named=True)
    assert (own["based_on"], own["opens_hour"]) == ("convenience_store", 5)


@pytest.mark.parametrize("name", ["sites", "building_types", "strategies", "equipment"])
def test_synonyms_stand_for_names_there_are(name: str) -> None:
    known = {
        "building_type": shipped.building_types().values["building_type"].to_list(),
        "based_on": shipped.building_types().values["building_type"].to_list(),
        "strategy": list(REGISTRY),
        "current_strategy": list(REGISTRY),
    }
    for field in load(name).fields:
        names = known.get(field.name, list(field.enum))
        assert set(field.synonyms.values()) <= set(names), field.name
        assert not set(field.synonyms) & set(names), field.name
        for word in field.synonyms:
            assert word == word.lower().replace(" ", "_").replace("-", "_")


def test_every_name_has_the_same_other_words_in_all_tables() -> None:
    assert load("sites").field("heating_source").synonyms == load("building_types").field("heating_source").synonyms
    assert load("sites").field("current_strategy").synonyms == load("strategies").field("strategy").synonyms


def workbook(file: Path, sheets: Mapping[str, list[list[Any]]], at: int = 0) -> None:
    with xlsxwriter.Workbook(file, {"nan_inf_to_errors": True}) as book:
        date = book.add_format({"num_format": "yyyy-mm-dd"})
        for name, rows in sheets.items():
            sheet = book.add_worksheet(name)
            for number, row in enumerate(rows, start=at):
                for column, value in enumerate(row, start=at):
                    if isinstance(value, datetime.date):
                        sheet.write_datetime(number, column, value, date)
                    elif value is not None:
                        sheet.write(number, column, value)


TARIFF_ROWS = [["tariff_id", "electricity_price_per_kwh", "fuel_price_per_kwh"], ["T1", 0.12, 0.04]]


def test_one_workbook_may_hold_the_whole_portfolio(tmp_path: Path) -> None:
    folder = write(tmp_path, sites=None, tariffs=None)
    rows = [[*SITE], [*SITE.values()], ["B", "Gym", "4a", 500, "T1"], [None], ["C", "shed", "4A", 5, "T1"]]
    workbook(
        folder / "My stores.xlsx",
        {"Sites": [["Our stores"], [], *rows], "tariffs": TARIFF_ROWS, "remarks": [["x"]]},
        at=1,
    )
    portfolio = read_portfolio(folder)
    assert portfolio.sites.select("row", "building_type").rows() == [(5, "office"), (6, "fitness_centre")]
    assert portfolio.faults.select("row", "value").rows() == [(8, "shed")]
    assert portfolio.tariffs["electricity_price_per_kwh"].to_list() == [0.12]
    assert [file.name for file in portfolio.files] == ["My stores.xlsx"]


def test_a_workbook_with_several_sheets_says_which_it_reads(tmp_path: Path) -> None:
    folder = write(tmp_path, sites=None)
    rows = [[*SITE], [*SITE.values()]]
    workbook(folder / "sites.xlsx", {"2023": rows, "Sites": rows, "old": rows})
    assert "sites.xlsx: sheet Sites is read, 2023, old not" in read_portfolio(folder).notes


def test_errors_of_a_sheet_are_faults_and_not_blanks(tmp_path: Path) -> None:
    folder = write(tmp_path, sites=None)
    failed = SITE | {"site_id": "B"}
    rows = [[*SITE, "cooling_cop"], [*SITE.values(), 3], [*failed.values(), float("nan")]]
    workbook(folder / "sites.xlsx", {"sites": rows})
    faults = read_portfolio(folder).faults
    assert faults.select("row", "column", "value", "rule").rows() == [(3, "cooling_cop", "#NUM!", "not a number")]


def test_a_date_is_no_number(tmp_path: Path) -> None:
    folder = write(tmp_path, sites=None)
    rows = [
        [*SITE, "open_days_per_week"],
        [*SITE.values(), 5],
        [*(SITE | {"site_id": "B"}).values(), datetime.date(2024, 5, 1)],
    ]
    workbook(folder / "sites.xlsx", {"sites": rows})
    assert read_portfolio(folder).faults["value"].to_list() == ["2024-05-01 00:00:00"]


@pytest.mark.parametrize(
    ("limit", "message"),
    [
        (
            "MOST_BYTES",
            r"sites\.csv has \d+ bytes, more than the 3 that are read; delete what is no part of the table, or split it",
        ),
        ("MOST_ROWS", r"sites\.csv has 5 rows, more than the 3 that are read"),
        ("MOST_COLUMNS", r"sites\.csv has 6 columns, more than the 3 that are read"),
    ],
)
def test_sizes_are_bounded(limit: str, message: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = write(tmp_path, sites=sites(*CHANGES, {}))
    monkeypatch.setattr(files, limit, 3)
    with pytest.raises(Exception, match=message) as caught:
        read_portfolio(folder)
    assert caught.value.exit_code == 3  # type: ignore[attr-defined]


def test_a_small_workbook_that_unpacks_to_a_huge_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = write(tmp_path, sites=None)
    workbook(folder / "sites.xlsx", {"sites": [[*SITE], *[["x" * 1000] * 5] * 500]})
    size = (folder / "sites.xlsx").stat().st_size
    monkeypatch.setattr(workbooks, "MOST_UNPACKED", size // 2)
    with pytest.raises(Exception, match=r"sites\.xlsx has [\d,]+ bytes and more unpacked, more than the"):
        read_portfolio(folder)


def test_the_default_decimal_mark_is_none() -> None:
    assert Settings().decimal_mark is None


def resheeted(file: Path, change: Callable[[bytes], bytes]) -> None:
    """The first sheet of a workbook, changed."""
    with zipfile.ZipFile(file) as package:
        parts = {name: package.read(name) for name in package.namelist()}
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as package:
        for name, content in parts.items():
            package.writestr(name, change(content) if name == "xl/worksheets/sheet1.xml" else content)


@pytest.mark.parametrize("prefixed", [False, True])
@pytest.mark.parametrize(("at", "last"), [(0, False), (3, False), (0, True)])
def test_an_error_stands_where_it_is_read(at: int, last: bool, prefixed: bool, tmp_path: Path) -> None:
    """With empty columns before it, in the last one, and where the sheet's elements have a prefix [ECMA-376 1, 18.18.11]."""
    folder = write(tmp_path, sites=None)
    names = [*SITE, "cooling_cop"] if last else ["cooling_cop", *SITE]
    good, bad = SITE | {"cooling_cop": 3}, SITE | {"site_id": "B", "cooling_cop": float("nan")}
    rows = [names, *([row[name] for name in names] for row in (good, bad))]
    workbook(folder / "sites.xlsx", {"sites": rows}, at=at)
    if prefixed:
        tags = rb"<(/?)(worksheet|sheetData|row|c|v|f|is|t)(?=[ />])"
        declared = (b"xmlns=", b"xmlns:x=")
        resheeted(folder / "sites.xlsx", lambda sheet: re.sub(tags, rb"<\1x:\2", sheet).replace(*declared, 1))
    faults = read_portfolio(folder).faults
    assert faults.select("row", "column", "value").rows() == [(3 + at, "cooling_cop", "#NUM!")]


def test_a_time_of_day_and_escaped_characters_of_a_workbook(tmp_path: Path) -> None:
    """A time is a share of a day with a format [ECMA-376 1, 18.8.30]; `_x0041_` is an A [22.9.2.19]."""
    file = tmp_path / "book.xlsx"
    with xlsxwriter.Workbook(file, {"date_1904": False}) as book:
        sheet = book.add_worksheet("any")
        sheet.write_number(0, 0, 8.5 / 24, book.add_format({"num_format": "h:mm AM/PM"}))
        sheet.write_number(0, 1, 0.3, book.add_format({"num_format": '0.0 "days"'}))
        sheet.write_number(0, 2, 45000, book.add_format({"num_format": '[Red]dd"."mm'}))
        sheet.write_boolean(0, 3, True)
        sheet.write_string(0, 4, "_x0041_")
        sheet.write_number(0, 5, 0.1 + 0.2)
        sheet.write_rich_string(0, 6, "a", book.add_format({"bold": True}), "b", "c")
    texts = ["08:30", "0.3", "2023-03-15 00:00:00", "true", "_x0041_", "0.3", "abc"]
    assert list(workbooks.cells(file, "any").row(0)) == texts


@pytest.mark.parametrize("separator", [",", ";", "\t"])
@pytest.mark.parametrize("apart", [1, 3])
@pytest.mark.parametrize("ends", [1, 2])
def test_rows_between_two_lone_quotes_are_not_swallowed(separator: str, apart: int, ends: int, tmp_path: Path) -> None:
    header = ["site_id", "name", "building_type", "floor_area_m2", "climate_zone", "tariff_id"]
    rows = [[f"S{i}", f"n{i}", "office", "1000", "4A", "T1"] for i in range(6)]
    rows[1][1] = '"' + rows[1][1]
    rows[1 + apart][ends] += '"'
    text = "\n".join(separator.join(row) for row in [header, *rows]) + "\n"
    words = rf"sites\.csv, row 3: a quote opens in column 2 and closes {apart} lines? below, around what looks like whole rows"
    with pytest.raises(ContractError, match=words):
        read_portfolio(write(tmp_path, sites=text))


def test_a_name_on_two_lines_is_a_name(tmp_path: Path) -> None:
    text = sites({"name": "Elm Street,\nback door"})
    assert read_portfolio(write(tmp_path, sites=text)).sites["name"].to_list() == [None, "Elm Street,\nback door"]
