"""The whole job as a list of stages; stages exchange frames and know nothing of one another."""

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import polars as pl

from screener import assumptions, climate, engine, errors, outputs, price, ranking, report, tables
from screener.engine import HOURLY, Basis, Progress
from screener.tables import Portfolio, Settings


@dataclass(frozen=True)
class Run:
    """The tables of a finished run that people look at first, and what they should know; all else is in its folder."""

    settings: Settings
    ranking: pl.DataFrame
    totals: pl.DataFrame
    rejects: pl.DataFrame
    notes: list[str]


def check(folder: Path) -> tuple[Portfolio, pl.DataFrame]:
    """Read a portfolio and find its places, nothing more: the portfolio and its sites as the engine would see them."""
    portfolio = tables.read_portfolio(folder)
    located, _ = climate.locate(portfolio.sites.select(climate.PLACE), folder)
    portfolio = tables.with_defaults(portfolio, _states(located))
    sites, nowhere = climate.locate(assumptions.fill(portfolio), folder)
    return portfolio.without(nowhere), assumptions.weigh(sites)


def _states(located: pl.DataFrame) -> pl.DataFrame:
    """site_id and the state of the weather station of located sites."""
    return (
        located.select("site_id", "station")
        .join(climate.stations().select("station", "state"), on="station", how="left", maintain_order="left")
        .drop("station")
    )


def run(
    folder: Path,
    out: Path,
    force: bool = False,
    strict: bool = False,
    progress: Progress | None = None,
    ledger_form: str = HOURLY,
    batch_sites: int | None = None,
    cluster: str | None = None,
) -> Run:
    """Rank the sites of a portfolio folder and write the run folder `out`.

    Sites with faults are left out and kept in the rejects, or with `strict` end the run. A ledger of the form `MONTHLY`
    keeps a month's hours together as far as the site's tariff bills them alike. `batch_sites` are worked out and put away
    together, beside `out`: a run that was killed continues with the batches it lacks. `cluster` is the address of a Dask
    scheduler whose workers take the batches. Raises the errors of `screener.errors`.
    """
    progress, batch_sites = progress or Progress(), batch_sites or engine.BATCH_SITES[ledger_form]
    outputs.check_free(out, force)
    progress.stage("reading tables and places")
    portfolio = tables.read_portfolio(folder)
    places, nowhere = climate.locate(portfolio.sites.select(climate.PLACE), folder)
    portfolio = tables.with_defaults(portfolio.without(nowhere), _states(places))
    unread = pl.concat([portfolio.faults, portfolio.blanked])
    if portfolio.sites.is_empty() or (strict and not unread.is_empty()):
        raise errors.ContractError(unread)
    progress.stage("weather files")
    weather = climate.hours_of_files(portfolio.sites, folder)
    basis = Basis(portfolio.settings, portfolio.inputs | {"weather": weather}, ledger_form)
    told_apart_by = {"settings": asdict(basis.settings), "ledger": ledger_form, "batch_sites": batch_sites}
    told_apart_by |= {"fingerprint": outputs.fingerprint(), "inputs": outputs.digests(portfolio.files)}

    def located(first: int, count: int) -> pl.DataFrame:
        return assumptions.weigh(climate.locate(assumptions.fill(portfolio.part(first, count)), folder)[0])

    with outputs.scratch(out, told_apart_by) as scratch:
        progress.stage("working out every hour of every strategy")
        engine.work_out_all(portfolio.sites.height, located, basis, scratch, progress, batch_sites, cluster)
        progress.stage("money and ranking")
        ranked = engine.whole_ranking(scratch, portfolio.sites.height)
        results: dict[str, outputs.Table] = {"rejects": portfolio.rejects}
        results |= {name: scratch.table(name) for name in ("strategies", "bills", "ledger", "sites_used")}
        progress.stage("report")
        date = outputs.today()
        page = report.page_of(results | {"ranking": ranked}, basis.inputs, asdict(basis.settings), date)
        page |= tables.left_out_sheets(portfolio.rejects, portfolio.raws)
        info = outputs.provenance(portfolio.files, asdict(basis.settings), progress.timings) | {"date": date}
        written = _write(out, results, ranked, info, basis, force, progress, page)
    notes = [*portfolio.notes, *_notes(portfolio.sites, basis), *scratch.notes]
    return Run(basis.settings, *written, portfolio.rejects, notes)


def reprice(folder: Path, tariffs: Path, out: Path, force: bool = False, progress: Progress | None = None) -> Run:
    """Rank the sites of an earlier run anew with other tariffs, from its ledger, and write the run folder `out`.

    `tariffs` is a folder with the tariff tables or a file with the tariffs alone. Sites, strategies and settings are
    those of the run in `folder`. The results are those of a whole run with these tariffs, to the last digit; the report
    is left to `write_report`, which takes longer than the rest. Raises ContractError for any fault of the tariffs,
    UsageError where the run's ledger cannot tell their windows apart.
    """
    progress = progress or Progress()
    outputs.check_free(out, force)
    progress.stage("opening the run, reading tariffs")
    earlier = outputs.open_run(folder)
    settings = Settings(**earlier.settings)
    sites = earlier.table("sites_used").select(tables.PRICED).collect()
    read = tables.read_tariffs(tariffs, settings.currency, {*sites["tariff_id"]})
    tables.require_fuel_prices(sites, read)
    kept = {name: earlier.input(name) for name in outputs.INPUT_NAMES}
    placeholders = kept["tariffs"].filter(
        tables.is_default(pl.col("tariff_id"))
    )  # of sites that have no tariff of their own
    own = placeholders.join(read.tariffs, on="tariff_id", how="anti")
    inputs = kept | read.tables | {"tariffs": pl.concat([read.tariffs, own])}
    basis = Basis(settings, inputs, earlier.info["ledger"])
    price.require_tariffs(basis.rates, sites)
    engine.require_distinct(earlier, basis, sites["tariff_id"])
    told_apart_by = {"run": dict(earlier.resources), "fingerprint": outputs.fingerprint()}
    with outputs.scratch(out, told_apart_by | {"inputs": outputs.digests(read.files)}) as scratch:
        progress.stage("money and ranking")
        engine.price_all(earlier, sites["site_id"], basis, scratch, progress)
        ranked = engine.whole_ranking(scratch, sites.height)
        results: dict[str, outputs.Table] = dict.fromkeys(("ledger", "sites_used", "rejects"), earlier)
        results |= {name: scratch.table(name) for name in ("strategies", "bills")}
        info = outputs.provenance(read.files, earlier.settings, progress.timings)
        info |= {"priced_from": {"run": folder.resolve().name, "info": earlier.info}}
        written = _write(out, results, ranked, info, basis, force, progress, outputs.left_out(earlier))
    notes = [*read.notes, *_notes(sites, basis), *scratch.notes]
    return Run(settings, *written, earlier.table("rejects").collect(), notes)


def _write(
    out: Path,
    results: Mapping[str, outputs.Table],
    ranked: pl.DataFrame,
    info: Mapping[str, Any],
    basis: Basis,
    force: bool,
    progress: Progress,
    files: Mapping[str, str] | None = None,
) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Write the folder of a run from its results and their ranking; returns the ranking and its totals."""
    progress.stage("writing")
    written = {**results, "ranking": ranked, "groups": ranking.groups(ranked)}
    outputs.write_run(out, written, {**info, "ledger": basis.ledger_form}, force, files, basis.inputs)
    outputs.forget(out / "odds")  # of the run that was there before
    progress.stop()
    return ranked, ranking.totals(ranked)


def _notes(sites: pl.DataFrame, basis: Basis) -> list[str]:
    return [*price.notes(sites, basis.rates), *engine.NO_CODE]
