"""Orders by odds, and programs under doubt: against every program there is."""

import itertools
import shutil
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from typer.testing import CliRunner

from screener import odds, outputs
from screener.commands import app
from screener.errors import UsageError
from screener.outputs import beside
from screener.ranking import programs, protection, questions


@pytest.fixture(scope="module")
def asked(run: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("protection") / "run"
    shutil.copytree(run, folder)
    odds.odds(folder, 40, seed=5)
    return folder


def test_sites_in_the_order_of_their_odds(asked: Path) -> None:
    found = questions.rank(asked, by="net_savings_p20")
    table = beside.odds_table(outputs.open_run(asked), "odds")
    assert found.rows["net_savings_p20"].to_list() == table["net_savings_p20"].sort(descending=True).to_list()
    assert found.rows["site_id"].n_unique() == table.height
    assumed = questions.rank(asked, where=["current_strategy_assumed=true"])
    assert sorted(assumed.rows["site_id"]) == ["B", "D"]


def test_a_run_without_odds_says_how_to_have_them(run: Path) -> None:
    with pytest.raises(UsageError, match="has no odds; ask for the odds again: screener odds"):
        questions.rank(run, by="net_savings_p20")
    with pytest.raises(UsageError, match="has no odds"):
        questions.choose(run, 1e6, protect=0.2)
    assert questions.rank(run).rows.height == 6
    with pytest.raises(UsageError, match="--protect 20 is no part of the draws; give one between 0 and 1"):
        questions.choose(run, 1e6, protect=20)


def candidates(seed: int) -> tuple[pl.DataFrame, pl.DataFrame, np.ndarray]:
    """Ten sites with one change each, some of them sure and small, others large and in doubt together."""
    random = np.random.default_rng(seed)
    mean, width = random.uniform(10, 100, 10), random.uniform(0, 150, 10)
    common = random.standard_normal(60)
    brings = mean[:, None] + width[:, None] * (0.8 * common + 0.6 * random.standard_normal((10, 60)))
    keys = pl.DataFrame({"site_id": [f"S{i}" for i in range(10)]}).with_columns(
        strategy=pl.lit("standalone_dehumidifier")
    )
    changes = keys.with_columns(
        name=pl.lit(None, pl.String),
        climate_zone=pl.lit(None, pl.String),
        investment=pl.Series(random.uniform(20, 60, 10).round(2)),
        investment_basis=pl.lit(None, pl.String),
        cost_saved=pl.lit(1.0),
        upkeep_saved=pl.lit(0.0),
        net_savings=pl.Series(mean),
        simple_payback_years=pl.lit(1.0),
        **{name: pl.lit(None) for name in set(programs.COLUMNS) - {"site_id", "strategy"} - KNOWN},
    )
    drawn = keys.join(pl.DataFrame({"draw": range(60)}), how="cross").with_columns(
        net_savings=pl.Series(brings.ravel())
    )
    return changes, drawn, brings


KNOWN = {"name", "climate_zone", "investment", "investment_basis", "cost_saved", "upkeep_saved", "net_savings"} | {
    "simple_payback_years"
}


def test_near_the_best_of_every_program_there_is() -> None:
    """Against all 1,024 programs of ten sites, twelve times: never above the best of them, and within 5 % of it on average;
    never below the program with the highest mean."""
    budget, shares = 200.0, []
    for seed in range(12):
        changes, drawn, brings = candidates(seed)
        cost = changes["investment"].to_numpy()
        best = max(
            np.quantile(brings[list(chosen)].sum(axis=0), 0.2)
            for size in range(11)
            for chosen in itertools.combinations(range(10), size)
            if cost[list(chosen)].sum() <= budget
        )
        found = protection.protected(changes, drawn, 0.2, lambda each: programs.choose(each, budget))
        assert found.program.changes["investment"].sum() <= budget
        assert found.quantile >= found.other_quantile
        assert found.price >= -1e-9
        assert found.quantile <= best + 1e-9
        assert found.program.changes["net_savings"].sum() == pytest.approx(found.mean)
        shares.append((found.quantile, best))
    ours, theirs = np.sum(shares, axis=0)
    assert ours >= 0.95 * theirs


def test_the_command_tells_what_the_protection_costs(asked: Path) -> None:
    result = CliRunner().invoke(app, ["choose", str(asked), "--budget", "400000", "--protect", "0.2"])
    assert result.exit_code == 0, result.output
    assert "exceeded with 80 %" in result.stdout
    assert "The protection costs" in result.stdout
    assert "not proven" in result.stdout
