"""The draws in figures: ranges, odds, expected losses, what is worth knowing; by site and for the portfolio.

P10 is the tenth percentile: what is exceeded with 90 %. A change that would not hold the limit as well as what a site has, or
that cannot be had, counts for nothing in that draw, or for what it loses.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl

from screener.odds import information
from screener.odds.drawing import YEAR, Figure, Numbers, Truths
from screener.odds.information import Known
from screener.odds.money import Changes
from screener.odds.working import Part

PERCENTS = (10, 20, 50, 80, 90)
MOST_CHOICES = 3  # changes of a site that have a chance beside the advised one
STRATEGY = "strategy"
LEAST_WORTH = 0.01  # [currency] of a figure that is told


@dataclass(frozen=True)
class Of:
    """What is known of the sites of a part: `sites` a row each, `figures` a row for each site and figure worth knowing,
    `changes` a row for each change with a chance and draw, `saved` and `net_savings` [draw, site] of the advised change."""

    sites: pl.DataFrame
    figures: pl.DataFrame
    changes: pl.DataFrame
    saved: Numbers
    net_savings: Numbers
    drawn: dict[tuple[str, str | None], Numbers]


def of_part(part: Part, ranking: pl.DataFrame, figures: Sequence[Figure], found: Changes) -> Of:
    """The odds of the sites of a part. `ranking`: its rows, for the advised strategies."""
    advised = dict(ranking.select("site_id", "best_strategy").iter_rows())
    with_chance = {
        site: [part.strategies.index(name) for name in names]
        for site, names in chances(part.results).group_by("site_id").agg("strategy").iter_rows()
    }
    sites, knowable, changed = [], [], []
    draws, count = found.net_savings.shape[:2]
    saved, net = np.zeros((draws, count)), np.zeros((draws, count))
    drawn: dict[tuple[str, str | None], Numbers] = {}
    for at, site in enumerate(part.sites.iter_rows(named=True)):
        best = part.strategies.index(advised[site["site_id"]])
        today = part.strategies.index(site["current_strategy"])
        known = found.net_savings[:, at]
        if best != today:
            saved[:, at] = np.nan_to_num(found.saved[:, at, best], nan=0.0)
            net[:, at] = np.nan_to_num(known[:, best], nan=0.0)
        others = sorted({*with_chance.get(site["site_id"], ()), *([best] if best != today else ())})
        options = brought(found, at, others)
        chosen = 0 if best == today else 1 + others.index(best)
        holds = found.holds[:, at, best] if chosen else None
        sites.append(_of_site(site, part.strategies[best], saved[:, at], net[:, at], holds, options, chosen))
        knowable += _worth(part, site, figures, at, options, part.strategies[best])
        changed += [
            pl.DataFrame(
                {
                    "site_id": [site["site_id"]] * draws,
                    STRATEGY: [part.strategies[each]] * draws,
                    "draw": range(draws),
                    "net_savings": options[:, 1 + place],
                }
            )
            for place, each in enumerate(others)
        ]
    for figure in figures:
        if figure.name != YEAR:  # net savings are of all years
            drawn[figure.name, figure.strategy] = _standing(figure)
    schema = {"site_id": pl.String, STRATEGY: pl.String, "draw": pl.Int64, "net_savings": pl.Float64}
    of_changes = pl.concat([pl.DataFrame(schema=schema), *changed])
    return Of(
        pl.DataFrame(sites), pl.DataFrame(knowable, schema=FIGURE_SCHEMA, orient="row"), of_changes, saved, net, drawn
    )


FIGURE_SCHEMA: dict[str, Any] = {
    "site_id": pl.String,
    "figure": pl.String,
    STRATEGY: pl.String,
    "assumed": pl.Boolean,
    "worth_knowing": pl.Float64,
}


def chances(results: pl.DataFrame) -> pl.DataFrame:
    """Of the strategy results the rows of changes with a chance: of those that hold the limit in the run the next few of each
    site by net savings."""
    held = results.filter(
        pl.col("candidate") & ~pl.col("is_current") & pl.col("holds_limit") & pl.col("net_savings").is_not_null()
    )
    best = held.sort("site_id", "net_savings", "strategy", descending=[False, True, False])
    return best.group_by("site_id", maintain_order=True).head(MOST_CHOICES)


def brought(found: Changes, at: int, others: Sequence[int]) -> Numbers:
    """What each choice at a site brings [draw, choice]: to leave it as it is, then each of the strategies `others`."""
    known = found.net_savings[:, at]
    with np.errstate(invalid="ignore"):
        value = np.where(found.holds[:, at], known, np.minimum(known, 0.0))
    return np.column_stack([np.zeros(len(value)), np.nan_to_num(value[:, others], nan=0.0)])


def _of_site(
    site: dict[str, Any], best: str, saved: Numbers, net: Numbers, holds: Truths | None, options: Numbers, chosen: int
) -> dict[str, Any]:
    value, highest = options[:, chosen], options.max(axis=1)
    return {
        "site_id": site["site_id"],
        "best_strategy": best,
        "current_strategy_assumed": str(site["current_strategy_origin"]).startswith("assumed"),
        **_percentiles("saved", saved),
        **_percentiles("net_savings", net),
        "net_savings_mean": float(net.mean()) if np.ptp(net) else float(net[0]),
        "odds_pays": float((net > 0.0).mean()) if chosen else None,
        "odds_holds": None if holds is None else float(holds.mean()),
        "odds_best": float((value >= highest).mean()),
        "expected_loss": float((highest - value).mean()),
        "worth_knowing_all": information.worth_of_all(options),
    }


def _percentiles(name: str, values: Numbers) -> dict[str, float]:
    return {
        f"{name}_p{percent}": float(each)
        for percent, each in zip(PERCENTS, np.percentile(values, PERCENTS), strict=True)
    }


def _worth(
    part: Part, site: dict[str, Any], figures: Sequence[Figure], at: int, options: Numbers, best: str
) -> list[tuple[Any, ...]]:
    """What each uncertain figure of a site is worth knowing."""
    own = (None, best, site["current_strategy"])
    mine = [f for f in figures if f.varies[at] and f.strategy in own and f.name != YEAR]  # of net savings
    known = [Known(figure.values[at], bool(figure.words)) for figure in mine]
    worth = information.worth(known, options) if options.shape[1] > 1 else np.zeros(len(mine))
    return [
        (site["site_id"], figure.name, figure.strategy, bool(figure.assumed[at]), float(each))
        for figure, each in zip(mine, worth, strict=True)
        if each >= LEAST_WORTH
    ]


def _standing(figure: Figure) -> Numbers:
    """Where a figure stands in each draw on average over the sites [draw], in its standard deviations; of a choice the part
    of the sites at which it is another than most often."""
    if figure.words:
        usual = np.asarray([np.bincount(row.astype(np.int64)).argmax() for row in figure.values])
        return np.asarray((figure.values != usual[:, None]).mean(axis=0))
    spread = figure.values.std(axis=1, keepdims=True)
    return np.asarray(
        np.divide(
            figure.values - figure.values.mean(axis=1, keepdims=True),
            spread,
            out=np.zeros_like(figure.values),
            where=spread > 0,
        ).mean(axis=0)
    )


def of_portfolio(saved: Numbers, net: Numbers, run: dict[str, float]) -> pl.DataFrame:
    """Ranges of the totals of all advised changes, a row per figure. `saved`, `net` [draw]."""
    rows = [
        {
            "figure": name,
            "run": run[name],
            "mean": float(values.mean()) if np.ptp(values) else float(values[0]),
            **{
                f"p{percent}": float(each)
                for percent, each in zip(PERCENTS, np.percentile(values, PERCENTS), strict=True)
            },
            "odds_pays": float((values > 0.0).mean()),
        }
        for name, values in (("cost_saved", saved), ("net_savings", net))
    ]
    return pl.DataFrame(rows)


def first(net: Numbers, number: int) -> Numbers:
    """How often each site is among the first `number` by net savings [draw, site] of its advised change, and saves money."""
    order = np.argsort(-net, axis=1, kind="stable")[:, :number]
    among = np.zeros(net.shape, dtype=bool)
    np.put_along_axis(among, order, True, axis=1)
    return np.asarray((among & (net > 0.0)).mean(axis=0))
