"""Columns of the owner's own travel through a run, change no figure, and do nothing but say what they say."""

import csv
import shutil
from pathlib import Path

import polars as pl
import pytest
from typer.testing import CliRunner

from screener import outputs, pipeline, report
from screener.commands.app import app
from screener.errors import UsageError
from screener.ranking import own, questions
from screener.tables import read_portfolio
from tests.report.reading import page

EXAMPLE = Path(__file__).parents[1] / "portfolios" / "oddlebrook_foods"
SITES = ("S101", "S104", "S106", "S126", "S136", "C306")
DISTRICTS = ("North", "south", "North", "<b>South</b>", "North", "")
OWN = {
    "District / Owner": DISTRICTS,
    "Sales": ("1,200", "900", "10,000", "7.5", "", "0"),
    "Rank": ("007", "008", "1", "2", "3", "4"),  # a name that the ranking has, and numbers that are names
    "^.*$": ("a", "b", "c", "d", "e", "f"),  # patterns, in a library of tables
    "*": ("g", "", "", "", "", ""),
    "=Note": ("=1+1", "@SUM(A1)", "-2", "+3", "x\x07", "plain"),
    "Empty": ("",) * 6,
}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Six sites of the example, with columns that no contract knows."""
    out = tmp_path_factory.mktemp("own") / "portfolio"
    shutil.copytree(EXAMPLE, out)
    with (out / "sites.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.reader(file))
    kept = [next(row for row in rows if row[0] == site) for site in SITES]
    with (out / "sites.csv").open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows(
            [[*rows[0], *OWN]] + [[*row, *(OWN[c][at] for c in OWN)] for at, row in enumerate(kept)]
        )
    return out


@pytest.fixture(scope="module")
def run(folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("own_run") / "run"
    pipeline.run(folder, out)
    return out


def ids(run: Path, **asked: object) -> list[str]:
    return sorted(questions.rank(run, **asked).rows["site_id"])  # type: ignore[arg-type]


def test_they_are_kept_as_typed_and_said(folder: Path) -> None:
    found = read_portfolio(folder)
    kept = {(row["site_id"], row["heading"]): row["value"] for row in found.own_columns.iter_rows(named=True)}
    due = {(site, heading): OWN[heading][at] for heading in OWN for at, site in enumerate(SITES) if OWN[heading][at]}
    assert kept == due
    called = "district / owner (as district_owner), sales, rank (as own_rank), column ^.*$ (as column), column * (as column_2), "
    called += "=note (as own_note)"
    assert any(f"{called} kept as the owner's own" in note for note in found.notes)


def test_they_narrow_order_and_group(run: Path) -> None:
    assert ids(run, where=["district_owner=north"]) == ["S101", "S106", "S136"]
    assert ids(run, where=["district_owner~south"]) == ["S104", "S126"]
    assert ids(run, where=["district_owner="]) == ["C306"]
    assert ids(run, where=["sales>=1000"]) == ["S101", "S106"]  # 1,200 is a number
    assert ids(run, where=["own_rank=007"]) == ["S101"]  # and 007 is a name
    ordered = questions.rank(run, by="sales").rows
    assert ordered["site_id"].to_list()[:3] == ["S106", "S101", "S104"]
    groups = questions.rank(run, group_by=["district_owner"]).rows
    assert dict(zip(groups["district_owner"], groups["sites"], strict=True)) == {
        "North": 3,
        "south": 1,
        "<b>South</b>": 1,
        None: 1,
    }
    assert groups["net_savings"].sum() == pytest.approx(questions.rank(run).rows["net_savings"].sum())
    with pytest.raises(UsageError, match="did you mean district_owner"):
        questions.rank(run, where=["district_ownr=x"])


def test_they_limit_a_program(run: Path) -> None:
    free = questions.choose(run, 1e7).program.changes
    norths = [site for site in free["site_id"] if DISTRICTS[SITES.index(site)] == "North"]
    assert len(norths) > 1
    bound = questions.choose(run, 1e7, require=["district_owner=north<=1"]).program.changes
    assert [site for site in bound["site_id"] if DISTRICTS[SITES.index(site)] == "North"] != norths
    assert bound.height == free.height - len(norths) + 1
    each = questions.choose(run, 1e7, require=["district_owner<=1"]).program.changes
    assert each.height == len({DISTRICTS[SITES.index(site)] for site in free["site_id"]})


def test_they_change_no_figure(run: Path, folder: Path, tmp_path: Path) -> None:
    plain = tmp_path / "plain"
    shutil.copytree(folder, plain)
    with (plain / "sites.csv").open(encoding="utf-8", newline="") as file:
        rows = [row[: -len(OWN)] for row in csv.reader(file)]
    with (plain / "sites.csv").open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows(rows)
    pipeline.run(plain, tmp_path / "run")
    for name in ("ranking", "strategies", "bills"):
        assert (tmp_path / "run" / f"{name}.parquet").read_bytes() == (run / f"{name}.parquet").read_bytes()


def test_pages_and_workbook_say_them_and_run_nothing(run: Path, tmp_path: Path) -> None:
    shown = page((run / "report.html").read_text(encoding="utf-8"))
    rows = {row["site_id"]: row for row in shown.tables.get("sites", []) + shown.tables.get("other-sites", [])}
    assert rows["S126"]["district_owner"] == "<b>South</b>"
    assert rows["S126"]["own_note"] == "+3"
    assert "<b>South</b>" not in (run / "report.html").read_text(encoding="utf-8")
    report.write(run, tmp_path, workbook=True)
    sheet = pl.read_excel(tmp_path / "ranking.xlsx", sheet_name="ranking", engine="calamine")
    cells = dict(zip(sheet["site_id"], sheet["own_note"], strict=True))
    assert (cells["S101"], cells["S104"]) == ("=1+1", "@SUM(A1)")  # texts; the file holds no formula
    (file,) = report.write_site(run, "S126", tmp_path)
    assert "&lt;b&gt;South&lt;/b&gt;" in file.read_text(encoding="utf-8")


def test_a_report_of_some_sites(run: Path, tmp_path: Path) -> None:
    north = tmp_path / "north"
    report.write(run, north, where=["district_owner=north"])
    shown = page((north / "report.html").read_text(encoding="utf-8"))
    rows = shown.tables.get("sites", []) + shown.tables.get("other-sites", [])
    assert sorted(row["site_id"] for row in rows) == ["S101", "S106", "S136"]
    narrowed = questions.rank(run, where=["district_owner=north"]).rows
    assert shown.totals["net_savings"] == pytest.approx(narrowed["net_savings"].sum(), rel=1e-8)
    assert "3 sites of the run: those with district_owner=north" in shown.text
    with pytest.raises(UsageError, match="nothing to report"):
        report.write(run, north, where=["district_owner=east"])
    result = CliRunner().invoke(app, ["report", str(run), "--where", "district_owner=north"])
    assert result.exit_code != 0
    assert "--out" in result.output


def test_they_go_on_with_new_prices(run: Path, folder: Path, tmp_path: Path) -> None:
    pipeline.reprice(run, folder, tmp_path / "priced")
    kept = outputs.open_run(tmp_path / "priced").input("own_columns")
    assert kept.equals(outputs.open_run(run).input("own_columns"))


def test_numbers_are_told_from_names() -> None:
    def kind(*values: str) -> str:
        frame = pl.DataFrame({"site_id": [*map(str, range(len(values)))], "value": values})
        return own.fields(frame.with_columns(column=pl.lit("c"), heading=pl.lit("c")))["c"].kind

    assert kind("1", "-2.5", "1,234,567.8") == "number"
    assert kind("1", "01") == kind("1,23") == kind("1.234.567") == kind("12 A") == kind("inf") == "string"
