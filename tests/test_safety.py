"""Files are data: nothing in a table is run by a spreadsheet, a terminal, a query or a path."""

import json
from pathlib import Path

import polars as pl
import pytest
from typer.testing import CliRunner

from screener import pipeline, text
from screener.commands import app
from tests.tables.portfolios import SITE, sites, table, write

FORMULAS = ["=1+1", "+1", "-1+A1", "@SUM(A1)", "\t=1+1", "=HYPERLINK(0)", " =2", '=cmd|"/C calc"!A0']
ODD = [
    "'; drop table sites; --",
    "${HOME}",
    "{{7*7}}",
    "<script>alert(1)</script>",
    "%s%n",
    "\u202egpj.exe",
    "a\x1b[2Jb",
]


@pytest.fixture(scope="module")
def run_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("safety")
    names = [SITE | {"site_id": f"S{i:02}", "name": name} for i, name in enumerate([*FORMULAS, *ODD])]
    bad = [SITE | {"site_id": formula, "floor_area_m2": formula} for formula in FORMULAS]
    pipeline.run(write(folder / "portfolio", sites=table(*names, *bad)), folder / "run")
    return folder / "run"


def test_no_text_of_a_csv_file_begins_a_formula(run_folder: Path) -> None:
    for name in ("ranking", "groups", "rejects"):
        frame = pl.read_csv(run_folder / f"{name}.csv", infer_schema=False)
        texts = [cell for row in frame.select(pl.exclude("net_savings", "cost_saved")).rows() for cell in row if cell]
        numbers = [cell for cell in texts if cell.lstrip().startswith(("=", "+", "@", "-"))]
        assert all(number.replace(".", "").replace("-", "").replace("e", "").isdigit() for number in numbers), numbers


def test_names_come_back_as_they_were_typed(run_folder: Path) -> None:
    kept = dict(pl.read_parquet(run_folder / "ranking.parquet").select("site_id", "name").rows())
    assert [kept[f"S{i:02}"] for i in range(len(FORMULAS) + len(ODD))] == [name.strip() for name in [*FORMULAS, *ODD]]
    records = pl.read_parquet(run_folder / "rejects.parquet")["record"]
    assert {json.loads(record)["floor_area_m2"] for record in records} == {f.strip() for f in FORMULAS} - {"+1"}


def test_a_terminal_is_not_told_what_to_do(tmp_path: Path) -> None:
    folder = write(tmp_path / "p", sites=sites({"name": "\x1b[31mred\x07"}, {"tariff_id": "\x1b]0;title\x07"}))
    for command in (["check", folder], ["run", folder, "--out", tmp_path / "run"]):
        result = CliRunner().invoke(app, [str(part) for part in command])
        assert not any(mark in result.output for mark in "\x1b\x07")
    assert "�[31mred�" in text.table([{"name": "\x1b[31mred\x07"}], {"name": ("name", str)})


PATHS = [
    "../outside.csv",
    "/etc/hosts",
    "..",
    ".",
    "sub/../../outside.csv",
    "~/x.csv",
    "a\x00b.csv",
    "x" * 300,
    "C:\\x.csv",
]


@pytest.mark.parametrize("path", PATHS)
def test_paths_cannot_leave_the_portfolio(path: str, tmp_path: Path) -> None:
    folder = write(tmp_path / "p", sites=None)
    (folder / "weather").mkdir()
    (tmp_path / "p" / "outside.csv").write_text("secret\n")
    rows = [SITE, SITE | {"site_id": "B", "weather_file": path}]
    pl.DataFrame(rows).write_parquet(folder / "sites.parquet")
    portfolio, checked = pipeline.check(folder)
    assert checked["site_id"].to_list() == ["A"]
    assert "secret" not in str(portfolio.faults["message"].to_list())
    assert portfolio.faults.filter(table="sites")["message"][0].startswith("its weather file cannot be used: ")


def test_links_cannot_leave_it_either(tmp_path: Path) -> None:
    folder = write(tmp_path / "p", sites=sites({"weather_file": "link.csv"}, {"weather_file": "loop.csv"}))
    (folder / "weather").mkdir()
    (tmp_path / "outside.csv").write_text("secret\n")
    (folder / "weather" / "link.csv").symlink_to(tmp_path / "outside.csv")
    (folder / "weather" / "loop.csv").symlink_to(folder / "weather" / "loop.csv")
    portfolio, checked = pipeline.check(folder)
    assert checked["site_id"].to_list() == ["A"]
    messages = portfolio.faults.filter(table="sites")["message"].to_list()
    assert "link.csv lies outside the weather folder; put the file inside it" in messages[0]
    assert "secret" not in str(messages)
