"""Whether truths fall where the odds say, days against whole years, and what more knowledge does to a range.

Coverage and flat histograms of ranks: Gneiting, Balabdaoui, Raftery 2007, from memory. Sampling error of a share p of n: the
root of p(1-p)/n.
"""

import itertools
import shutil
from math import sqrt
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from screener import odds, outputs, pipeline
from screener.odds import asking, money, summary, working
from screener.odds.drawing import Source
from screener.odds.working import OWN
from tests.odds import calibration
from tests.odds.conftest import SITES, portfolio

PLACES, DRAWS = 56, 29
CHI_SQUARE_9 = 27.9  # exceeded with 0.1 % [any table of the distribution]


@pytest.fixture(scope="module")
def trial(tmp_path_factory: pytest.TempPathFactory) -> calibration.Trial:
    return calibration.trial(tmp_path_factory.mktemp("trial"), PLACES, DRAWS)


def test_truths_in_whole_years_lie_where_the_draws_say(trial: calibration.Trial) -> None:
    """Between P10 and P90 of n draws lie, of one more, 0.8 (n - 1) / (n + 1), plus or minus three sampling errors; ranks of
    the truth are flat. All of 400 sites: `python -m tests.odds.calibration 400 59`."""
    found = trial.covered("net_savings")
    due = 0.8 * (DRAWS - 1) / (DRAWS + 1)
    number = trial.truth["net_savings"].size
    assert number >= 0.9 * PLACES
    assert abs(found - due) <= 3 * sqrt(due * (1 - due) / number)
    assert calibration.chi_square(trial.ranks("net_savings"), DRAWS) <= CHI_SQUARE_9


def test_draws_that_knew_too_much_would_be_found_out(trial: calibration.Trial) -> None:
    """The check can fail: with half the spread, or a third of it added, the same truths lie elsewhere."""
    drawn, truth = trial.drawn["net_savings"], {"net_savings": trial.truth["net_savings"]}
    middle = np.median(drawn, axis=0)
    narrow = calibration.Trial({"net_savings": middle + 0.3 * (drawn - middle)}, truth)
    assert calibration.chi_square(narrow.ranks("net_savings"), DRAWS) > CHI_SQUARE_9
    assert narrow.covered("net_savings") < 0.6


def test_some_days_say_of_every_draw_what_whole_years_say(run: Path) -> None:
    """The same draws in whole years, the brute force: savings go with them, on average a fifth of their spread apart, and
    odds that a change pays differ by no more than one draw in a dozen, odds that one change beats another by twice that."""
    opened, draws = outputs.open_run(run), 24
    basis = asking.of_run(opened)
    terms = asking.economics.terms(opened.settings)
    apart = []
    for part in asking._parts(opened, basis, draws):
        figures = asking._figures(part, basis, Source(1, draws))
        days, years = (
            money.changes(
                part,
                working.work_out(part, basis, figures, [*OWN, *range(draws)], working.places(part, basis, whole)),
                figures,
                terms,
                draws,
                basis.settings.holding_tolerance_h,
            ).net_savings
            for whole in (False, True)
        )
        better = 0
        for site, several in summary.chances(part.results).group_by("site_id").agg("strategy").iter_rows():
            at = part.sites["site_id"].to_list().index(site)
            for one, other in itertools.combinations(map(part.strategies.index, several), 2):
                times = [int((each[:, at, one] > each[:, at, other]).sum()) for each in (days, years)]
                assert abs(times[0] - times[1]) <= 4, (site, one, other)
                better += 1
        assert better >= 12
        for site, strategy in summary.chances(part.results).select("site_id", "strategy").iter_rows():
            at = (slice(None), part.sites["site_id"].to_list().index(site), part.strategies.index(strategy))
            one, other = np.nan_to_num(days[at]), np.nan_to_num(years[at])
            if other.std() > 0:
                apart.append((one - other).std() / other.std())
                assert np.corrcoef(one, other)[0, 1] > 0.97, (site, strategy)
                assert abs(int((one > 0).sum()) - int((other > 0).sum())) <= 2, (site, strategy)
    assert len(apart) >= 8
    assert np.mean(apart) < 0.2


def test_a_figure_given_never_widens_a_range(run: Path, tmp_path: Path) -> None:
    """What B and D leave blank, given as it was assumed: ranges are no wider beyond sampling error, and narrower in all."""
    opened = outputs.open_run(run)
    used = {row["site_id"]: row for row in opened.table("sites_used").collect().iter_rows(named=True)}
    columns = [
        "current_strategy",
        "supply_fan",
        "cooling_cop",
        "outdoor_air_l_s",
        "infiltration_l_s_m2",
        "peak_occupants",
    ]
    known = pl.read_csv(SITES.encode()).drop(set(columns) & set(SITES.splitlines()[0].split(",")))
    given = pl.DataFrame([{name: used[site][name] for name in columns} for site in known["site_id"]])
    table = pl.concat([known, given], how="horizontal").write_csv()
    pipeline.run(portfolio(tmp_path / "portfolio", sites=table), tmp_path / "given")
    shutil.copytree(run, tmp_path / "blank")
    blank, full = (odds.odds(tmp_path / name, 60).sites.sort("site_id") for name in ("blank", "given"))
    widths = [frame["net_savings_p90"] - frame["net_savings_p10"] for frame in (blank, full)]
    same = blank["best_strategy"] == full["best_strategy"]
    for wide, narrow in zip(*(width.filter(same).to_list() for width in widths), strict=True):
        assert narrow <= 1.35 * wide + 1e-6  # two ranges of 60 draws each: a sampling error of some 15 %
    assert sum(widths[1].filter(same)) < sum(widths[0].filter(same))
