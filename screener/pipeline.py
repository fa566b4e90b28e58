"""The whole job as a list of stages; stages exchange frames and know nothing of one another."""

import tempfile
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass, field
from pathlib import Path

import polars as pl

from screener import (
    climate,
    contracts,
    economics,
    engine,
    errors,
    filling,
    ledger,
    outputs,
    price,
    rank,
    sizing,
    tables,
)
from screener import explain as explaining
from screener.strategies import REFERENCE, REGISTRY
from screener.tables import Portfolio


@dataclass
class Watch:
    """Tells whoever waits what is going on, and how long each stage took."""

    tell: Callable[[str], None] = lambda _: None
    timings: dict[str, float] = field(default_factory=dict)
    _stage: str = ""
    _since: float = 0.0

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
    """The tables of a finished run that people look at first; all of them are in its folder."""

    portfolio: Portfolio
    ranking: pl.DataFrame
    totals: pl.DataFrame
    rejects: pl.DataFrame


def check(folder: Path) -> tuple[Portfolio, pl.DataFrame]:
    """Read a portfolio and find its places, nothing more: the portfolio and its sites as the engine would see them."""
    portfolio = tables.read_portfolio(folder)
    sites, nowhere = climate.locate(filling.fill(portfolio), folder)
    return portfolio.without(nowhere), sites


def run(folder: Path, out: Path, force: bool = False, strict: bool = False, watch: Watch | None = None) -> Run:
    """Rank the sites of a portfolio folder and write the run folder `out`.

    Sites with faults are left out and kept in the rejects, or with `strict` end the run. Raises the errors of
    `screener.errors`.
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
    sites = sites_used(sites, sized)
    tariffs = price.with_emission_factors(
        portfolio.tariffs,
        portfolio.settings.electricity_kg_co2_per_kwh,
        portfolio.settings.fuel_kg_co2_per_kwh,
    )
    out.parent.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(prefix=f".{out.name}-ledger-", dir=out.parent) as scratch:
        parts: list[Path] = []
        years: list[pl.DataFrame] = []
        costs: list[pl.DataFrame] = []
        for number, accounts in enumerate(engine.simulate(sized, hours)):
            done = min((number + 1) * engine.BATCH_SITES, sites.height)
            watch.stage(f"working out every hour of every strategy: {done:,} of {sites.height:,} sites")
            parts.append(Path(scratch, f"{number:06}.parquet"))
            accounts.ledger.write_parquet(parts[-1])
            years.append(accounts.years)
            costs.append(price.price(accounts.ledger, tariffs, sites))
        watch.stage("money and ranking")
        results = in_money(
            ledger.totals(pl.concat(years), tuple(REGISTRY), REFERENCE.name), pl.concat(costs), sites, portfolio
        )
        ranking = rank.ranking(results, sites, portfolio.settings.currency)
        check_results(ranking, results, sites)
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
        outputs.write_run(out, written, info, force, inputs=made_from(portfolio, hours))
    watch.stop()
    return Run(portfolio, ranking, rank.totals(ranking), portfolio.rejects)


def explain(folder: Path, site_id: str, strategy: str | None = None, at: str | None = None) -> explaining.Document:
    """The account of a site's year and of one hour, from a run folder. UsageError for what it does not have."""
    return explaining.explain(outputs.open_run(folder), site_id, strategy, at)


def made_from(portfolio: Portfolio, hours: pl.DataFrame) -> dict[str, pl.DataFrame]:
    """What a run folder keeps of its inputs, so that it can be priced and explained without the portfolio."""
    return {
        "tariffs": portfolio.tariffs,
        "tariff_periods": pl.DataFrame(schema=contracts.load("tariff_periods").polars_schema()),
        "strategies": portfolio.strategies,
        "equipment": portfolio.equipment,
        "weather": hours.filter(pl.col("weather_id").str.starts_with(climate.OWN_WEATHER)),
    }


def in_money(totals: pl.DataFrame, costs: pl.DataFrame, sites: pl.DataFrame, portfolio: Portfolio) -> pl.DataFrame:
    """The strategy results: energy, cost, investment and what changing to it would bring."""
    if not price.unbilled(totals, costs).is_empty():
        raise errors.ResultsError("the bills do not add up to the energy of the engine; this is a bug")
    priced = totals.join(costs, on=["site_id", "strategy"], how="left", maintain_order="left")
    invested = economics.investments(priced, sites, portfolio.strategies)
    return economics.economics(invested, portfolio.settings.discount_rate, portfolio.settings.study_years)


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
