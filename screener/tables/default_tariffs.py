"""What sites without a tariff pay: a placeholder, the average commercial prices of their state, and told as such everywhere."""

from dataclasses import replace
from functools import cache

import polars as pl

from screener.contracts import load
from screener.contracts.origins import ASSUMED
from screener.tables.portfolio import Portfolio
from screener.tables.shipped import DEFAULTS

PREFIX = "default_"
ANYWHERE = "US"  # the average of all states, for places in none of them
CURRENCY = "USD"


@cache
def state_tariffs() -> pl.DataFrame:
    """The placeholders that ship: state, tariff_id, the prices per kWh, source."""
    rows = pl.read_csv(DEFAULTS / "state_tariffs.csv", glob=False)
    return rows.with_columns(tariff_id=pl.concat_str(pl.lit(PREFIX), "state"))


def is_default(tariff_id: pl.Expr) -> pl.Expr:
    """Whether a tariff is a placeholder that ships."""
    return tariff_id.is_in(state_tariffs()["tariff_id"].implode())


def with_defaults(portfolio: Portfolio, states: pl.DataFrame) -> Portfolio:
    """The portfolio with the placeholder of its state for every site that has no tariff, and those tariffs; a note says so.

    `states`: site_id, state (null where it is not known).
    """
    without = portfolio.sites.filter(pl.col("tariff_id").is_null())
    if without.is_empty():
        return portfolio
    shipped = state_tariffs()
    known = pl.when(pl.col("state").is_in(shipped["state"].implode())).then("state").otherwise(pl.lit(ANYWHERE))
    found = without.select("site_id").join(states, on="site_id", how="left", maintain_order="left")
    chosen = found.select("site_id", chosen=pl.concat_str(pl.lit(PREFIX), known))
    sites = portfolio.sites.join(chosen, on="site_id", how="left", maintain_order="left")
    sites = sites.with_columns(tariff_id=pl.coalesce("tariff_id", "chosen")).drop("chosen")
    given = portfolio.sites_given.join(chosen, on="site_id", how="left", maintain_order="left")
    told = given.join(shipped.select(chosen="tariff_id", why="source"), on="chosen", how="left", maintain_order="left")
    origin = pl.coalesce("tariff_id", pl.concat_str(pl.lit(f"{ASSUMED}: "), "why"))
    used = shipped.filter(pl.col("tariff_id").is_in(chosen["chosen"].unique().implode()))
    columns = load("tariffs").polars_schema()
    new = used.select(name for name in columns if name in used.columns)
    added = new.with_columns(
        pl.lit(None, kind).alias(name) for name, kind in columns.items() if name not in new.columns
    )
    whose = "1 site has" if without.height == 1 else f"{without.height:,} sites have"
    money = "" if portfolio.settings.currency == CURRENCY else f", in {CURRENCY}, not {portfolio.settings.currency}"
    note = f"{whose} no tariff: average prices of its state stand in, a placeholder{money} ({', '.join(used['tariff_id'])})"
    return replace(
        portfolio,
        sites=sites,
        sites_given=told.with_columns(tariff_id=origin).drop("chosen", "why"),
        tariffs=pl.concat([portfolio.tariffs, added.select(portfolio.tariffs.columns)]),
        notes=[*portfolio.notes, note],
    )
