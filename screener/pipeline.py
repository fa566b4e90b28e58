"""The whole job as a list of stages; stages exchange frames and know nothing of one another."""

import tempfile
import time
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any

import polars as pl

from screener import (
    climate,
    economics,
    engine,
    errors,
    exact,
    filling,
    ledger,
    outputs,
    price,
    rank,
    reasonable,
    report,
    sizing,
    tables,
    text,
    what_if,
    worth,
)
from screener import explain as explaining
from screener.exact import significant
from screener.strategies import REFERENCE, REGISTRY
from screener.tables import Portfolio, Settings

HOURLY, MONTHLY = "hourly", "monthly"  # forms of the ledger

LONG_S = 2.0  # a stage that takes longer says how much longer
REPORT, WORKBOOK = "report.html", "ranking.xlsx"


@dataclass
class Watch:
    """Tells whoever waits what is going on, and how long each stage took."""

    tell: Callable[[str], None] = lambda _: None
    timings: dict[str, float] = field(default_factory=dict)
    _stage: str = ""
    _since: float = 0.0

    def count(self, done: int, total: int, what: str) -> None:
        """How far the stage has come, and how long the rest will take when it has gone on for a while."""
        spent = time.perf_counter() - self._since
        left = f", {text.duration(spent / done * (total - done))} left" if done < total and spent > LONG_S else ""
        self.tell(f"{self._stage}: {done:,} of {total:,} {what}{left}")

    def stage(self, name: str) -> None:
        """The stage that begins now."""
        self.stop()
        self._stage, self._since = name, time.perf_counter()
        self.tell(name)

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
    return portfolio.without(nowhere), worth.weigh(sites)


def run(
    folder: Path,
    out: Path,
    force: bool = False,
    strict: bool = False,
    watch: Watch | None = None,
    ledger_form: str = HOURLY,
) -> Run:
    """Rank the sites of a portfolio folder and write the run folder `out`.

    Sites with faults are left out and kept in the rejects, or with `strict` end the run. A ledger of the form `MONTHLY`
    keeps a month's hours together as far as the site's tariff bills them alike. Raises the errors of `screener.errors`.
    """
    watch = watch or Watch()
    outputs.check_free(out, force)
    watch.stage("reading tables and places")
    portfolio, sites = check(folder)
    if sites.is_empty() or (strict and not portfolio.faults.is_empty()):
        raise errors.ContractError(portfolio.faults)
    watch.stage("weather")
    places = sites["weather_id"].unique().sort().to_list()
    hours = climate.hours(places, folder)
    watch.stage("sizing")
    sites = sites.sort("site_id")
    sized = engine.size(sites, climate.design_conditions(places, hours), portfolio.equipment)
    sites = as_written(sites_used(sites, sized))
    inputs = made_from(portfolio, hours)
    rates = rates_of(inputs, portfolio.settings)
    out.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(prefix=f".{out.name}-ledger-", dir=out.parent) as scratch:
        parts: list[Path] = []
        years: list[pl.DataFrame] = []
        costs: list[pl.DataFrame] = []
        watch.stage("working out every hour of every strategy")
        for number, accounts in enumerate(engine.simulate(sized, hours)):
            kept = price.by_class(accounts.ledger, rates, sites) if ledger_form == MONTHLY else accounts.ledger
            parts.append(Path(scratch, f"{number:06}.parquet"))
            kept.write_parquet(parts[-1])
            years.append(accounts.years)
            costs.append(price.price(kept, rates, sites))
            watch.count(min((number + 1) * engine.BATCH_SITES, sites.height), sites.height, "sites")
        watch.stage("money and ranking")
        totals = as_written(ledger.totals(pl.concat(years), tuple(REGISTRY), REFERENCE.name))
        results = in_money(totals, pl.concat(costs), sites, inputs, portfolio.settings)
        unlikely = reasonable.by_site(reasonable.of_inputs(sites), reasonable.of_results(sites, results))
        sites = sites.join(unlikely, on="site_id", how="left", maintain_order="left")
        ranking = ranked(results, sites, portfolio.settings)
        watch.stage("report")
        found = findings(ranking, results, sites, portfolio.rejects, portfolio.strategies, asdict(portfolio.settings))
        watch.stage("writing")
        written: dict[str, outputs.Table] = {
            "ranking": ranking,
            "strategies": results,
            "ledger": parts,
            "groups": rank.groups(ranking),
            "sites_used": sites,
            "rejects": portfolio.rejects,
        }
        info = outputs.provenance(portfolio.files, asdict(portfolio.settings), watch.timings)
        files = {REPORT: report.portfolio_page(found)}
        outputs.write_run(out, written, info | {"ledger": ledger_form}, force, files, inputs)
    watch.stop()
    notes = portfolio.notes + block_notes(sites, rates)
    return Run(portfolio.settings, ranking, rank.totals(ranking), portfolio.rejects, notes)


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
    sites = earlier.table("sites_used").collect()
    unpriced = tables.fuel_faults(sites, read.tariffs, read.periods)
    if not unpriced.is_empty():
        raise errors.ContractError(unpriced)
    kept = {name: earlier.input(name) for name in outputs.INPUT_NAMES}
    inputs = kept | {"tariffs": read.tariffs, "tariff_periods": read.periods, "tariff_tiers": read.tiers}
    rates = rates_of(inputs, settings)
    if earlier.info["ledger"] == MONTHLY:
        mixed = price.indistinct(rates_of(kept, settings), rates)
        require_distinct(sorted({*mixed} & {*sites["tariff_id"]}), folder)
    watch.stage("money and ranking")
    costs = price.price(earlier.table("ledger"), rates, sites)
    results = in_money(earlier.table("strategies").collect(), costs, sites, inputs, settings)
    ranking = ranked(results, sites, settings)
    watch.stage("writing")
    written: dict[str, outputs.Table] = {
        "ranking": ranking,
        "strategies": results,
        "ledger": earlier,
        "groups": rank.groups(ranking),
        "sites_used": earlier,
        "rejects": earlier,
    }
    info = outputs.provenance(read.files, earlier.settings, watch.timings)
    info |= {"ledger": earlier.info["ledger"], "priced_from": {"run": folder.resolve().name, "info": earlier.info}}
    outputs.write_run(out, written, info, force, inputs=inputs)
    watch.stop()
    notes = [*read.notes, *block_notes(sites, rates)]
    return Run(settings, ranking, rank.totals(ranking), earlier.table("rejects").collect(), notes)


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


def made_from(portfolio: Portfolio, hours: pl.DataFrame) -> dict[str, pl.DataFrame]:
    """What a run folder keeps of its inputs, so that it can be priced and explained without the portfolio."""
    return {
        "tariffs": portfolio.tariffs,
        "tariff_periods": portfolio.tariff_periods,
        "tariff_tiers": portfolio.tariff_tiers,
        "strategies": portfolio.strategies,
        "equipment": portfolio.equipment,
        "weather": hours.filter(pl.col("weather_id").str.starts_with(climate.OWN_WEATHER)),
    }


def write_report(folder: Path, out: Path | None = None, workbook: bool = False, pictures: bool = False) -> list[Path]:
    """Write the report of a run once more, into its folder or into `out`; returns the files written.

    `workbook` adds ranking.xlsx, `pictures` every chart of the report as an SVG file. UsageError for what is no run.
    """
    run = outputs.open_run(folder)
    found = findings(
        run.table("ranking").collect(),
        run.table("strategies").collect(),
        run.table("sites_used").collect(),
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
    results: pl.DataFrame,
    sites: pl.DataFrame,
    rejects: pl.DataFrame,
    prices: pl.DataFrame,
    settings: Mapping[str, Any],
) -> report.Findings:
    """What the report of a run tells, from its tables in memory or as they were written: the same to the last figure."""
    ranking, results = significant(ranking.sort("rank")), significant(results.sort("site_id", "strategy"))
    sites = significant(sites.sort("site_id"))
    return report.Findings(
        settings=settings,
        ranking=ranking,
        results=results,
        sites=sites,
        groups=significant(rank.groups(ranking)),
        rejects=rejects,
        totals=rank.totals(ranking).row(0, named=True),
        shortlist=rank.shortlist(results, ranking),
        what_if=what_if.what_if(results, sites, economics.terms(settings), settings["currency"]),
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


def rates_of(inputs: Mapping[str, pl.DataFrame], settings: Settings) -> price.Rates:
    """The tariffs laid out by time, with the emission factors of the portfolio where they have none."""
    tariffs, periods, tiers = (inputs[name] for name in tables.TARIFF_TABLES)
    factors = (settings.electricity_kg_co2_per_kwh, settings.fuel_kg_co2_per_kwh)
    return price.rates(tariffs, periods, tiers, *factors)


def as_written(frame: pl.DataFrame) -> pl.DataFrame:
    """The figures as the run folder will hold them: money starts from these, so that pricing the folder gives the same."""
    return exact.significant(frame.cast({pl.Float32: pl.Float64}))


def in_money(
    totals: pl.DataFrame,
    costs: pl.DataFrame,
    sites: pl.DataFrame,
    inputs: Mapping[str, pl.DataFrame],
    settings: Settings,
) -> pl.DataFrame:
    """The strategy results: energy, cost, investment and what changing to it would bring.

    `totals` may be the results of an earlier run: their money is replaced.
    """
    if not price.unbilled(totals, costs).is_empty():
        raise errors.ResultsError("the bills do not add up to the energy of the engine; this is a bug")
    own = totals.drop(set(costs.columns) - {"site_id", "strategy"}, strict=False)
    costs = costs.drop(price.BILLED)
    priced = own.join(costs, on=["site_id", "strategy"], how="left", maintain_order="left")
    invested = economics.investments(priced, sites, inputs["strategies"], inputs["equipment"])
    return economics.economics(invested, economics.terms(asdict(settings)))


def ranked(results: pl.DataFrame, sites: pl.DataFrame, settings: Settings) -> pl.DataFrame:
    """The ranking of the sites, once it and the results have passed their checks."""
    ranking = rank.ranking(results, sites, settings.currency)
    check_results(ranking, results, sites)
    return ranking


def block_notes(sites: pl.DataFrame, rates: price.Rates) -> list[str]:
    """A remark on sites whose place in the blocks of their tariff is a guess."""
    count = sites.filter(
        pl.col("tariff_id").is_in(rates.blocks["tariff_id"].implode()) & pl.col("annual_electricity_kwh").is_null()
    ).height
    whose = "1 site has a tariff in tiers" if count == 1 else f"{count:,} sites have a tariff in tiers"
    return [f"{whose} and no annual_electricity_kwh: there the tiers count the air system alone"] if count else []


def sites_used(sites: pl.DataFrame, sized: pl.DataFrame) -> pl.DataFrame:
    """The filled sites with the cooling capacity that was sized where none was given."""
    given = pl.col("cooling_capacity_kw_origin")
    sizes = sized.select("site_id", cooling_capacity_kw="cooling_capacity_kw")
    used = sites.drop("cooling_capacity_kw").join(sizes, on="site_id", maintain_order="left")
    return used.with_columns(cooling_capacity_kw_origin=given.fill_null(sizing.ORIGIN)).select(sites.columns)


def check_results(ranking: pl.DataFrame, results: pl.DataFrame, sites: pl.DataFrame) -> None:
    """ResultsError unless every site is ranked once and no figure is missing or not a number."""
    if sorted(ranking["site_id"]) != sorted(sites["site_id"]):
        raise errors.ResultsError("the ranking does not hold every site exactly once; this is a bug")
    figures = ("electricity_kwh", "fuel_kwh", "water_removed_kg", "peak_kw", "dew_point_p95_c")
    wrong = results.filter(
        pl.col("unavailable").is_null() & ~pl.all_horizontal(pl.col(figures).is_finite().fill_null(False))
    )
    if not wrong.is_empty():
        first = wrong.select("site_id", "strategy").row(0)
        raise errors.ResultsError(
            f"{wrong.height} results are not numbers, the first for site {first[0]} with {first[1]}: "
            "look for extreme figures in its row; if there are none, this is a bug"
        )
