"""What a terminal, a pipe and a first look expect of commands."""

import re
import subprocess
import sys
import tomllib
from pathlib import Path

import polars as pl
import pytest
from typer.main import get_command
from typer.testing import CliRunner

from screener import text
from screener.commands import app
from screener.contracts import load
from screener.ranking.questions import LEAST_IS_BEST
from screener.tables import empty_portfolio, read_portfolio
from screener.tables.settings import RULES, read_settings


def commands() -> list[list[str]]:
    """Every command, with the words that call it."""
    top = get_command(app).commands  # type: ignore[attr-defined]
    deeper = {name: getattr(each, "commands", None) for name, each in top.items()}
    return [[name, *([sub] if sub else [])] for name, found in deeper.items() for sub in found or [None]]


@pytest.mark.parametrize("words", commands(), ids=" ".join)
def test_every_command_has_help_and_can_be_quiet(words: list[str]) -> None:
    shown = CliRunner().invoke(app, [*words, "-h"])
    assert shown.exit_code == 0
    assert re.search(r"-q\b", shown.stdout), shown.stdout


def test_a_pipe_that_is_closed_early_ends_quietly() -> None:
    asked = [sys.executable, "-m", "screener", "climate", "list"]
    with subprocess.Popen(asked, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.close()
        assert process.stderr.read() == b""
    assert process.returncode == 0


ROW = {
    "site": "A" * 12,
    "name": "Harbour Street store, by the long bridge",
    "zone": "3A",
    "saved": 1234567.0,
    "net": 1.0,
}
COLUMNS: dict[str, tuple[str, text.Format]] = {
    "site": ("site", str),
    "name": ("name", text.words),
    "zone": ("zone", text.words),
    "saved": ("saved a year", text.whole),
    "net": ("net savings", text.whole),
}


@pytest.mark.parametrize(
    ("width", "columns", "gone"), [(120, 5, ""), (82, 4, "zone"), (60, 3, "zone, net savings"), (40, 3, "")]
)
def test_a_table_fits_its_terminal(width: int, columns: int, gone: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", str(width))
    lines = text.table([ROW], COLUMNS, ["zone"]).splitlines()
    assert max(map(len, lines[:3])) <= width
    assert len(lines[1].split()) == columns
    assert not gone or lines[3] == f"({gone}: no room here)"


def test_a_table_that_goes_elsewhere_has_all_columns(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("COLUMNS", raising=False)
    assert len(text.table([ROW], COLUMNS).splitlines()) == 3


def test_columns_of_which_the_least_is_best_exist() -> None:
    assert {*load("ranking").columns, *load("odds").columns} >= LEAST_IS_BEST


@pytest.mark.parametrize("key", [key for key in RULES if key != "name"])
def test_every_setting_of_a_new_portfolio_is_possible(key: str, tmp_path: Path) -> None:
    lines = empty_portfolio.settings_text("x").splitlines()
    told = next(line for line in lines if line.startswith(f"# {key} ="))
    more = 'rates = "nominal"\n' if key == "inflation" else ""
    given = told.removeprefix("# ")
    (tmp_path / "portfolio.toml").write_text(more + ("" if key == "rates" and more else given) + "\n")
    assert key in tomllib.loads(more + given)
    settings, faults = read_settings(tmp_path)
    assert faults.is_empty(), faults
    assert hasattr(settings, key)


@pytest.mark.parametrize("us", [False, True])
def test_the_untouched_example_row_is_no_store(us: bool, tmp_path: Path) -> None:
    empty_portfolio.write(tmp_path / "p", us=us)
    assert read_portfolio(tmp_path / "p").sites["site_id"].to_list() == ["S001"]  # alone it shows how things work
    sites = tmp_path / "p" / "sites.csv"
    rows = pl.read_csv(sites, infer_schema=False)
    own = rows.with_columns(site_id=pl.lit("101"), cooling_units=pl.lit("6"))
    pl.concat([rows, own]).write_csv(sites)
    portfolio = read_portfolio(tmp_path / "p")
    assert portfolio.sites["site_id"].to_list() == ["101"]
    assert portfolio.rejects["rules"].to_list() == ["example"]
    rows.with_columns(cooling_units=pl.lit("7")).vstack(own).write_csv(sites)
    assert read_portfolio(tmp_path / "p").sites["site_id"].to_list() == ["S001", "101"]


def test_us_units_throughout(tmp_path: Path) -> None:
    """Of columns that have a name in US units none is told in others."""
    empty_portfolio.write(tmp_path / "p", us=True)
    notes = (tmp_path / "p" / "NOTES.md").read_text(encoding="utf-8")
    told = [line for line in notes.splitlines() if re.match(r"- `\w+_(ft2|ft|f|cfm|tons|eer|lb_h|pints_day)`", line)]
    assert len(told) > 10
    assert [line for line in told if re.search(r"\[(m2|m|degC|L/s|kW|kg/h|kW/kW)\]|degC", line)] == []
    assert "`floor_area_ft2`: number [ft2], required" in notes
    assert "such as 39800" in notes
