"""The ranking under other prices: which of them would change the decision."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import groupby

import polars as pl

from screener import economics
from screener.ranking import rank

SUMS = ("cost_saved", "investment", "net_savings")
ROWS_TOGETHER = 500_000  # of results, for one ranking: little memory, few queries
BOUGHT = ("investment", "replacement_cost")
ELECTRICITY, FUEL = ("energy_cost", "demand_cost"), ("fuel_cost",)
KEY = ("site_id", "strategy")
ELIGIBLE_BY = ("is_current", "candidate", "unavailable", "holds_limit", "unreconciled")  # beside what they save
LEAST_RATE = 0.0


@dataclass(frozen=True)
class Case:
    """Results and terms that differ in one price from those of the run."""

    name: str
    results: pl.DataFrame
    terms: economics.Terms


def what_if(results: pl.DataFrame, terms: economics.Terms) -> pl.DataFrame:
    """Totals of the ranking in each case, the run itself first, every site choosing its best strategy anew.

    `results`: the strategy results. One row per case: `case` in words, `sites_with_savings`, `cost_saved` [currency/a],
    `investment`, `net_savings` [currency].
    """
    cases = [*_cases(results.select(*KEY, *ELIGIBLE_BY, *economics.ASKED), terms)]
    together = max(ROWS_TOGETHER // max(results.height, 1), 1)
    changes = [_best_changes(cases[k : k + together]) for k in range(0, len(cases), together)]
    totals = (
        pl.concat(changes).group_by("case").agg(pl.len().cast(pl.Int64).alias("sites_with_savings"), pl.col(SUMS).sum())
    )
    names = pl.DataFrame({"case": [case.name for case in cases]})
    return names.join(totals, on="case", how="left", maintain_order="left").with_columns(
        pl.exclude("case").fill_null(0)
    )


def _best_changes(cases: Sequence[Case]) -> pl.DataFrame:
    """What the sites of several cases would change to; one question for all, so every case has sites of its own."""
    reckoned = []
    for terms, alike in groupby(cases, lambda case: case.terms):
        stacked = pl.concat(case.results.with_columns(case=pl.lit(case.name)) for case in alike)
        own = stacked.with_columns(site_id=pl.concat_str("case", pl.lit(": "), "site_id"))
        reckoned.append(economics.economics(own, terms, figures=("life_cycle_cost", "net_savings")))
    return rank.best_changes(pl.concat(reckoned)).select("case", *SUMS)


def _cases(results: pl.DataFrame, terms: economics.Terms) -> Iterator[Case]:
    """What is certain least, up and down: common practice, no source."""
    yield Case("as it is", results, terms)
    for name, factor in (("half as large", 0.5), ("half as large again", 1.5), ("twice as large", 2.0)):
        yield Case(f"investments are {name}", results.with_columns(pl.col(BOUGHT) * factor), terms)
    for carrier, costs in (("electricity", ELECTRICITY), ("fuel", FUEL)):
        for name, factor in (("a quarter less", 0.75), ("a quarter more", 1.25)):
            yield Case(f"{carrier} costs {name}", _priced(results, costs, factor), terms)
    rate = terms.discount_rate
    for name, other in (("two points lower", max(rate - 0.02, LEAST_RATE)), ("two points higher", rate + 0.02)):
        yield Case(f"the discount rate is {name} ({other:.1%})", results, replace(terms, discount_rate=other))


def _priced(results: pl.DataFrame, costs: tuple[str, ...], factor: float) -> pl.DataFrame:
    """The results with some of the yearly costs multiplied."""
    more = pl.sum_horizontal(costs) * (factor - 1.0)
    return results.with_columns(pl.col(costs) * factor, annual_cost=pl.col("annual_cost") + more)
