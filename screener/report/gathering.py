"""What the pages of a run tell, gathered from its folder: tables as they are, and what is worked out again for them."""

from collections.abc import Mapping, Sequence
from typing import Any, Literal

import polars as pl

from screener import economics, explain, ledger, tables
from screener.errors import UsageError
from screener.exact import significant
from screener.outputs import RunFolder, beside
from screener.ranking import questions, rank
from screener.report import what_if
from screener.report.charts.psychrometric import Space
from screener.report.findings import Findings
from screener.report.site import SiteFindings
from screener.strategies import REFERENCE, REGISTRY

ODDS = ("odds", "portfolio_odds", "odds_figures", "odds_draws")
SAMPLED_ABOVE = 20_000  # sites; ranking them under ten other prices takes half a gigabyte


def of_run(run: RunFolder, where: Sequence[str] = ()) -> Findings:
    """What the report of a run folder tells, of the sites that meet all conditions `where` (see `questions.rank`).

    UsageError where a condition makes no sense, or no site meets them.
    """
    ranking, results, sites = run.table("ranking").collect(), run.table("strategies"), run.table("sites_used")
    if where:
        kept = questions.rank(run.path, where=where).rows.select("site_id")
        if kept.is_empty():
            raise UsageError(f"{' and '.join(where)}: no site of {run.path} is like that; nothing to report")
        ranking = ranking.join(kept, on="site_id", how="semi")
        results, sites = (frame.join(kept.lazy(), on="site_id", how="semi") for frame in (results, sites))
    return findings(
        ranking,
        results,
        sites,
        run.table("rejects").collect(),
        run.input("strategies"),
        run.settings,
        None if where else _odds(run),
        run.info.get("date", ""),
        run.input("own_columns"),
        where,
    )


def _odds(run: RunFolder) -> Mapping[str, pl.DataFrame] | None:
    """The odds of a run by table, where it has some; those of all its sites together cannot be told of a part of them."""
    return {name: beside.odds_table(run, name) for name in ODDS} if beside.has_odds(run) else None


def findings(
    ranking: pl.DataFrame,
    results: pl.LazyFrame,
    sites: pl.LazyFrame,
    rejects: pl.DataFrame,
    prices: pl.DataFrame,
    settings: Mapping[str, Any],
    odds: Mapping[str, pl.DataFrame] | None = None,
    run_date: str = "",
    own_columns: pl.DataFrame | None = None,
    where: Sequence[str] = (),
) -> Findings:
    """What the report of a run tells, from its tables, unrounded or as they were written: the same to the last figure.

    Of a run of more than `SAMPLED_ABOVE` sites, everything beyond the ranking is told from a sample: the sites evenly
    spread over the ranking.
    """
    ranking = significant(ranking.sort("rank"))
    engine: Literal["streaming", "in-memory"] = "in-memory"
    if ranking.height > SAMPLED_ABOVE:
        engine = "streaming"  # the sample is all that ever is in memory
        sample = ranking.gather_every(-(-ranking.height // SAMPLED_ABOVE)).lazy().select("site_id")
        results, sites = (frame.join(sample, on="site_id", how="semi") for frame in (results, sites))
    kept = significant(results.collect(engine=engine).sort("site_id", "strategy"))
    used = significant(sites.collect(engine=engine).sort("site_id"))
    return Findings(
        settings=settings,
        ranking=ranking,
        results=kept,
        sites=used,
        groups=significant(rank.groups(ranking)),
        rejects=rejects,
        totals=rank.totals(ranking).row(0, named=True),
        shortlist=rank.shortlist(kept, ranking),
        run_date=run_date,
        what_if=what_if.what_if(kept, economics.terms(settings)),
        summaries=summaries(),
        placeholders=placeholders(prices),
        odds=odds,
        where=where,
        **({} if own_columns is None else {"own_columns": own_columns}),
    )


def site_findings(run: RunFolder, site_id: str) -> SiteFindings:
    """What the page of a site tells: its rows of the run's tables, and its hours worked again as `explain` has them."""
    used = explain.site(run, site_id)
    mine = pl.col("site_id") == site_id
    ranked, results = (run.table(name).filter(mine).collect() for name in ("ranking", "strategies"))
    can = results.filter(pl.col("unavailable").is_null())["strategy"].to_list()
    called: dict[str, str] = {}
    roles = {"today": ranked["current_strategy"].item(), "best": ranked["best_strategy"].item()}
    for role, strategy in (roles | {"temperature only": REFERENCE.name}).items():
        if strategy in can and strategy not in called.values():
            called[role] = strategy
    year = explain.year(run, site_id, list(called.values()))
    shown = [called[role] for role in roles if role in called] or [REFERENCE.name]
    return SiteFindings(
        run_date=run.info.get("date", ""),
        settings=run.settings,
        ranked=ranked.row(0, named=True),
        used=used.row(0, named=True),
        results=results,
        hours={strategy: explain.explain(run, site_id, strategy, year.at)["hour"] for strategy in shown},
        outdoor=year.outdoor,
        months=year.months,
        held=year.held,
        day=year.day,
        date=year.date,
        called=called,
        bills=pl.concat(
            explain.bills(run, site_id, strategy).select(pl.lit(strategy).alias("strategy"), pl.all())
            for strategy in shown
        ),
        peaks=ledger.peaks(run.table("ledger").filter(mine), shown),
        space=Space(year.pressure_pa, used["cooling_setpoint_c"].item(), year.limit_humidity_ratio),
        limit_dew_point_c=year.limit_dew_point_c,
        summaries=summaries(),
        placeholders=placeholders(run.input("strategies")),
        odds=_odds_of(run, site_id),
        own=[(row["heading"], row["value"]) for row in run.input("own_columns").filter(mine).iter_rows(named=True)],
    )


def _odds_of(run: RunFolder, site_id: str) -> Mapping[str, Any] | None:
    """The row of a site in the odds of the run, where it has some, with `find_out`: what its blanks are worth knowing."""
    if not beside.has_odds(run):
        return None
    figures = beside.odds_table(run, "odds_figures").filter((pl.col("site_id") == site_id) & pl.col("assumed"))
    row = beside.odds_table(run, "odds").filter(site_id=site_id).row(0, named=True)
    return row | {"find_out": figures.sort("worth_knowing", "figure", descending=[True, False])}


def summaries() -> dict[str, str]:
    """Every strategy in a line, in the order of the registry."""
    return {name: strategy.summary for name, strategy in REGISTRY.items()}


def placeholders(prices: pl.DataFrame) -> list[str]:
    """Strategies whose investment is a shipped placeholder, in the order of the registry."""
    shipped = set(tables.placeholders(prices))
    return [name for name in REGISTRY if name in shipped]
