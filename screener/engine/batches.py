"""The batches of a run: worked out or priced anew, each put away in the scratch folder as it comes.

Whatever the folder has already, from an unfinished run of the same things, is left as it is.
"""

from collections.abc import Callable
from functools import partial

import polars as pl

from screener import outputs, price
from screener.engine.cluster import batches as cluster_batches
from screener.engine.estimate import HOURLY, MONTHLY, Basis, Batch, bills_of, in_money, ranked, rates_of, work_out
from screener.engine.prefetch import ahead
from screener.engine.progress import Progress
from screener.errors import ResultsError, UsageError
from screener.ranking.rank import of_batches

BATCH_SITES = {HOURLY: 1_500, MONTHLY: 6_000}  # ledgers of so many take 140 and 65 MB; a kill loses some seconds
BILL_KEY = ("site_id", "strategy", "month", "carrier")
PRICED_TOGETHER = 6_144  # sites; the rows of as many are read together
LEDGER_TOGETHER = {HOURLY: 768, MONTHLY: PRICED_TOGETHER}  # three row groups of an hourly ledger, half of a monthly one


def work_out_all(
    total: int,
    located: Callable[[int, int], pl.DataFrame],
    basis: Basis,
    scratch: outputs.Scratch,
    progress: Progress,
    batch_sites: int,
    cluster: str | None = None,
) -> None:
    """Work out the `total` sites of a portfolio, batch by batch, as far as the scratch folder lacks them.

    `located` gives the filled sites of a batch: from which one on, and how many. `cluster` is the address of a Dask
    scheduler whose workers take the batches.
    """
    count = -(-total // batch_sites)
    lacking = [number for number in range(count) if not scratch.has(number)]
    if len(lacking) < count:
        scratch.notes.append(
            f"continued an unfinished run, of which {count - len(lacking)} of {count} batches were there"
        )
    there = total - sum(min(batch_sites, total - number * batch_sites) for number in lacking)
    progress.count(total, "sites", before=there)

    def sites(number: int) -> pl.DataFrame:
        return located(number * batch_sites, batch_sites)

    def here(number: int) -> tuple[int, Batch]:
        return number, work_out(sites(number), basis, lambda done: progress.done(done, number))

    if cluster is not None:
        waiting = ((number, sites(number)) for number in lacking)
        batches = cluster_batches(cluster, waiting, partial(_handed_on, basis), work_out)
    else:
        batches = ahead(here, lacking)
    for number, batch in batches:
        scratch.keep(number, batch.tables)
        progress.done(batch.sites.height, number)
        progress.add(batch.timings, "of batches: ")


def _handed_on(basis: Basis) -> Basis:
    return basis


def price_all(
    earlier: outputs.RunFolder, ids: pl.Series, basis: Basis, scratch: outputs.Scratch, progress: Progress
) -> None:
    """Price a run anew, batch by batch, as far as the scratch folder lacks them. `ids`: all its sites, in order."""
    together = LEDGER_TOGETHER[basis.ledger_form]

    def priced(number: int) -> tuple[int, dict[str, pl.DataFrame]]:
        mine = ids.slice(number * PRICED_TOGETHER, PRICED_TOGETHER)
        sites, results = (earlier.between(name, mine).collect() for name in ("sites_used", "strategies"))
        alike, times = [], []
        for first in range(0, mine.len(), together):
            hours = earlier.between("ledger", mine.slice(first, together)).collect()
            alike.append(price.by_class(hours, basis.rates, sites))
            times += [price.peak_times(hours, sites)] if basis.ledger_form == HOURLY else []
        classes = pl.concat(alike, rechunk=True)
        laid = price.lay_out(classes, basis.rates, sites)
        months = price.months(laid)
        costs = price.years(months, price.strategies_of(classes), sites)
        results = in_money(results, costs, sites, basis.inputs, basis.settings)
        ranking = ranked(results, sites, basis.settings, basis.inputs, basis.rates)
        bills = bills_of(laid, months, basis.rates, sites, ranking, pl.concat(times) if times else None)
        if (
            not times and "bills.parquet" in earlier.resources
        ):  # a monthly ledger has no hours: as far as the run tells when they were
            before = earlier.between("bills", mine).filter(pl.col("carrier") == "electricity")
            when = before.select(*BILL_KEY, *price.WHEN).collect()
            bills = bills.drop(price.WHEN).join(when, on=BILL_KEY, how="left", maintain_order="left")
        tables = {"strategies": results, "bills": bills}
        return number, {name: outputs.conformed(table, name) for name, table in tables.items()} | {"ranking": ranking}

    progress.count(ids.len(), "sites")
    numbers = range(-(-ids.len() // PRICED_TOGETHER))
    for number, tables in ahead(priced, [number for number in numbers if not scratch.has(number)], alone=0):
        scratch.keep(number, tables)
        progress.done(min((number + 1) * PRICED_TOGETHER, ids.len()))


def require_distinct(earlier: outputs.RunFolder, basis: Basis, tariff_ids: pl.Series) -> None:
    """UsageError where the ledger of an earlier run cannot bill other tariffs, those of the `basis`, for its sites, whose
    `tariff_ids` are given: a monthly one that holds hours together which they bill apart, or one without peaks of fuel."""
    asking = basis.rates.lines.filter(pl.col("kind") == "fuel_demand")["tariff_id"].unique()
    has_fuel_peaks = any(name.endswith(price.FUEL_PEAK) for name in earlier.table("ledger").collect_schema())
    if not has_fuel_peaks and (demanding := sorted({*asking} & {*tariff_ids})):
        raise UsageError(
            f"{earlier.path} keeps no highest hours of fuel, which {', '.join(demanding)} charges; run the portfolio again "
            "with these tariffs"
        )
    if basis.ledger_form != MONTHLY:
        return
    has_days = any(name.endswith(price.BY_DAY) for name in earlier.table("ledger").collect_schema())
    if not has_days and (demanding := sorted({*basis.rates.by_day} & {*tariff_ids})):
        raise UsageError(
            f"{earlier.path} keeps its ledger by month, without the highest hours of days, which {', '.join(demanding)} charges; "
            "run the portfolio again with these tariffs"
        )
    kept = {name: earlier.input(name) for name in outputs.INPUT_NAMES}
    mixed = price.indistinct(rates_of(kept, basis.settings), basis.rates)
    if together := sorted({*mixed} & {*tariff_ids}):
        raise UsageError(
            f"{earlier.path} keeps its ledger by month and cannot tell apart the hours in the windows of "
            f"{', '.join(together)}; run the portfolio again with an hourly ledger, or keep to the windows it was run with"
        )


def whole_ranking(scratch: outputs.Scratch, sites: int) -> pl.DataFrame:
    """The ranking of all batches. ResultsError unless it holds every one of so many sites."""
    ranking = of_batches(scratch.table("ranking").collect())
    if ranking.height != sites:
        raise ResultsError("the ranking does not hold every site exactly once; this is a bug")
    return ranking
