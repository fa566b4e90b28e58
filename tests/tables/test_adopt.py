"""A chain's own workbook becomes a portfolio: asked once, remembered, nothing lost. Own making, habits seen in practice."""

import datetime
import tomllib
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import polars as pl
import pytest
import xlsxwriter
from typer.testing import CliRunner

from screener.commands import app
from screener.contracts.rejects import left_out
from screener.errors import UsageError
from screener.tables import adopting, read_portfolio

HEADER = [
    "Store #",
    "Store Name",
    "Format",
    "State",
    "ZIP",
    "Area",
    "Tons",
    "Open",
    "Status",
    "Closing Date",
    "$/kWh",
    "Gas $/therm",
]
STORES: list[list[Any]] = [
    ["S-0100", "Quay", "grocery", "FL", 33101, "40,300", 95, 7 / 24, "Open", None, 0.11, 0.95],
    [
        "S-0101",
        "Mill",
        "Fresh format",
        "FL",
        33101,
        38000,
        "TBD",
        7 / 24,
        "Open",
        datetime.date(2031, 6, 30),
        0.12,
        0.95,
    ],
    ["S-0102", "Pond", "grocery", "FL", 33101, 39000, 90, 7 / 24, "Closed", None, 0.11, 0.95],
    ["S-0103", "Weir", "grocery", "FL", 33101, 39500, 90, 7 / 24, "Open", None, 0.11, 0.95],
    ["s-103", "Weir", "grocery", "FL", 33101, 39500, 90, 7 / 24, "Open", None, 0.11, 0.95],
    ["S-0104", "Lock", "grocery", "FL", 33101, None, 90, 7 / 24, "Open", None, 0.11, 0.95],
    ["Total", None, None, None, None, 196300, None, None, None, None, None, None],
]


def workbook(file: Path, format_of: str = "Fresh format", further: bool = False) -> Path:
    """Titles, a remark sheet, a hidden sheet, a list of stores and their bills by month."""
    with xlsxwriter.Workbook(file) as book:
        clock, day = (book.add_format({"num_format": code}) for code in ("h:mm AM/PM", "m/d/yyyy"))
        book.add_worksheet("Read me").write(0, 0, "prepared by facilities")
        stores, old, bills = (book.add_worksheet(name) for name in ("Stores", "sites", "Bills"))
        old.hide()
        old.write_row(0, 0, ["site_id", "building_type", "postal_code", "floor_area_m2"])
        old.write_row(1, 0, ["OLD", "office", "33101", 100])
        stores.merge_range(0, 0, 0, 5, "Stores of a chain")
        stores.write_row(2, 0, HEADER)
        extra = (
            [["S-0105", "Ford", "grocery", "FL", 33101, 20500, 60, 6 / 24, "Open", None, 0.11, 0.95]] if further else []
        )
        for at, row in enumerate([*STORES, *extra], start=3):
            for column, value in enumerate(row):
                value = format_of if value == "Fresh format" else value
                if isinstance(value, datetime.date):
                    stores.write_datetime(at, column, datetime.datetime.combine(value, datetime.time()), day)
                elif value is not None:
                    stores.write(at, column, value, clock if column == 7 else None)
        bills.write_row(0, 0, ["Store", "Month", "kWh"])
        for at, (store, month) in enumerate(((s, m) for s in (100, 101, 103) for m in range(1, 13)), start=1):
            bills.write_row(at, 0, [store, month, 1000 * month])
    return file


def adopt(*arguments: object, answers: str | None = None):
    return CliRunner().invoke(app, ["adopt", *map(str, arguments)], input=answers)


def asked(output: str) -> list[str]:
    return [line for line in output.splitlines() if line.startswith(("What", "Which", "How", "Several"))]


@pytest.fixture(scope="module")
def adopted(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """A portfolio adopted with two answers: the area is in square feet, "Fresh format" is a supermarket."""
    folder = tmp_path_factory.mktemp("adopted")
    result = adopt(workbook(folder / "chain.xlsx"), "--out", folder / "p", answers="1\n10\n")
    assert result.exit_code == 3 or result.exit_code == 0, result.output
    return folder / "p", result.output


def test_two_questions_and_every_row_told(adopted: tuple[Path, str]) -> None:
    folder, output = adopted
    assert asked(output) == ['What is "area" (40,300, 38000, 39000)?', 'What is the building_type "Fresh format"?']
    assert "3 of 7 sites can be ranked; 4 left out: 1 closed, 1 duplicate, 1 line of totals, 1 with faults" in output
    assert "of its sheets Stores, Bills are read, Read me, sites (hidden) not" in output
    names = {"sites.csv", "tariffs.csv", "portfolio.toml", "set_aside.csv", "reading.toml"}
    assert {file.name for file in folder.iterdir()} == names


def test_what_is_written_reads_as_the_sheet_says(adopted: tuple[Path, str]) -> None:
    folder, _ = adopted
    portfolio = read_portfolio(folder)
    rows = {row["site_id"]: row for row in portfolio.sites.to_dicts()}
    assert [*rows] == ["S-0100", "S-0101", "S-0103"]
    areas = [row["floor_area_m2"] for row in rows.values()]
    assert areas == pytest.approx([each * 0.09290304 for each in (40_300, 38_000, 39_500)])
    assert [row["annual_electricity_kwh"] for row in rows.values()] == [78_000] * 3
    assert (rows["S-0101"]["building_type"], rows["S-0101"]["cooling_capacity_kw"]) == ("supermarket", None)
    assert {row["opens_hour"] for row in rows.values()} == {7.0}
    assert rows["S-0101"]["row_note"] == "closing date 2031-06-30 00:00:00"
    therm = 29.3001111  # kWh [16 CFR 309, 100,000 Btu of 1,055.056 J]
    assert portfolio.tariffs["electricity_price_per_kwh"].to_list() == [0.11, 0.12]
    assert portfolio.tariffs["fuel_price_per_kwh"].to_list() == pytest.approx([0.95 / therm] * 2, rel=1e-6)
    assert left_out(portfolio.rejects) == {"closed": 1, "duplicate": 1, "total": 1, "with faults": 1}
    aside = pl.read_csv(folder / "set_aside.csv", infer_schema=False)
    assert aside.columns[: len(HEADER)] == HEADER
    assert aside["set_aside_row"].to_list() == ["6", "8", "10"]
    assert aside["set_aside_because"][1] == "the same site as S-0103 in row 7"


def test_the_next_export_is_not_asked_about(adopted: tuple[Path, str], tmp_path: Path) -> None:
    folder, _ = adopted
    later = workbook(tmp_path / "later.xlsx", further=True)
    result = adopt(later, "--out", tmp_path / "q", "--reading", folder / "reading.toml")
    assert asked(result.output) == []
    assert "4 of 8 sites can be ranked" in result.stdout
    again = adopt(workbook(tmp_path / "other.xlsx", format_of="Corner format"), "--out", tmp_path / "q")
    assert "not answered: What is the building_type" in again.output
    assert again.exit_code == 2
    taken = adopt(tmp_path / "other.xlsx", "--out", tmp_path / "q", "--yes")
    assert 'What is the building_type "Corner format"? Taken: "something else: leave it as it is"' in taken.output


def test_what_was_mended_by_hand_is_not_written_over(tmp_path: Path) -> None:
    sheet = tmp_path / "stores.csv"
    sheet.write_text("Store #,ZIP,Sq Ft\n1,33101,9000\n2,33101,9500\n")
    result = adopt(sheet, "--out", tmp_path / "p", "--yes", "--set", "building_type=retail")
    assert result.exit_code == 0, result.output
    assert tomllib.loads((tmp_path / "p" / "reading.toml").read_text())["every_row"] == {"building_type": "retail"}
    assert "2 of 2 sites can be ranked" in result.stdout
    sites = tmp_path / "p" / "sites.csv"
    sites.write_text(sites.read_text().replace("9500", "9600"))
    refused = adopt(sheet, "--out", tmp_path / "p", "--yes")
    assert refused.exit_code == 2
    assert "sites.csv was changed since it was adopted" in refused.output
    assert "9600" in sites.read_text()
    assert adopt(sheet, "--out", tmp_path / "p", "--yes", "--force").exit_code == 0
    assert "9600" not in sites.read_text()


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["nowhere.csv"], "nowhere.csv is no file"),
        (["old.xls"], "is a workbook of the old kind; save it as XLSX"),
        (["a.csv", "--set", "color=red"], "there is no column color"),
        (["a.csv", "--set", "red"], "write COLUMN=VALUE"),
        (["a.csv", "--reading", "bad.toml"], "bad.toml is not valid TOML"),
        (["a.csv", "--reading", "other.toml"], "there is no such column; `screener schema sites` has them"),
    ],
)
def test_what_cannot_be_adopted_is_said(
    arguments: list[str], told: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    texts = {
        "a.csv": "Store #,ZIP,Sq Ft\n1,33101,9\n",
        "old.xls": "x",
        "bad.toml": "a = [",
        "other.toml": '[headings]\na = "b"\n',
    }
    for name, text in texts.items():
        Path(name).write_text(text)
    result = adopt(*arguments, "--out", "p", "--yes")
    assert result.exit_code == 2
    assert told in result.output
    assert not Path("p").exists()


def test_a_folder_of_other_things_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text("Store #,Type,ZIP,Sq Ft\n1,retail,33101,9000\n")
    result = adopt(tmp_path / "a.csv", "--out", tmp_path, "--yes")
    assert (result.exit_code, "was not adopted" in result.output) == (2, True)


def test_rows_whose_cells_are_shifted_are_not_read_as_they_stand(tmp_path: Path) -> None:
    sheet = "Store #,Store Name,Type,ZIP,Sq Ft\n1,Elm, back,retail,33101,9000\n2,Oak,retail,33101,9000\n"
    (tmp_path / "a.csv").write_text(sheet)
    result = adopt(tmp_path / "a.csv", "--out", tmp_path / "p", "--yes")
    assert "1 of 2 sites can be ranked; 1 left out: 1 with faults" in result.stdout
    assert "cells beyond the header" in (tmp_path / "p" / "set_aside.csv").read_text()


CASES: dict[str, tuple[str, str]] = {  # what a list says, and what is written of its first store
    "conditioned area counts": (
        "Total Area SF,Conditioned Area SF\n1,a,grocery,33101,40300,30000",
        "floor_area_ft2=30000",
    ),
    "both coordinates in one cell": ('"Lat, Long",Sq Ft\n1,a,grocery,33101,"25.7, -80.2",9000', "longitude=-80.2"),
    "words within words": ("Heating,Sq Ft\n1,a,grocery,33101,Gas RTU,9000", "heating_source=fuel"),
    "words that are not known": ("Heating,Sq Ft\n1,a,grocery,33101,Solar,9000", "heating_source="),
    "a price in cents, none of fuel": (
        "cents/kWh,Sq Ft\n1,a,grocery,33101,12.5,9000",
        "tariff_id=prices_1_average_fuel",
    ),
    "square metres in cells": ("Floor Area\n1,a,grocery,33101,4000 m2", "floor_area_m2=4000"),
    "a heading of no unit": ("Cooling Setpoint,Sq Ft\n1,a,grocery,33101,74,9000", "cooling_setpoint_f=74"),
    "a monthly average is no energy of a year": ("kWh/month,Sq Ft\n1,a,grocery,33101,74,9000", "kWh/month=74"),
}


@pytest.mark.parametrize("case", CASES)
def test_what_is_proposed(case: str, tmp_path: Path) -> None:
    text, written = CASES[case]
    (tmp_path / "a.csv").write_text("Store #,Store Name,Type,ZIP," + text + "\n")
    asked = adopting.adopt([tmp_path / "a.csv"], tmp_path / "p", lambda question: question.proposed)
    row = pl.read_csv(tmp_path / "p" / "sites.csv", infer_schema=False).row(0, named=True)
    column, value = written.split("=")
    assert (row[column] or "") == value, asked.answers


def regions(file: Path, ids: Sequence[Sequence[int]], heading: str = "Area") -> Path:
    """A workbook with a sheet of stores for each region."""
    with xlsxwriter.Workbook(file) as book:
        for region, numbers in zip(("East", "West"), ids, strict=True):
            sheet = book.add_worksheet(region)
            sheet.write_row(0, 0, ["Store #", "Type", "ZIP", heading, "Status"])
            for at, number in enumerate(numbers, start=1):
                sheet.write_row(at, 0, [number, "grocery", 33101, 40_000, "Closed" if number % 10 == 3 else "Open"])
    return file


def test_sheets_of_regions_are_one_list(tmp_path: Path) -> None:
    book = regions(tmp_path / "a.xlsx", [(1, 2, 3), (11, 12, 13)])
    found = adopting.adopt([book], tmp_path / "p", lambda question: question.proposed)
    assert [answer for _, answer in found.answers] == ["floor_area_ft2", "all of them, one below the other"][::-1]
    assert read_portfolio(tmp_path / "p").sites["site_id"].to_list() == ["1", "2", "11", "12"]
    aside = pl.read_csv(tmp_path / "p" / "set_aside.csv", infer_schema=False)
    assert aside.select("set_aside_file", "set_aside_row").rows() == [
        ("a.xlsx (sheet East)", "4"),
        ("a.xlsx (sheet West)", "4"),
    ]
    again = adopting.adopt([book], tmp_path / "p", lambda question: pytest.fail(question.text))
    assert again.rows == 4


def test_sheets_that_list_the_same_stores_are_asked_about(tmp_path: Path) -> None:
    book = regions(tmp_path / "a.xlsx", [(1, 2), (2, 1)], "Sq Ft")
    found = adopting.adopt([book], tmp_path / "p", lambda question: question.proposed)
    assert [answer for _, answer in found.answers] == ["a.xlsx (sheet East)"]
    assert "a.xlsx (sheet West) lists sites too and is not read" in found.notes


def test_a_sheet_named_twice_is_read_once_and_its_own_tables_are_not_adopted_again(tmp_path: Path) -> None:
    book = regions(tmp_path / "a.xlsx", [(1, 2), (11, 12)], "Sq Ft")
    folder = tmp_path / "p"
    twice = adopting.adopt([book, tmp_path / "." / "a.xlsx"], folder, lambda question: question.proposed)
    assert twice.rows == 4
    with pytest.raises(UsageError, match="what they set aside would be lost"):
        adopting.adopt([folder / "sites.csv"], folder, lambda question: question.proposed)
    copy = adopting.adopt([folder / "sites.csv"], tmp_path / "q", lambda question: question.proposed)
    assert {row["heading"]: row["taken for"] for row in copy.taken}["floor_area_ft2"] == "floor_area_ft2"


def test_two_files_of_one_name_are_told_apart(tmp_path: Path) -> None:
    names = ("east", "west")
    for name, area in zip(names, (40_000, 50_000), strict=True):
        (tmp_path / name).mkdir()
        rows = f"Store #,Type,State,Sq Ft\n1,supermarket,FL,{area}\n2,supermarket,FL,{area}\n"
        (tmp_path / name / "stores.csv").write_text(rows)
    adopting.adopt([tmp_path / name / "stores.csv" for name in names], tmp_path / "p", lambda question: 1)
    areas = read_portfolio(tmp_path / "p").sites["floor_area_m2"].to_list()
    assert areas == pytest.approx([50_000 * 0.09290304] * 2)


def test_what_cannot_be_read_stays_as_typed_and_is_said(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text("Store #,Type,State,Sq Ft,Tons\n1,supermarket,FL,40000,abc\n2,office,FL,40000,90\n")
    result = adopt(tmp_path / "a.csv", "--out", tmp_path / "p", "--yes")
    assert 'cooling_capacity_tons of 1 row (2) cannot be read, as "abc"' in " ".join(result.output.split())
    assert pl.read_csv(tmp_path / "p" / "sites.csv")["cooling_capacity_tons"].to_list() == ["abc", "90"]


def test_figures_that_a_second_sheet_has_otherwise_are_told_and_prices_may_have_decimal_commas(tmp_path: Path) -> None:
    header = "Store #;Type;State;Sq Ft;Annual kWh;$/kWh\n"
    rows = "1;supermarket;FL;40000;1200000;0,125\n2;supermarket;FL;40000;1800000;0,12\n"
    (tmp_path / "a.csv").write_text(header + rows)
    months = "".join(f"{site},2025-{month:02d},100000,3\n" for site in (1, 2) for month in range(1, 13))
    (tmp_path / "b.csv").write_text("Store #,Month,kWh,Therms\n" + months)
    found = adopting.adopt([tmp_path / "a.csv", tmp_path / "b.csv"], tmp_path / "p", lambda question: question.proposed)
    assert "b.csv: annual_electricity_kwh of 1 site differs from the list's, which is taken" in found.notes
    assert read_portfolio(tmp_path / "p").tariffs["electricity_price_per_kwh"].to_list() == [0.125, 0.12]
    assert {row["heading"]: row["taken for"] for row in found.taken}["Therms"] == "(not used)"


def test_a_workbook_whose_list_is_hidden_says_so(tmp_path: Path) -> None:
    with xlsxwriter.Workbook(tmp_path / "a.xlsx") as book:
        book.add_worksheet("Cover").write(0, 0, "see the other sheet")
        hidden = book.add_worksheet("Stores")
        hidden.hide()
        hidden.write_row(0, 0, ["Store #", "Type", "State", "Sq Ft"])
        hidden.write_row(1, 0, [1, "supermarket", "FL", 40_000])
    result = adopt(tmp_path / "a.xlsx", "--out", tmp_path / "p", "--yes")
    assert result.exit_code == 3
    assert "hidden sheets are not read: Stores" in " ".join(result.output.split())
