"""Odds of a run: nothing uncertain is the run itself, the same seed the same bytes, killed and continued."""

import json
import random
import shutil
import signal
import subprocess
import sys
import time
from contextlib import suppress
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from typer.testing import CliRunner

from screener import odds, outputs, pipeline
from screener.commands import app
from screener.errors import UsageError
from screener.outputs import beside
from tests.odds.conftest import SITES, no_spreads, portfolio

DRAWS = 12
ROOT = Path(__file__).parents[2]
PERCENTILES = [f"{name}_p{percent}" for name in ("saved", "net_savings") for percent in (10, 20, 50, 80, 90)]


def copied(run: Path, to: Path) -> Path:
    shutil.copytree(run, to)
    return to


def files(run: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in run.glob("*odds*")}


@pytest.fixture(scope="module")
def asked(run: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, odds.Odds]:
    folder = copied(run, tmp_path_factory.mktemp("asked") / "run")
    return folder, odds.odds(folder, DRAWS, seed=3, first=2)


def test_nothing_uncertain_is_the_run_to_the_last_digit(tmp_path: Path) -> None:
    pipeline.run(portfolio(tmp_path / "portfolio", spreads=no_spreads()), tmp_path / "run")
    found = odds.odds(tmp_path / "run", 5)
    ranking = outputs.open_run(tmp_path / "run").table("ranking").collect()
    assert found.sites.height == ranking.height == 6
    assert ranking.filter(pl.col("net_savings") > 0).height >= 2
    together = found.sites.join(ranking, on="site_id", suffix="_run")
    for name in PERCENTILES:
        of_run = "cost_saved_run" if name.startswith("saved") else "net_savings_run"
        assert together[name].to_list() == together[of_run].to_list(), name
    advised = together.filter(pl.col("net_savings_run") > 0)
    assert advised.select("odds_pays", "odds_holds", "odds_best").unique().rows() == [(1.0, 1.0, 1.0)]
    assert found.sites["expected_loss"].to_list() == [0.0] * 6
    assert found.figures.filter(pl.col("worth_knowing") > 0).is_empty()
    total = found.portfolio.filter(figure="net_savings").row(0, named=True)
    of_all = ranking["net_savings"].sum()
    assert [total[name] for name in ("run", "mean", "p10", "p50", "p90")] == pytest.approx([of_all] * 5, rel=1e-8)


def test_the_same_seed_gives_the_same_bytes_and_another_others(
    asked: tuple[Path, odds.Odds], run: Path, tmp_path: Path
) -> None:
    again = copied(run, tmp_path / "again")
    odds.odds(again, DRAWS, seed=3, first=2)
    assert files(again) == files(asked[0])
    odds.odds(again, DRAWS, seed=4, first=2)
    assert files(again)["odds.csv"] != files(asked[0])["odds.csv"]


def test_every_site_has_its_odds_in_order(asked: tuple[Path, odds.Odds]) -> None:
    folder, found = asked
    ranking = outputs.open_run(folder).table("ranking").collect()
    assert found.sites["site_id"].to_list() == ranking["site_id"].to_list()
    for name in ("saved", "net_savings"):
        ranges = found.sites.select(f"{name}_p{percent}" for percent in (10, 20, 50, 80, 90)).to_numpy()
        assert (np.diff(ranges, axis=1) >= 0).all()
    assert found.sites["odds_first"].sum() <= 2 + 1e-9
    assumed = found.sites.filter("current_strategy_assumed")["site_id"].sort().to_list()
    assert assumed == ["B", "D"]
    assert (found.sites["expected_loss"] >= 0).all()
    assert (found.sites["expected_loss"] >= found.sites["worth_knowing_all"] - 1e-6).all()


def test_the_total_is_the_sum_of_the_sites_draws(asked: tuple[Path, odds.Odds]) -> None:
    """Common random numbers: the draw of the total is that of its sites; what is not advised adds nothing."""
    opened = outputs.open_run(asked[0])
    draws = beside.odds_table(opened, "odds_draws")
    assert draws.height == DRAWS
    mean = asked[1].sites["net_savings_mean"].sum()
    assert draws["net_savings"].mean() == pytest.approx(mean, rel=1e-6)


def test_killed_at_random_moments_and_continued(run: Path, tmp_path: Path) -> None:
    """A process killed amid its draws leaves no odds; the next goes on and comes to the same bytes, whatever was half done."""
    whole, broken = copied(run, tmp_path / "whole"), copied(run, tmp_path / "broken")
    odds.odds(whole, 40)
    script = (
        "import sys; from pathlib import Path; from screener.odds import asking;"
        "asking.ROWS_TOGETHER = 30; print(asking.odds(Path(sys.argv[1]), 40).notes)"
    )
    command, scratch = [sys.executable, "-c", script, str(broken)], broken / ".odds.unfinished"

    def there() -> int:
        return len(list(scratch.glob("[0-9]*[0-9]")))

    moments = random.Random(15)
    for more in (1, 2, 2):  # of nine parts
        process, due, until = subprocess.Popen(command, cwd=ROOT), there() + more, time.monotonic() + 120
        while there() < due and process.poll() is None and time.monotonic() < until:
            time.sleep(0.01)
        time.sleep(moments.uniform(0.0, 0.1))
        process.kill()
        assert process.wait() == -signal.SIGKILL
        assert not (broken / "odds.parquet").exists()
        assert there() >= due
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True)
    assert "continued unfinished odds, of which" in done.stdout
    assert files(broken) == files(whole)
    assert not scratch.exists()


def test_what_is_unfinished_goes_with_the_run_it_was_of(tmp_path: Path) -> None:
    """A run in place of another takes away the draws that were begun for it; what others put there stays."""
    sites = "\n".join(SITES.splitlines()[:2]) + "\n"
    pipeline.run(portfolio(tmp_path / "portfolio", sites=sites), tmp_path / "run")
    with suppress(KeyError), outputs.scratch(tmp_path / "run" / "odds", {"run": "this one"}) as begun:
        begun.keep(0, {"draws": pl.DataFrame({"draw": [1]})})
        raise KeyError  # as a process that is interrupted leaves it
    assert begun.has(0)
    (begun.path / "mine.txt").write_text("not the program's")
    pipeline.run(tmp_path / "portfolio", tmp_path / "run", force=True)
    assert [path.name for path in begun.path.iterdir()] == ["mine.txt"]


def test_odds_of_another_run_are_not_read(asked: tuple[Path, odds.Odds], run: Path, tmp_path: Path) -> None:
    other = copied(run, tmp_path / "other")
    opened = outputs.open_run(other)
    with pytest.raises(UsageError, match=r"has no odds; ask for the odds again: screener odds"):
        beside.odds_table(opened, "odds")
    for file in asked[0].glob("*odds*"):
        shutil.copy(file, other)
    told = json.loads((other / beside.ODDS_FILE).read_text())
    (other / beside.ODDS_FILE).write_text(json.dumps(told | {"run": "another"}))
    with pytest.raises(UsageError, match="its odds are of another run"):
        beside.odds_table(opened, "odds")
    (other / beside.ODDS_FILE).write_text(json.dumps(told))
    (other / "odds.parquet").write_bytes(b"PAR1")
    with pytest.raises(UsageError, match=r"odds\.parquet is not as it was written"):
        beside.odds_table(opened, "odds")


def test_the_command_says_how_sure_and_what_to_find_out(run: Path, tmp_path: Path) -> None:
    folder = copied(run, tmp_path / "run")
    result = CliRunner().invoke(app, ["odds", str(folder), "--draws", str(DRAWS), "--seed", "3", "--first", "2"])
    assert result.exit_code == 0, result.output
    assert "Exceeded with 90, 50 and 10 %: P10, P50, P90." in result.stdout
    assert "What to find out first" in result.stdout
    told = CliRunner().invoke(app, ["odds", str(folder), "--draws", "1"])
    assert told.exit_code == 2
    assert "1 draws tell no odds; ask for 2 to 100,000, such as --draws 200" in told.output


def test_more_draws_begin_with_those_there_were(run: Path, tmp_path: Path) -> None:
    few, many = copied(run, tmp_path / "few"), copied(run, tmp_path / "many")
    odds.odds(few, 4, seed=9)
    odds.odds(many, 8, seed=9)
    first, more = (beside.odds_table(outputs.open_run(each), "odds_draws") for each in (few, many))
    assert more.head(4).equals(first)
