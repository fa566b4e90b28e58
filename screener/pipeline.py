"""The whole job as a list of stages; stages exchange frames and know nothing of one another."""

import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any, Literal

import polars as pl

from screener import climate, economics, errors, ledger, outputs, price, report, tables, text
from screener import explain as explaining
from screener.assumptions import filling, weights
from screener.engine import prefetch
from screener.engine.cluster import batches as cluster_batches
from screener.engine.estimate import HOURLY, MONTHLY, Basis, Batch, in_money, ranked, rates_of, work
from screener.exact import significant
from screener.ranking import rank
from screener.report import what_if
from screener.strategies import REFERENCE, REGISTRY
from screener.tables import Portfolio, Settings

BATCH_SITES = {HOURLY: 1_500, MONTHLY: 6_000}  # ledgers of so many take 140 and 65 MB; a kill loses some seconds
PRICED_TOGETHER = 6_144  # sites; the rows of as many are read together
LEDGER_TOGETHER = {HOURLY: 768, MONTHLY: PRICED_TOGETHER}  # three row groups of an hourly ledger, half of a monthly one
PRICED = ("row", "site_id", "heating_source", "tariff_id", "annual_electricity_kwh")  # what tariffs are checked against
SAMPLED_ABOVE = 20_000  # sites; ranking them under ten other prices takes half a gigabyte
LONG_S = 2.0  # a stage that takes longer says how much longer
REPORT, WORKBOOK = "report.html", "ranking.xlsx"


@dataclass
class Watch:
    """Tells whoever waits what is going on, and how long each stage took."""

    tell: Callable[[str], None] = lambda _: None
    timings: dict[str, float] = field(default_factory=dict)
    _stage: str = ""
    _since: float = 0.0

    def count(self, done: int, total: int, what: str, before: int = 0) -> None:
        """How far the stage has come, and how long the rest will take when it has gone on for a while.

        `before` were done when the stage began.
        """
        spent = time.perf_counter() - self._since
        each = spent / (done - before) if done > before else 0.0
        left = f", {text.duration(each * (total - done))} left" if each and done < total and spent > LONG_S else ""
        self.tell(f"{self._stage}: {done:,} of {total:,} {what}{left}")

    def stage(self, name: str) -> None:
        """The stage that begins now."""
        self.stop()
        self._stage, self._since = name, time.perf_counter()
        self.tell(name)

    def spend(self, timings: Mapping[str, float]) -> None:
        """Add what the stages of a batch took, here or elsewhere."""
        for stage, seconds in timings.items():
            name = f"of batches: {stage}"
            self.timings[name] = self.timings.get(name, 0.0) + seconds

    def stop(self) -> None:
        """The last stage is over."""
        if self._stage:
            self.timings[self._stage] = time.perf_counter() - self._since
        self._stage = ""


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
    sites, nowhere = climate.locate(filling.fill(portfolio), folder)
    return portfolio.without(nowhere), weights.weigh(sites)


def run(
    folder: Path,
    out: Path,
    force: bool = False,
    strict: bool = False,
    watch: Watch | None = None,
    ledger_form: str = HOURLY,
    batch_sites: int | None = None,
    cluster: str | None = None,
) -> Run:
    """Rank the sites of a portfolio folder and write the run folder `out`.

    Sites with faults are left out and kept in the rejects, or with `strict` end the run. A ledger of the form `MONTHLY`
    keeps a month's hours together as far as the site's tariff bills them alike. `batch_sites` (BATCH_SITES) are worked
    out and put away together, beside `out`: a run that was killed continues with the batches it lacks. `cluster` is the
    address of a Dask scheduler whose workers take the batches. Raises the errors of `screener.errors`.
    """
    watch, batch_sites = watch or Watch(), batch_sites or BATCH_SITES[ledger_form]
    outputs.check_free(out, force)
    watch.stage("reading tables and places")
    portfolio = with_places(tables.read_portfolio(folder))
    if portfolio.sites.is_empty() or (strict and not portfolio.faults.is_empty()):
        raise errors.ContractError(portfolio.faults)
    watch.stage("weather files")
    basis = Basis(portfolio.settings, made_from(portfolio), ledger_form)
    told_apart_by = {"settings": asdict(basis.settings), "ledger": ledger_form, "batch_sites": batch_sites}
    told_apart_by |= {"program": outputs.program(), "inputs": outputs.digests(portfolio.files)}
    with outputs.scratch(out, told_apart_by) as scratch:
        watch.stage("working out every hour of every strategy")
        for batch in worked(portfolio, basis, scratch, watch, batch_sites, cluster):
            watch.spend(batch.timings)
        watch.stage("money and ranking")
        ranking = in_order_checked(scratch, portfolio.sites.height)
        watch.stage("report")
        results, sites = scratch.table("strategies"), scratch.table("sites_used")
        found = findings(ranking, results, sites, portfolio.rejects, portfolio.strategies, asdict(portfolio.settings))
        files = {REPORT: report.portfolio_page(found)}
        watch.stage("writing")
        written: dict[str, outputs.Table] = {
            "ranking": ranking,
            "strategies": results,
            "ledger": scratch.table("ledger"),
            "groups": rank.groups(ranking),
            "sites_used": sites,
            "rejects": portfolio.rejects,
        }
        info = outputs.provenance(portfolio.files, asdict(portfolio.settings), watch.timings)
        outputs.write_run(out, written, info | {"ledger": ledger_form}, force, files, basis.inputs)
    watch.stop()
    notes = portfolio.notes + block_notes(portfolio.sites, basis.rates) + scratch.notes
    return Run(portfolio.settings, ranking, rank.totals(ranking), portfolio.rejects, notes)


def with_places(portfolio: Portfolio) -> Portfolio:
    """The portfolio less the sites for which no weather was found."""
    _, nowhere = climate.locate(portfolio.sites.select(climate.PLACE), portfolio.folder)
    return portfolio.without(nowhere)


def worked(
    portfolio: Portfolio,
    basis: Basis,
    scratch: outputs.Scratch,
    watch: Watch,
    batch_sites: int,
    cluster: str | None,
) -> Iterator[Batch]:
    """Work out the batches of a portfolio that the scratch folder lacks and put each there."""
    total = portfolio.sites.height
    count = -(-total // batch_sites)
    lacking = [number for number in range(count) if not scratch.has(number)]
    if len(lacking) < count:
        scratch.notes.append(
            f"continued an unfinished run, of which {count - len(lacking)} of {count} batches were there"
        )
    before = total - sum(min(batch_sites, total - number * batch_sites) for number in lacking)
    progress = prefetch.Progress(lambda sites: watch.count(before + sites, total, "sites", before))

    def located(number: int) -> pl.DataFrame:
        part = portfolio.part(number * batch_sites, batch_sites)
        return weights.weigh(climate.locate(filling.fill(part), portfolio.folder)[0])

    def worked_here(number: int) -> tuple[int, Batch]:
        return number, work(located(number), basis, progress.of(number))

    if cluster is not None:
        batches = cluster_batches(cluster, ((number, located(number)) for number in lacking), basis)
    else:
        batches = prefetch.in_order(worked_here, lacking)
    for number, batch in batches:
        scratch.keep(number, batch.tables)
        progress.of(number)(batch.sites.height)
        yield batch


def reprice(folder: Path, tariffs: Path, out: Path, force: bool = False, watch: Watch | None = None) -> Run:
    """Rank the sites of an earlier run anew with other tariffs, from its ledger, and write the run folder `out`.

    `tariffs` is a folder with the tariff tables or a file with the tariffs alone. Sites, strategies and settings are
    those of the run in `folder`. The results are those of a whole run with these tariffs, to the last digit; the report
    is left to `write_report`, which takes longer than the rest. Raises ContractError for any fault of the tariffs,
    UsageError where the run's ledger cannot tell their windows apart.
    """
    watch = watch or Watch()
    outputs.check_free(out, force)
    watch.stage("opening the run, reading tariffs")
    earlier = outputs.open_run(folder)
    settings = Settings(**earlier.settings)
    read = tables.read_tariffs(tariffs, settings.currency)
    sites = earlier.table("sites_used").select(PRICED).collect()
    unpriced = tables.fuel_faults(sites, read.tariffs, read.periods)
    if not unpriced.is_empty():
        raise errors.ContractError(unpriced)
    kept = {name: earlier.input(name) for name in outputs.INPUT_NAMES}
    inputs = kept | {"tariffs": read.tariffs, "tariff_periods": read.periods, "tariff_tiers": read.tiers}
    basis = Basis(settings, inputs, earlier.info["ledger"])
    price.require_tariffs(basis.rates, sites)
    if basis.ledger_form == MONTHLY:
        mixed = price.indistinct(rates_of(kept, settings), basis.rates)
        require_distinct(sorted({*mixed} & {*sites["tariff_id"]}), folder)
    told_apart_by = {
        "run": dict(earlier.resources),
        "inputs": outputs.digests(read.files),
        "program": outputs.program(),
    }
    with outputs.scratch(out, told_apart_by) as scratch:
        watch.stage("money and ranking")
        for number, batch in priced(earlier, sites["site_id"], basis, scratch, watch):
            scratch.keep(number, batch)
        ranking = in_order_checked(scratch, sites.height)
        watch.stage("writing")
        written: dict[str, outputs.Table] = {
            "ranking": ranking,
            "strategies": scratch.table("strategies"),
            "ledger": earlier,
            "groups": rank.groups(ranking),
            "sites_used": earlier,
            "rejects": earlier,
        }
        info = outputs.provenance(read.files, earlier.settings, watch.timings)
        info |= {"ledger": earlier.info["ledger"], "priced_from": {"run": folder.resolve().name, "info": earlier.info}}
        outputs.write_run(out, written, info, force, inputs=inputs)
    watch.stop()
    notes = [*read.notes, *block_notes(sites, basis.rates), *scratch.notes]
    return Run(settings, ranking, rank.totals(ranking), earlier.table("rejects").collect(), notes)


def in_order_checked(scratch: outputs.Scratch, sites: int) -> pl.DataFrame:
    """The ranking of all batches. ResultsError unless it holds every one of so many sites."""
    ranking = rank.in_order(scratch.table("ranking").collect())
    if ranking.height != sites:
        raise errors.ResultsError("the ranking does not hold every site exactly once; this is a bug")
    return ranking


def priced(
    earlier: outputs.RunFolder, ids: pl.Series, basis: Basis, scratch: outputs.Scratch, watch: Watch
) -> Iterator[tuple[int, dict[str, pl.DataFrame]]]:
    """Price the batches of a run that the scratch folder lacks: of each its number, its results and its ranking.

    `ids`: all sites of the run, in order.
    """
    at_once = LEDGER_TOGETHER[basis.ledger_form]

    def of_batch(number: int) -> tuple[int, dict[str, pl.DataFrame]]:
        mine = ids.slice(number * PRICED_TOGETHER, PRICED_TOGETHER)
        sites, results = (earlier.between(name, mine).collect() for name in ("sites_used", "strategies"))
        alike = []
        for first in range(0, mine.len(), at_once):
            hours = earlier.between("ledger", mine.slice(first, at_once)).collect()
            alike.append(price.by_class(hours, basis.rates, sites))
        costs = price.price(pl.concat(alike, rechunk=True), basis.rates, sites)
        results = in_money(results, costs, sites, basis.inputs, basis.settings)
        ranking = ranked(results, sites, basis.settings)
        return number, {"strategies": outputs.conformed(results, "strategies"), "ranking": ranking}

    numbers = range(-(-ids.len() // PRICED_TOGETHER))
    for number, batch in prefetch.in_order(of_batch, [n for n in numbers if not scratch.has(n)], alone=0):
        watch.count(min((number + 1) * PRICED_TOGETHER, ids.len()), ids.len(), "sites")
        yield number, batch


def require_distinct(mixed: list[str], folder: Path) -> None:
    """UsageError where a monthly ledger holds hours together that tariffs, the `mixed`, bill apart."""
    if mixed:
        raise errors.UsageError(
            f"{folder} keeps its ledger by month and cannot tell apart the hours in the windows of {', '.join(mixed)}; "
            "run the portfolio again with an hourly ledger, or keep to the windows it was run with"
        )


def explain(folder: Path, site_id: str, strategy: str | None = None, at: str | None = None) -> explaining.Document:
    """The account of a site's year and of one hour, from a run folder. UsageError for what it does not have."""
    return explaining.explain(outputs.open_run(folder), site_id, strategy, at)


def made_from(portfolio: Portfolio) -> dict[str, pl.DataFrame]:
    """What a run folder keeps of its inputs, so that it can be priced and explained without the portfolio."""
    with_files = portfolio.sites.filter(pl.col("weather_file").is_not_null())
    ids, _ = climate.locate(with_files.select(climate.PLACE), portfolio.folder)
    return {
        "tariffs": portfolio.tariffs,
        "tariff_periods": portfolio.tariff_periods,
        "tariff_tiers": portfolio.tariff_tiers,
        "strategies": portfolio.strategies,
        "equipment": portfolio.equipment,
        "weather": climate.own_hours(ids["weather_id"], portfolio.folder),
    }


def write_report(folder: Path, out: Path | None = None, workbook: bool = False, pictures: bool = False) -> list[Path]:
    """Write the report of a run once more, into its folder or into `out`; returns the files written.

    `workbook` adds ranking.xlsx, `pictures` every chart of the report as an SVG file. UsageError for what is no run.
    """
    run = outputs.open_run(folder)
    found = findings(
        run.table("ranking").collect(),
        run.table("strategies"),
        run.table("sites_used"),
        run.table("rejects").collect(),
        run.input("strategies"),
        run.settings,
    )
    files: dict[str, str | bytes] = {REPORT: report.portfolio_page(found)}
    if workbook:
        files[WORKBOOK] = report.workbook(found)
    if pictures:
        files |= {f"{name}.svg": chart.alone for name, chart in report.portfolio_charts(found).items()}
    return outputs.add_files(folder if out is None else out, files)


def write_site_report(folder: Path, site_id: str, out: Path | None = None, pictures: bool = False) -> list[Path]:
    """Write the page of one site, into the run's folder or into `out`; returns the files written.

    UsageError for what is no run, or a site that the run does not have.
    """
    run = outputs.open_run(folder)
    found = site_findings(run, site_id)
    files: dict[str, str | bytes] = {f"{report.file_name(site_id)}.html": report.site_page(found)}
    if pictures:
        charts = report.site_charts(found)
        files |= {f"{report.file_name(site_id)}-{name}.svg": chart.alone for name, chart in charts.items()}
    return outputs.add_files(folder if out is None else out, files)


def site_findings(run: outputs.RunFolder, site_id: str) -> report.SiteFindings:
    """What the page of a site tells: its rows of the run's tables, and its hours worked again as `explain` has them."""
    used = explaining.site(run, site_id)
    mine = pl.col("site_id") == site_id
    ranked, results = (run.table(name).filter(mine).collect() for name in ("ranking", "strategies"))
    can = results.filter(pl.col("unavailable").is_null())["strategy"].to_list()
    called: dict[str, str] = {}
    roles = {"today": ranked["current_strategy"].item(), "best": ranked["best_strategy"].item()}
    for role, strategy in (roles | {"temperature only": REFERENCE.name}).items():
        if strategy in can and strategy not in called.values():
            called[role] = strategy
    year = explaining.year(run, site_id, list(called.values()))
    shown = [called[role] for role in roles if role in called] or [REFERENCE.name]
    return report.SiteFindings(
        settings=run.settings,
        ranked=ranked.row(0, named=True),
        used=used.row(0, named=True),
        results=results.with_columns(holds=rank.holds_as_well(results)),
        hours={strategy: explaining.explain(run, site_id, strategy, year.at)["hour"] for strategy in shown},
        outdoor=year.outdoor,
        months=year.months,
        held=year.held,
        called=called,
        peaks=ledger.peaks(run.table("ledger").filter(mine), shown),
        space=report.Space(year.pressure_pa, used["cooling_setpoint_c"].item(), year.limit_humidity_ratio),
        limit_dew_point_c=year.limit_dew_point_c,
        summaries=summaries(),
        placeholders=placeholders(run.input("strategies")),
    )


def findings(
    ranking: pl.DataFrame,
    results: pl.LazyFrame,
    sites: pl.LazyFrame,
    rejects: pl.DataFrame,
    prices: pl.DataFrame,
    settings: Mapping[str, Any],
) -> report.Findings:
    """What the report of a run tells, from its tables, unrounded or as they were written: the same to the last figure.

    Of a run of more than `SAMPLED_ABOVE` sites, everything beyond the ranking is told from a sample: the sites evenly
    spread over the ranking.
    """
    ranking = significant(ranking.sort("rank"))
    engine: Literal["streaming", "in-memory"] = "in-memory"
    if ranking.height > SAMPLED_ABOVE:
        engine = "streaming"  # the sample is all that ever is in memory
        sample = ranking.gather_every(-(-ranking.height // SAMPLED_ABOVE)).lazy().select("site_id")
        results, sites = (frame.join(sample, on="site_id", how="semi") for frame in (results, sites))
    kept = significant(results.collect(engine=engine).sort("site_id", "strategy"))
    used = significant(sites.collect(engine=engine).sort("site_id"))
    return report.Findings(
        settings=settings,
        ranking=ranking,
        results=kept,
        sites=used,
        groups=significant(rank.groups(ranking)),
        rejects=rejects,
        totals=rank.totals(ranking).row(0, named=True),
        shortlist=rank.shortlist(kept, ranking),
        what_if=what_if.what_if(kept, economics.terms(settings)),
        summaries=summaries(),
        placeholders=placeholders(prices),
    )


def summaries() -> dict[str, str]:
    """Every strategy in a line, in the order of the registry."""
    return {name: strategy.summary for name, strategy in REGISTRY.items()}


def placeholders(prices: pl.DataFrame) -> list[str]:
    """Strategies whose investment is a shipped placeholder, in the order of the registry."""
    shipped = set(tables.placeholders(prices))
    return [name for name in REGISTRY if name in shipped]


def block_notes(sites: pl.DataFrame, rates: price.Rates) -> list[str]:
    """A remark on sites whose place in the blocks of their tariff is a guess."""
    count = sites.filter(
        pl.col("tariff_id").is_in(rates.blocks["tariff_id"].implode()) & pl.col("annual_electricity_kwh").is_null()
    ).height
    whose = "1 site has a tariff in tiers" if count == 1 else f"{count:,} sites have a tariff in tiers"
    return [f"{whose} and no annual_electricity_kwh: there the tiers count the air system alone"] if count else []
