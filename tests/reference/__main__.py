"""Make the kept results anew, and say by how much they moved."""

import sys

import polars as pl

from tests.engine_cases import filled, random_rows
from tests.reference import COUNT, RESULTS, SITES, as_kept, results

if "--sites" in sys.argv:
    drawn = filled(random_rows(COUNT, seed=200))
    drawn.select(pl.exclude("^.*_origin$")).write_parquet(SITES, compression="zstd")
else:
    as_kept().write_parquet(SITES, compression="zstd")
today = results()
before = pl.read_parquet(RESULTS) if RESULTS.exists() else today
today.write_parquet(RESULTS, compression="zstd")
both = today.join(before, on=["site_id", "strategy"], suffix=":before")
for name in before.columns:
    if before[name].dtype.is_float() and f"{name}:before" in both.columns:
        change = both.select((pl.col(name).sum() / pl.col(f"{name}:before").sum() - 1) * 100).item()
        print(f"{name}: {change or 0.0:+.6f} % in all")
