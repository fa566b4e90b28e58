"""The year of a site: sized, every hour of every strategy, added up; a batch of sites at a time, here or elsewhere."""

from screener.engine.batches import BATCH_SITES, price_all, require_distinct, whole_ranking, work_out_all
from screener.engine.estimate import HOURLY, MONTHLY, Basis, Batch, of_run, work_out
from screener.engine.progress import Progress
from screener.engine.year import (
    HOURLY_COLUMNS,
    NO_CODE,
    PLACE_COLUMNS,
    WEATHER,
    as_run,
    by_the_hour,
    compiled_year,
    dated,
    part,
    plan,
    prepare,
    simulate,
    size,
    states,
    years,
)

__all__ = [
    "BATCH_SITES",
    "HOURLY",
    "HOURLY_COLUMNS",
    "MONTHLY",
    "NO_CODE",
    "PLACE_COLUMNS",
    "WEATHER",
    "Basis",
    "Batch",
    "Progress",
    "as_run",
    "by_the_hour",
    "compiled_year",
    "dated",
    "of_run",
    "part",
    "plan",
    "prepare",
    "price_all",
    "require_distinct",
    "simulate",
    "size",
    "states",
    "whole_ranking",
    "work_out",
    "work_out_all",
    "years",
]
