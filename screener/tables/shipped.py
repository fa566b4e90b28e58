"""The tables that ship with the package, and how a portfolio's own rows are laid over them."""

from dataclasses import dataclass
from functools import cache
from pathlib import Path

import polars as pl

from screener.contracts import load
from screener.contracts.limits import LIMIT_COLUMNS
from screener.errors import ContractError, no_faults
from screener.tables.checking import CheckedTable, checked
from screener.tables.files import Source
from screener.tables.reading import RawTable, read_table

DEFAULTS = Path(__file__).parent / "defaults"
EVERY_TYPE = "*"  # rows of building_types.csv that hold for every type without a row of its own
INVESTMENT = ["investment_fixed", "investment_per_l_day", "investment_per_kw", "investment_per_l_s"]
ECONOMY = ["size_exponent", "price_at_size"]  # of the prices beside them
PUBLISHED = ["published_low", "published_high"]  # what such prices are elsewhere
OWN_SOURCE = "building_types table of the portfolio"


@dataclass(frozen=True)
class BuildingTypes:
    """`values`: one row per type, columns of the contract; `sources`: where each of them comes from, in words."""

    values: pl.DataFrame
    sources: pl.DataFrame


@cache
def strategies() -> pl.DataFrame:
    """The shipped strategies table: one row per strategy the program knows, columns of the contract."""
    contract = load("strategies")
    return _faultless(checked(read_table([Source(DEFAULTS / "strategies.csv")], contract), contract))


@cache
def building_types() -> BuildingTypes:
    """The shipped building types, from rows `building_type, column, value, source`."""
    rows = pl.read_csv(DEFAULTS / "building_types.csv", infer_schema=False, glob=False)
    types = rows.select("building_type").unique(maintain_order=True).filter(pl.col("building_type") != EVERY_TYPE)
    common = types.join(rows.filter(pl.col("building_type") == EVERY_TYPE).drop("building_type"), how="cross")
    own = rows.join(types, on="building_type")
    every = pl.concat([own, common.select(own.columns)]).unique(["building_type", "column"], keep="first")
    every = every.sort("building_type", "column")
    texts = every.pivot("column", index="building_type", values="value", maintain_order=True)
    contract = load("building_types")
    raw = RawTable("building_types", texts.with_row_index("row").cast({"row": pl.Int64}), no_faults())
    values = _faultless(checked(raw, contract))
    sources = every.pivot("column", index="building_type", values="source", maintain_order=True)
    missing = [pl.lit(None, dtype=pl.String).alias(name) for name in contract.columns if name not in sources.columns]
    return BuildingTypes(values, sources.with_columns(missing).select(contract.columns))


def _faultless(table: CheckedTable) -> pl.DataFrame:
    if not table.faults.is_empty():
        raise ContractError(table.faults)
    return table.values.drop("row")


def with_own_strategies(own: pl.DataFrame) -> pl.DataFrame:
    """The shipped strategies with a portfolio's rows laid over them.

    An empty cell keeps the shipped value; the investment columns go together, so giving one empties the others.
    """
    priced = pl.any_horizontal(pl.col(f"{name}_own").is_not_null() for name in INVESTMENT)
    columns = [name for name in load("strategies").columns if name != "strategy"]
    kept = {name: pl.col(name) for name in columns}
    kept |= {name: pl.when(~priced).then(pl.col(name)) for name in (*INVESTMENT, *ECONOMY, *PUBLISHED)}
    kept["note"] = pl.when(~priced).then(pl.col("note"))
    joined = strategies().join(own.drop("row"), on="strategy", how="left", suffix="_own", maintain_order="left")
    merged = joined.select("strategy", *[pl.coalesce(f"{name}_own", kept[name]).alias(name) for name in columns])
    return merged.with_columns(pl.col(*INVESTMENT, "upkeep_per_year").fill_null(0.0))


def with_own_building_types(own: pl.DataFrame) -> BuildingTypes:
    """The shipped building types with a portfolio's good rows laid over them cell by cell.

    A row starts from the shipped type it is based on; its own humidity limit replaces the shipped one of either kind.
    """
    shipped = building_types()
    own = own.drop("row").with_columns(base=pl.coalesce("based_on", "building_type"))
    texts = [pl.when(pl.col(name).is_not_null()).then(pl.lit(OWN_SOURCE)).alias(name) for name in _figures()]
    return BuildingTypes(_laid_over(shipped.values, own), _laid_over(shipped.sources, own.with_columns(texts)))


def _figures() -> list[str]:
    return [name for name in load("building_types").columns if name not in ("building_type", "based_on")]


def _laid_over(shipped: pl.DataFrame, own: pl.DataFrame) -> pl.DataFrame:
    columns = _figures()
    limited = pl.any_horizontal(pl.col(name).is_not_null() for name in LIMIT_COLUMNS)
    base = shipped.drop("based_on").rename({"building_type": "base"})
    joined = own.join(base, on="base", suffix="_shipped")
    merged = joined.select(
        "building_type",
        "based_on",
        *[pl.coalesce(name, f"{name}_shipped") for name in columns if name not in LIMIT_COLUMNS],
        *[pl.when(limited).then(name).otherwise(f"{name}_shipped").alias(name) for name in LIMIT_COLUMNS],
    )
    rest = shipped.join(merged, on="building_type", how="anti")
    return pl.concat([rest, merged.select(rest.columns)]).sort("building_type")
