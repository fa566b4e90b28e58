"""Which site first: the ranking, its groups and its totals, asked of DuckDB in the words of the files in `sql/`."""

import polars as pl

from screener.contracts import PLACEHOLDER
from screener.contracts.hour import PLAIN, RECOVERING, REFERENCE, WHEEL
from screener.contracts.limits import NOTEWORTHY_H
from screener.ranking.holding import Tolerance
from screener.ranking.reconciling import NOTEWORTHY_SHARE
from screener.ranking.sql import query

BOUGHT_REHEAT_KWH = 100.0  # a year: less is no matter


def ranking(
    strategies: pl.DataFrame, sites: pl.DataFrame, currency: str, tolerance_h: float = Tolerance().hours
) -> pl.DataFrame:
    """Every site with its best strategy, in order of net savings.

    `strategies`: the strategy results (one row per site_id and strategy, with economics, `holding.marked`). `tolerance_h`:
    above its limit for no longer, a site is said to hold it. `sites`: site_id, name,
    building_type, climate_zone, station, current_strategy, assumed_share, climate_note, figures_note. Returns the
    columns of the ranking contract; the rules stand at the head of `sql/ranking.sql`.
    """
    columns = [
        "site_id",
        "name",
        "building_type",
        "climate_zone",
        "station",
        "current_strategy",
        "assumed_share",
        "climate_note",
        "figures_note",
    ]
    return query(
        "ranking",
        {"strategies": strategies, "best_changes": best_changes(strategies), "sites": sites.select(columns)},
        note_h=NOTEWORTHY_H,
        held_h=tolerance_h,
        bill_share=NOTEWORTHY_SHARE,
        bought_kwh=BOUGHT_REHEAT_KWH,
        uncontrolled=REFERENCE,
        recovering=RECOVERING,
        plain=PLAIN,
        wheel=WHEEL,
        placeholder=PLACEHOLDER,
        currency=currency,
    )


def eligible(strategies: pl.DataFrame) -> pl.DataFrame:
    """The rows of `strategies` that their sites may be advised to change to: candidates that save money and hold the
    humidity limit at least as well as today (`sql/eligible.sql`), by site_id and strategy."""
    return query("eligible", {"strategies": strategies})


def best_changes(strategies: pl.DataFrame) -> pl.DataFrame:
    """Of the sites that may be advised a change, the row of `strategies` with the best (`sql/best_changes.sql`)."""
    return query("best_changes", {"eligible": eligible(strategies)})


def of_batches(rankings: pl.DataFrame) -> pl.DataFrame:
    """The rankings of several batches of sites, figures unrounded, as the ranking of all; in the order of `sql/ranking.sql`."""
    together = rankings.sort("net_savings", "cost_saved", "site_id", descending=[True, True, False])
    return together.with_columns(rank=pl.int_range(1, pl.len() + 1).cast(rankings.schema["rank"]))


def groups(ranking: pl.DataFrame) -> pl.DataFrame:
    """Where each strategy pays, by climate and kind of building: one row per climate_zone, building_type and
    best_strategy, counts and totals of the ranking's columns."""
    keys = pl.struct(pl.col("climate_zone").fill_null("not known"), "building_type", "best_strategy")
    return query("groups", {"grouped": ranking.with_columns(group_key=keys)}, placeholder=PLACEHOLDER)


def shortlist(strategies: pl.DataFrame, ranking: pl.DataFrame) -> pl.DataFrame:
    """One row per candidate: at how many sites it is available, holds the limit, pays and is best."""
    return query("shortlist", {"strategies": strategies, "ranking": ranking})


def totals(ranking: pl.DataFrame) -> pl.DataFrame:
    """One row for the whole portfolio: counts and totals of the ranking's columns."""
    return query("totals", {"ranking": ranking}, placeholder=PLACEHOLDER)
