"""Which site first: the ranking, its groups and its totals, asked of DuckDB in the words of the files in `sql/`."""

from collections.abc import Mapping
from pathlib import Path

import duckdb
import polars as pl

from screener.contracts import PLACEHOLDER

SQL = Path(__file__).parent / "sql"
HOLDING_TOLERANCE_H = 1.0  # as well as today, to the hour
NOTEWORTHY_H = 100.0  # about one hour in a hundred above the limit deserves a note: common practice, no source
UNCONTROLLED = "temperature_only"
SETTINGS: dict[str, str | bool | int | float | list[str]] = {
    "threads": 1,  # sums in one order; the tables here are small
    "autoinstall_known_extensions": False,
    "autoload_known_extensions": False,
    "enable_external_access": False,
    "python_enable_replacements": False,
}


def ranking(strategies: pl.DataFrame, sites: pl.DataFrame, currency: str) -> pl.DataFrame:
    """Every site with its best strategy, in order of net savings.

    `strategies`: the strategy results (one row per site_id and strategy, with economics). `sites`: site_id, name,
    building_type, climate_zone, station, current_strategy, assumed_share, climate_note. Returns the columns of the
    ranking contract; the rules stand at the head of `sql/ranking.sql`.
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
    ]
    return query(
        "ranking",
        {"strategies": strategies, "eligible": eligible(strategies), "sites": sites.select(columns)},
        note_h=NOTEWORTHY_H,
        uncontrolled=UNCONTROLLED,
        placeholder=PLACEHOLDER,
        currency=currency,
    )


def eligible(strategies: pl.DataFrame) -> pl.DataFrame:
    """The rows of `strategies` that their sites may be advised to change to: candidates that save money and hold the
    humidity limit at least as well as today (`sql/eligible.sql`), by site_id and strategy."""
    return query("eligible", {"strategies": strategies}, tolerance_h=HOLDING_TOLERANCE_H)


def groups(ranking: pl.DataFrame) -> pl.DataFrame:
    """One row per climate_zone, building_type and best_strategy: counts and totals of the ranking's columns."""
    return query("groups", {"ranking": ranking})


def holds_as_well(strategies: pl.DataFrame) -> pl.Series:
    """Whether a site's strategies hold its limit as well as its current one, as the ranking asks for. Of one site."""
    today = pl.col("hours_above_limit").filter("is_current").first()
    return strategies.select(pl.col("hours_above_limit") <= today + HOLDING_TOLERANCE_H).to_series()


def shortlist(strategies: pl.DataFrame, ranking: pl.DataFrame) -> pl.DataFrame:
    """One row per candidate: at how many sites it is available, holds the limit, pays and is best."""
    return query("shortlist", {"strategies": strategies, "ranking": ranking}, tolerance_h=HOLDING_TOLERANCE_H)


def totals(ranking: pl.DataFrame) -> pl.DataFrame:
    """One row for the whole portfolio: counts and totals of the ranking's columns."""
    return query("totals", {"ranking": ranking}, placeholder=PLACEHOLDER)


def query(name: str, tables: Mapping[str, pl.DataFrame], **parameters: str | float) -> pl.DataFrame:
    """Run `sql/<name>.sql` on `tables`, which it sees under their names and nothing else; parameters are bound."""
    text = (SQL / f"{name}.sql").read_text(encoding="utf-8")
    with duckdb.connect(":memory:", config=SETTINGS) as connection:
        for table, frame in tables.items():
            connection.register(table, frame.to_arrow())
        answer: pl.DataFrame = connection.sql(text, params=parameters).pl()
    return answer
