"""The ranking of a run in another order, narrowed by conditions, or in groups: asked of DuckDB.

Columns and values that a person typed reach it as expression objects; no text of a query is put together.
"""

from collections.abc import Collection, Mapping, Sequence
from functools import reduce
from pathlib import Path

import polars as pl
from duckdb import ColumnExpression, StarExpression

from screener import contracts
from screener.contracts import Field
from screener.ranking import sql
from screener.ranking.conditions import Condition
from screener.ranking.sql.expressions import holds, together

KEY = "site_id"
NOT_IN_GROUPS = ("climate_zone", "building_type", "best_strategy")  # keys of the groups table, not totals


def site_fields(own: Mapping[str, Field] | None = None) -> dict[str, Field]:
    """What sites can be ordered by, told apart by and grouped by: columns of the ranking, of the sites table, of the odds,
    and the owner's `own`."""
    known = {field.name: field for name in ("odds", "sites", "ranking") for field in contracts.load(name).fields}
    return {**(own or {}), **known}


def of_odds(names: Collection[str]) -> list[str]:
    """Those of these columns that only the odds of a run have."""
    elsewhere = {*contracts.load("sites").columns, *contracts.load("ranking").columns}
    return sorted({*names} & {*contracts.load("odds").columns} - elsewhere)


def group_fields(keys: Sequence[str], fields: Mapping[str, Field]) -> dict[str, Field]:
    """What groups can be ordered by: their keys, of those `fields`, and totals."""
    totals = [field for field in contracts.load("groups").fields if field.name not in NOT_IN_GROUPS]
    return {name: fields[name] for name in keys} | {field.name: field for field in totals}


def listed(
    ranking: Path,
    sites: Path,
    by: str,
    descending: bool,
    where: Sequence[Condition] = (),
    group_by: Sequence[str] = (),
    odds: Path | None = None,
    own: pl.DataFrame | None = None,
) -> pl.DataFrame:
    """The sites that meet all conditions, or their groups, in the order of `by`.

    `ranking` and `sites` are the files of the run's tables ranking and sites_used, `odds` that of its odds where they are
    asked for, `own` the owner's columns in a row a site. `by`, `where` and `group_by` name columns of `site_fields`; of
    groups `by` is one of `group_fields`. Returns `position`, the columns of the ranking (of groups: keys, counts and
    totals), further columns that were named and the owner's, and the
    running totals cumulative_cost_saved, cumulative_investment and cumulative_net_savings.
    """
    named = {by, *group_by, *(condition.column for condition in where)}
    more = sorted(named & set(contracts.load("sites").columns) - set(contracts.load("ranking").columns))
    likely = of_odds(named)
    tables: dict[str, sql.Table] = {"ranking": ranking, "sites": sites}
    tables |= {"odds": odds} if odds and likely else {}
    tables |= {} if own is None else {"own": own}
    with sql.database(tables) as connection:
        rows = connection.table("ranking")
        if own is not None:
            rows = rows.join(connection.table("own"), KEY, how="left")
        if likely:
            rows = rows.join(connection.table("odds").select(KEY, *likely), KEY)
        if more:
            rows = rows.join(connection.table("sites").select(KEY, *more), KEY)
        rows = reduce(lambda narrowed, condition: narrowed.filter(holds(condition)), where, rows)
        tie = together(group_by) if group_by else ColumnExpression(KEY)
        if group_by:
            rows.select(StarExpression(), tie.alias("group_key")).create_view("grouped")
            rows = sql.ask(connection, "groups", placeholder=contracts.PLACEHOLDER)
        keys = (ColumnExpression(by).alias("sort_key"), tie.alias("tie_key"))
        rows.select(StarExpression(), *keys).create_view("listed")
        return pl.DataFrame(sql.ask(connection, "order", descending=descending))
