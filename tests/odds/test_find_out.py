"""What is assumed, by number and by weight, and one list of what to find out first, wherever it is told."""

import json
import re
import shutil
from pathlib import Path

import pytest
from typer.testing import CliRunner

from screener import explain, odds, outputs
from screener.commands import app
from screener.outputs import beside
from screener.report import gathering
from tests.odds.conftest import SITES, portfolio


@pytest.fixture(scope="module")
def asked(run: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("find-out") / "run"
    shutil.copytree(run, folder)
    odds.odds(folder, 40, seed=5)
    return folder


def checked(folder: Path, *options: str) -> list[tuple[str, str]]:
    done = CliRunner().invoke(app, ["check", str(folder), "--json", *options])
    assert done.exit_code == 0, done.output
    return [(row["site_id"], row["column"]) for row in json.loads(done.stdout)["blanks"]]


def test_assumed_by_number_and_by_weight_are_two_figures(run: Path) -> None:
    """Those of the building type alone count: C states its fan and its efficiency, and most of it is assumed even so."""
    told = explain.explain(outputs.open_run(run), "C")
    origins = [row["origin"] for row in told["assumptions"] if row["name"] not in ("site_id", "name")]
    number = sum(origin.startswith("assumed") for origin in origins)
    assert number > 20
    words = explain.assumed_in_words(origins, told["assumed_share"])
    assert words.startswith(f"Assumed: {number} of {len(origins)} figures by number; by weight")
    assert f"{100 * told['assumed_share']:.0f} % of those that are weighed" in words
    assert words in explain.printed(told)


def test_without_odds_check_and_the_report_have_the_same_list(run: Path, tmp_path: Path) -> None:
    shown = gathering.of_run(outputs.open_run(run)).find_out().select("site_id", "figure").rows()
    assert shown[:5] == checked(portfolio(tmp_path / "portfolio"))


def test_with_odds_all_have_theirs_but_for_what_is_given_by_now(asked: Path, tmp_path: Path) -> None:
    opened = outputs.open_run(asked)
    worth = beside.worth_finding_out(beside.odds_table(opened, "odds_figures")).select("site_id", "figure").rows()
    assert gathering.of_run(opened).find_out().select("site_id", "figure").rows() == worth[:12]
    assert checked(portfolio(tmp_path / "portfolio"), "--odds", str(asked)) == worth[:5]
    site, figure = next(row for row in worth if row[1] == "cooling_cop" and row[0] != "C")
    lines = SITES.splitlines()
    given = [line.removesuffix(",") + ",3.1" if line.startswith(f"{site},") else line for line in lines]
    folder = portfolio(tmp_path / "given", sites="\n".join(given) + "\n")
    assert checked(folder, "--odds", str(asked)) == [row for row in worth if row != (site, figure)][:5]
    others = portfolio(tmp_path / "others", sites=re.sub(r"(?m)^(\w),", r"\1x,", SITES))
    result = CliRunner().invoke(app, ["check", str(others), "--odds", str(asked)])
    assert (result.exit_code, "has odds of none of these sites" in result.output) == (2, True)
    few = portfolio(tmp_path / "few", sites=SITES.replace("\nC,", "\nCx,"))
    result = CliRunner().invoke(app, ["check", str(few), "--odds", str(asked)])
    assert "has no odds of 1 of these sites" in result.output
