"""Kept results of 200 varied sites, and how they are made anew: `python -m tests.reference` [--sites].

A change of form (faster, shorter, in another order) must give them to 1e-9. A change of the physics on purpose makes them
anew, and its commit says by how much they moved. The sites are kept filled, so that other defaults do not move the results,
but for columns that are new; `--sites` draws them anew.
"""

from pathlib import Path

import polars as pl

from screener.contracts import load
from screener.strategies import REGISTRY
from screener.tables.shipped import building_types
from tests.engine_cases import accounts

FOLDER = Path(__file__).parent
SITES, RESULTS = FOLDER / "sites.parquet", FOLDER / "results.parquet"
COUNT = 200
DERIVED = ("note", "unavailable", "device_capacity_pints_day", "litres_per_kwh", "dehumidification_kwh", "standby_kwh")


def as_kept() -> pl.DataFrame:
    """The kept sites, with the figures of the building type and the blanks that came since they were drawn."""
    sites, types = pl.read_parquet(SITES), building_types().values
    since = [name for name in types.columns if name not in sites.columns]
    sites = sites.join(types.select("building_type", *since), on="building_type", how="left", maintain_order="left")
    blank = {name: kind for name, kind in load("sites").polars_schema().items() if name not in sites.columns}
    return sites.with_columns(pl.lit(None, dtype=kind).alias(name) for name, kind in blank.items())


def results() -> pl.DataFrame:
    """What the engine says of the kept sites today, by site and strategy."""
    totals, _ = accounts(as_kept())
    by_name = totals.filter(pl.col("strategy").is_in(list(REGISTRY)))
    return by_name.with_columns(available=pl.col("unavailable").is_null()).drop(DERIVED).sort("site_id", "strategy")
