"""The engine against its own kept results: a change meant to be of form alone moves nothing."""

import polars as pl
from polars.testing import assert_frame_equal

from screener.strategies import REGISTRY
from tests.reference import COUNT, RESULTS, results


def test_kept_results_of_varied_sites_are_those_of_today() -> None:
    """To 1e-9; `python -m tests.reference` makes them anew where the physics was meant to change."""
    kept, today = pl.read_parquet(RESULTS), results()
    kept = kept.filter(pl.col("strategy").is_in(list(REGISTRY)))
    known = today.filter(pl.col("strategy").is_in(kept["strategy"].unique().implode()))
    assert known["site_id"].n_unique() == COUNT
    assert_frame_equal(known.select(kept.columns), kept, rel_tol=1e-9, abs_tol=1e-6)
