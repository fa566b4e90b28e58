"""The weather of one year and of all years of a study.

The standard deviation of a mean of N independent years is that of one over the root of N; what typical years are off by stays.
"""

from dataclasses import asdict, replace
from math import sqrt
from pathlib import Path

import numpy as np
import pytest

from screener import economics, outputs
from screener.engine import of_run
from screener.odds import asking, money, summary, working
from screener.odds.drawing import STUDY, YEAR, Figure, Source, draw
from screener.odds.working import OWN
from screener.tables import spreads

WIDTHS = {row["figure"]: row["width"] for row in spreads.shipped().to_dicts()}
DRAWS = 4_000


def weather(run: Path, years: int) -> dict[str, Figure]:
    opened = outputs.open_run(run)
    basis = of_run(opened)
    part, *_ = asking._parts(opened, basis, DRAWS)
    drawn = draw(part.sites, part.results, basis.inputs["spreads"], part.strategies, Source(5, DRAWS), years)
    return {figure.name: figure for figure in drawn if figure.name in (YEAR, STUDY)}


@pytest.mark.parametrize("years", [1, 15])
def test_years_average_out_and_what_is_typical_does_not(run: Path, years: int) -> None:
    """Of 4,000 draws a standard deviation is off by some 1 %; bounds of the spreads take a little of it too."""
    found = weather(run, years)
    spread = {name: np.log(figure.values).std(axis=1) for name, figure in found.items()}
    lasting, passing = WIDTHS[STUDY], WIDTHS[YEAR]
    assert spread[YEAR] == pytest.approx(sqrt(lasting**2 + passing**2), rel=0.05)
    assert spread[STUDY] == pytest.approx(sqrt(lasting**2 + passing**2 / years), rel=0.05)
    if years == 1:
        assert found[YEAR].values == pytest.approx(found[STUDY].values)


def test_the_savings_of_a_year_are_those_of_its_weather(run: Path) -> None:
    """Against the engine with the weather of the first year in place of that of the study: savings of a year go together, but
    for some small ones: a draw that halves what a strategy costs may change what weather does to it otherwise."""
    opened, draws = outputs.open_run(run), 24
    basis = of_run(opened)
    terms = economics.terms(asdict(basis.settings))
    (part,) = asking._parts(opened, basis, draws)
    figures = asking._figures(part, basis, Source(1, draws))
    year = next(figure for figure in figures if figure.name == YEAR)
    as_study = [replace(year, name=STUDY) if figure.name == STUDY else figure for figure in figures]
    found, due = (
        money.changes(
            part,
            working.work_out(part, basis, each, [*OWN, *range(draws)]),
            each,
            terms,
            draws,
            basis.settings.holding_tolerance_h,
        )
        for each in (figures, as_study)
    )
    alike = []
    for site, strategy in summary.chances(part.results).select("site_id", "strategy").iter_rows():
        at = (slice(None), part.sites["site_id"].to_list().index(site), part.strategies.index(strategy))
        one, other = np.nan_to_num(found.saved[at]), np.nan_to_num(due.saved[at])
        if other.std() > 0:
            alike.append(np.corrcoef(one, other)[0, 1])
    assert np.quantile(alike, 0.1) > 0.9
    assert np.median(alike) > 0.98
