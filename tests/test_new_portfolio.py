"""An empty portfolio can be checked and run as it is, in every form, and says what its columns mean."""

import csv
import json
from pathlib import Path
from zipfile import ZipFile

import polars as pl
import pytest
from typer.testing import CliRunner

from screener import contracts
from screener.commands import app
from screener.contracts import in_words
from screener.tables.portfolio import TABLES

ROOT = Path(__file__).parents[1]


def screener(*arguments: object):
    return CliRunner().invoke(app, [str(argument) for argument in arguments])


FORMS = pytest.mark.parametrize(
    "options", [[], ["--units", "us"], ["--xlsx"], ["--xlsx", "--units", "us"]], ids=" ".join
)


@FORMS
def test_a_new_portfolio_is_without_fault(options: list[str], tmp_path: Path) -> None:
    folder = tmp_path / "stores"
    made = screener("new", folder, *options)
    assert made.exit_code == 0, made.output
    assert sorted(made.stdout.split()) == sorted(str(file) for file in folder.iterdir())
    checked = screener("check", folder, "--json", "-q")
    assert checked.exit_code == 0, checked.output
    assert json.loads(checked.stdout)["sites"] == 1
    assert json.loads(checked.stdout)["blanks"] == []


def test_units_and_form_of_a_new_portfolio_change_nothing_but_roundings(tmp_path: Path) -> None:
    energy = []
    for number, options in enumerate(([], ["--units", "us"], ["--xlsx"])):
        folder, out = tmp_path / f"p{number}", tmp_path / f"r{number}"
        screener("new", folder, *options)
        assert screener("run", folder, "--out", out, "-q").exit_code == 0
        energy.append(pl.read_parquet(out / "ranking.parquet")["current_dehumidification_kwh"][0])
    assert energy[0] == energy[2]
    assert energy[1] == pytest.approx(energy[0], rel=0.1)  # US figures are rounded to three digits


def test_nothing_is_overwritten(tmp_path: Path) -> None:
    (tmp_path / "thesis.txt").write_text("years of work")
    result = screener("new", tmp_path)
    assert result.exit_code == 2
    assert "is there already and not an empty folder; name a new one" in result.stderr
    assert screener("new", tmp_path / "x", "--units", "furlongs").exit_code == 2
    assert not (tmp_path / "x").exists()


def test_every_table_and_column_is_there_and_explained(tmp_path: Path) -> None:
    screener("new", tmp_path / "p")
    notes = (tmp_path / "p" / "NOTES.md").read_text(encoding="utf-8")
    for name in TABLES:
        with (tmp_path / "p" / f"{name}.csv").open(encoding="utf-8", newline="") as file:
            header = next(csv.reader(file))
        assert header == contracts.load(name).columns
        for field in contracts.load(name).fields:
            assert f"- `{field.name}`: " in notes
            assert field.description in notes


def test_the_workbook_offers_lists_and_notes(tmp_path: Path) -> None:
    screener("new", tmp_path / "p", "--xlsx")
    with ZipFile(tmp_path / "p" / "portfolio.xlsx") as package:
        sheets = package.read("xl/worksheets/sheet1.xml").decode()
        comments = package.read("xl/comments1.xml").decode()
        book = package.read("xl/workbook.xml").decode()
    assert sheets.count("<dataValidation ") >= 5  # type, zone, heating, strategy, tariff at least
    for source in ("lists!", "tariffs!$A$2", "equipment!$A$2"):
        assert source in sheets
    assert "Conditioned floor area" in comments
    assert "number [m2]" in comments
    assert [name for name in (*TABLES, "notes", "lists") if f'name="{name}"' not in book] == []


def test_schema_lists_and_prints_contracts() -> None:
    listed = screener("schema")
    assert listed.exit_code == 0
    assert all(name in listed.stdout for name in in_words.names())
    printed = screener("schema", "sites").stdout
    assert "floor_area_m2: number [m2], required, 0 to 2 000 000, or as floor_area_ft2, such as 3700" in printed
    assert json.loads(screener("schema", "tariffs", "--json").stdout) == contracts.read("tariffs")
    wrong = screener("schema", "shops")
    assert wrong.exit_code == 2
    assert "there is no table shops; the tables are bills, building_types, " in wrong.stderr


def test_the_page_of_tables_is_fresh() -> None:
    page = (ROOT / "schemas" / "README.md").read_text(encoding="utf-8")
    assert page == in_words.markdown(), "run python -m screener.contracts schemas/README.md"
