"""Two runs side by side: what was put in differently, what moved, by how much, and why."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import polars as pl

from screener import rank, sql
from screener.exact import significant
from screener.outputs import INPUTS, RunFolder

CENT = 0.005  # half the smallest amount of money
OTHER_KWH = 1e-6  # share of an energy from which two runs differ: results have nine figures
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
    tables = {
        f"{which}_{name}": run.table(name).collect()
        for which, run in runs.items()
        for name in ("ranking", "strategies")
    }
    sites = sql.query(
        "comparison", tables, cent=CENT, kwh=OTHER_KWH, tolerance_h=rank.HOLDING_TOLERANCE_H, beyond=BEYOND
    )
    totals = [rank.totals(tables[f"{which}_ranking"]).row(0, named=True) for which in runs]
    return Comparison(_changed(first, second), significant(_totals(*totals)), significant(sites))


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
