"""Two runs side by side: what was put in differently, what moved, by how much, and why."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import polars as pl

from screener.exact import significant
from screener.outputs import INPUTS, RunFolder
from screener.ranking import rank, sql

CENT = 0.005  # half the smallest amount of money
OTHER_KWH = 1e-6  # share of an energy from which two runs differ: results have nine figures
TOGETHER = 12_288  # sites that are compared together; the rows of so many are read together
LOOKED_AT = (
    "site_id",
    "strategy",
    "is_current",
    "candidate",
    "unavailable",
    "hours_above_limit",
    "holds_limit",
    "unreconciled",
    "electricity_kwh",
    "fuel_kwh",
    "energy_cost",
    "demand_cost",
    "fuel_cost",
    "upkeep_per_year",
    "investment",
    "net_savings",
)
BEYOND = "terms of the life-cycle sum"
FIGURES = ("sites_with_savings", "cost_saved", "investment", "sites_with_placeholders", "net_savings")


@dataclass(frozen=True)
class Comparison:
    """`changed`: what was put in differently, a text each. `totals`: figure, before, after, change. `sites`: one row per
    site of either run (columns of `sql/comparison.sql`), those with another best strategy first, then by the change of
    net savings; `reason` is null where nothing moved."""

    changed: list[str]
    totals: pl.DataFrame
    sites: pl.DataFrame

    @property
    def moved(self) -> pl.DataFrame:
        """The sites of which anything moved."""
        return self.sites.filter(pl.col("reason").is_not_null())


def compare(first: RunFolder, second: RunFolder) -> Comparison:
    """What the second run has otherwise than the first."""
    runs = {"first": first, "second": second}
    rankings = {which: run.table("ranking").drop("notes").collect() for which, run in runs.items()}
    ids = pl.concat(ranking["site_id"] for ranking in rankings.values()).unique().sort()
    parts = [_compared(runs, rankings, ids.slice(start, TOGETHER)) for start in range(0, ids.len(), TOGETHER)]
    totals = [rank.totals(ranking).row(0, named=True) for ranking in rankings.values()]
    return Comparison(
        _changed(first, second), significant(_totals(*totals)), significant(_most_moved_first(pl.concat(parts)))
    )


def _compared(runs: Mapping[str, RunFolder], rankings: Mapping[str, pl.DataFrame], ids: pl.Series) -> pl.DataFrame:
    """The sites from the first of `ids`, which are in order, to the last: the columns of `sql/comparison.sql`."""
    mine = pl.col("site_id").is_between(pl.lit(ids[0]), pl.lit(ids[-1]))
    tables = {f"{which}_ranking": ranking.filter(mine) for which, ranking in rankings.items()}
    tables |= {
        f"{which}_strategies": run.between("strategies", ids).select(LOOKED_AT).collect() for which, run in runs.items()
    }
    return sql.query("comparison", tables, cent=CENT, kwh=OTHER_KWH, beyond=BEYOND)


def _most_moved_first(sites: pl.DataFrame) -> pl.DataFrame:
    """Sites of one run only come first, then those with another best strategy, then by the change of net savings."""
    in_one_run = pl.any_horizontal(pl.col("rank_before", "rank_after").is_null())
    other_best = (pl.col("best_before") != pl.col("best_after")).fill_null(False)
    order = [in_one_run, other_best, pl.col("net_savings_change").abs(), pl.col("rank_after"), pl.col("site_id")]
    return sites.sort(order, descending=[True, True, True, False, False], nulls_last=True)


def _totals(before: Mapping[str, Any], after: Mapping[str, Any]) -> pl.DataFrame:
    rows = [(name, before[name], after[name], after[name] - before[name]) for name in FIGURES]
    schema = {"figure": pl.String, "before": pl.Float64, "after": pl.Float64, "change": pl.Float64}
    return pl.DataFrame(rows, schema=schema, orient="row")


def _changed(first: RunFolder, second: RunFolder) -> list[str]:
    """Settings and input tables that differ, in words."""
    old, new = first.settings, second.settings
    names = [name for name in dict.fromkeys([*old, *new]) if old.get(name) != new.get(name)]
    told = [f"{name}: {old.get(name)}, now {new.get(name)}" for name in names]
    for table in INPUTS:
        keys = _differing(first.input(table.table), second.input(table.table), table.key[0])
        if keys:
            told.append(f"{table.table.replace('_', ' ')}: {', '.join(keys)}")
    return told


def _differing(before: pl.DataFrame, after: pl.DataFrame, key: str) -> list[str]:
    """Keys of which a row is in one table only."""
    columns = before.columns
    lost = before.join(after, on=columns, how="anti", nulls_equal=True)
    new = after.join(before, on=columns, how="anti", nulls_equal=True)
    return pl.concat([lost[key], new[key]]).unique().sort().to_list()
