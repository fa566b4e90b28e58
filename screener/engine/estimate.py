"""A batch of filled sites in, their strategy results out: the one way from sites to results, here or on another machine.

`estimate` is the public function, Arrow in and Arrow out; it can be pickled and mapped over batches by any engine that
ships Python functions. `work_out` is the same with all the tables a run folder keeps of the batch. Nothing in a batch depends
on the sites of another; what does (the rank among all) is left to `pipeline`.
"""

from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

import polars as pl

from screener import climate, contracts, economics, errors, exact, ledger, outputs, price, sizing, tables
from screener.assumptions import plausible
from screener.contracts.origins import ASSUMED_TODAY, is_given
from screener.engine import weather_cache, year
from screener.engine.progress import Progress
from screener.ranking import holding, rank, reconciling
from screener.strategies import REFERENCE, REGISTRY
from screener.tables import Settings, profiles, shipped, spreads

if TYPE_CHECKING:
    import pyarrow as pa

BY_COUNT = (
    "charges on single days of the week are apportioned by the count of days, demand is that of all days of the kind"
)
BY_DAY = "its demand by the day is charged by means of each hour of the day, within some 3 %"
ASSUMED_BILL = "blocks of its tariff begin at an assumed bill, that of a typical building of the type"
TWIN = "\uffff"  # ends an id that comes right after its own
HOURLY, MONTHLY = "hourly", "monthly"  # forms of the ledger
SIZED = {
    "cooling_capacity_kw": pl.lit(sizing.ORIGIN),
    "cooling_units": sizing.UNITS_ORIGIN,
}  # what is sized where it is blank


@dataclass(frozen=True)
class Basis:
    """What sites are estimated with besides their own rows. Can be pickled; small but for weather files of the user's own.

    `inputs` are checked tables by the names of `outputs.INPUT_NAMES`; weather holds the hours of `climate.own_hours`.
    A ledger of the form `MONTHLY` keeps a month's hours together as far as the site's tariff bills them alike. Without
    tariffs there is energy and no money.
    """

    settings: Settings = field(default_factory=Settings)
    inputs: Mapping[str, pl.DataFrame] = field(default_factory=lambda: shipped_inputs())
    ledger_form: str = HOURLY

    @cached_property
    def rates(self) -> price.Rates:
        """The tariffs laid out by time."""
        return rates_of(self.inputs, self.settings)

    @property
    def has_tariffs(self) -> bool:
        """Whether there is a price of anything."""
        return not self.inputs["tariffs"].is_empty()


@dataclass(frozen=True)
class Batch:
    """What is known of the sites of a batch: the tables of a run folder, as far as they do not depend on other sites.

    `ranking` ranks the batch alone. `timings` are in seconds by stage.
    """

    sites: pl.DataFrame
    results: pl.DataFrame
    ranking: pl.DataFrame
    ledger: pl.DataFrame
    bills: pl.DataFrame
    timings: dict[str, float]

    @property
    def tables(self) -> dict[str, pl.DataFrame]:
        """By the names of the run folder and in its form, but for the ranking, which is not one yet."""
        return {
            "strategies": outputs.conformed(self.results, "strategies"),
            "sites_used": outputs.conformed(self.sites, "sites_used"),
            "ranking": self.ranking,
            "ledger": self.ledger,
            "bills": outputs.conformed(self.bills, "bills"),
        }


def estimate(sites: "pa.Table", basis: Basis | None = None) -> "pa.Table":
    """The strategy results of filled sites: a row per site and strategy, columns of the strategy_results contract.

    `sites` has the columns of `sites_used.parquet` in a run folder: those of the sites contract with every blank that the
    engine needs filled, the figures of the building type, and the place (`weather_id`, `station_name` ...). A cooling
    capacity that was sized is sized again. `basis` holds what the sites refer to; without one the shipped strategies
    stand in and money is null. To map it, bind the basis: `functools.partial(estimate, basis=of_run(folder))`.

    Order and number of the sites change no result. UsageError for a column that is not there, or a weather file without
    hours in the basis; ContractError for a tariff that is not in it.
    """
    frame = pl.DataFrame(pl.from_arrow(sites))
    if frame.is_empty():
        return pl.DataFrame(schema=contracts.load("strategy_results").polars_schema()).to_arrow()
    try:
        given = [
            pl.when((pl.col(f"{name}_origin") != origin).fill_null(True)).then(name).alias(name)
            for name, origin in SIZED.items()
        ]
        results = work_out(frame.with_columns(given).sort("site_id"), basis or Basis()).results
    except (pl.exceptions.ColumnNotFoundError, errors.UnknownNameError) as error:
        missing = error.name if isinstance(error, errors.UnknownNameError) else str(error).partition(";")[0]
        if isinstance(error, errors.UnknownNameError) and missing in frame.columns:
            raise
        raise errors.UsageError(
            f"the sites lack a column ({missing}); give all of those in sites_used.parquet of a run"
        ) from None
    return contracts.conform(exact.significant(results), "strategy_results").to_arrow()


def of_run(run: outputs.RunFolder) -> Basis:
    """The basis of an earlier run, for more sites like its own."""
    inputs = {name: run.input(name) for name in outputs.INPUT_NAMES}
    return Basis(Settings(**run.settings), inputs, run.info["ledger"])


def work_out(sites: pl.DataFrame, basis: Basis, done: Callable[[int], None] = lambda _: None) -> Batch:
    """Work out everything about filled sites, sorted by site_id; `done` is told how many there are so far.

    ResultsError where the results fail their checks.
    """
    if sites.height == 1:
        return _alone(sites, basis, done)
    parts = Progress()
    year.prepare(sites.height)
    with parts.of("weather"):
        places = sites["weather_id"].unique().sort().to_list()
        years_of = weather_cache.years(places, basis.inputs["weather"], basis.settings.dates)
    with parts.of("sizing"):
        conditions = climate.design_conditions(places, basis.inputs["weather"])
        sized = year.size(
            sites, conditions, basis.inputs["equipment"], basis.inputs["profiles"], basis.inputs["offers"]
        )
        used = as_written(sites_used(sites, sized))
    rates, courses = basis.rates, profiles.by_hour(basis.inputs["profiles"])
    hourly: list[pl.DataFrame] = []
    alike: list[pl.DataFrame] = []
    years: list[pl.DataFrame] = []
    times: list[pl.DataFrame] = []
    for accounts in parts.each(
        "hours", year.simulate(sized, years_of, fuel_peaks=basis.has_tariffs and rates.asks_fuel_peaks)
    ):
        if basis.ledger_form == HOURLY:
            hourly.append(ledger.beside(accounts.ledger, used, courses))
        with parts.of("pricing"):
            part = hourly[-1] if hourly else ledger.beside(accounts.ledger, used, courses)
            alike.append(price.by_class(part, rates, used) if basis.has_tariffs else part.clear())
            times.append(price.peak_times(part, used))
        years.append(accounts.years)
        done(sum(each.height for each in years))
    with parts.of("pricing"):
        monthly = pl.concat(alike, rechunk=True)
        laid = price.lay_out(monthly, rates, used) if basis.has_tariffs else None
        months = None if laid is None else price.months(laid)
        costs = _unknown_costs(used) if months is None else price.years(months, [*REGISTRY], used)
    with parts.of("money"):
        totals = ledger.totals(pl.concat(years, rechunk=True), tuple(REGISTRY), REFERENCE.name)
        results = in_money(as_written(totals), costs, used, basis.inputs, basis.settings)
    with parts.of("ranking"):
        notes = (plausible.of_inputs(used), plausible.of_ratings(used), plausible.of_results(used, results))
        unlikely = plausible.by_site(*notes)
        used = used.drop("figures_note", strict=False).join(unlikely, on="site_id", how="left", maintain_order="left")
        ranking = ranked(results, used, basis.settings, basis.inputs, rates if basis.has_tariffs else None)
    with parts.of("pricing"):
        bills = pl.DataFrame(schema=contracts.load("bills").polars_schema())
        if laid is not None and months is not None:
            bills = bills_of(laid, months, rates, used, ranking, pl.concat(times))
    return Batch(used, results, ranking, pl.concat(hourly) if hourly else monthly, bills, parts.timings)


def _alone(sites: pl.DataFrame, basis: Basis, done: Callable[[int], None]) -> Batch:
    """A single site, worked out beside a twin: a column of one row is divided by as a number is, by way of its inverse,
    which may differ in the last bit from a division row by row."""
    twin = sites.with_columns(pl.col("site_id") + TWIN)
    batch = work_out(pl.concat([sites, twin]), basis)
    done(1)
    frames = {name: getattr(batch, name) for name in ("sites", "results", "ranking", "ledger", "bills")}
    own = pl.col("site_id").is_in(sites["site_id"].implode())
    return Batch(**{name: frame.filter(own) for name, frame in frames.items()}, timings=batch.timings)


def bills_of(
    laid: price.LaidOut,
    months: pl.DataFrame,
    rates: price.Rates,
    sites: pl.DataFrame,
    ranking: pl.DataFrame,
    times: pl.DataFrame | None,
) -> pl.DataFrame:
    """The bills of today's and the best strategy of each site of a batch. `times`: see `price.peak_times`."""
    best = sites.select("site_id").join(ranking.select("site_id", "best_strategy"), on="site_id", maintain_order="left")
    today, other = sites["current_strategy"], best["best_strategy"]
    changed = pl.select(pl.when(other.ne_missing(today)).then(other)).to_series()
    return price.table(laid, months, rates, sites, (today, changed), times)


def shipped_inputs() -> dict[str, pl.DataFrame]:
    """The strategies, hours of the day and spreads that ship, no equipment, no tariffs, no weather files."""
    empty = {name: pl.DataFrame(schema=contracts.load(name).polars_schema()) for name in outputs.INPUT_NAMES}
    shipped_rows = {"strategies": shipped.strategies(), "profiles": profiles.resolved()}
    shipped_rows["spreads"] = spreads.resolved()
    return empty | shipped_rows | {"weather": climate.own_hours([])}


def rates_of(inputs: Mapping[str, pl.DataFrame], settings: Settings) -> price.Rates:
    """The tariffs laid out by time, with the emission factors of the portfolio where they have none."""
    factors = {name: getattr(settings, name) for name in ("electricity_kg_co2_per_kwh", "fuel_kg_co2_per_kwh")}
    return price.rates(**tables.of_rates(inputs.__getitem__), **factors)


def as_written(frame: pl.DataFrame) -> pl.DataFrame:
    """The figures as the run folder will hold them: money starts from these, so that pricing the folder gives the same."""
    return exact.significant(frame.cast({pl.Float32: pl.Float64}))


def _unknown_costs(sites: pl.DataFrame) -> pl.DataFrame:
    """What sites without any tariffs pay."""
    rows = sites.select("site_id").join(pl.DataFrame({"strategy": [*REGISTRY]}), how="cross")
    unknown = (*price.COSTS, "annual_cost", "emissions_kg", *price.BILLED)
    return rows.with_columns(pl.lit(None, pl.Float64).alias(name) for name in unknown)


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
    invested = economics.investments(
        priced,
        sites,
        inputs["strategies"],
        inputs["equipment"],
        year.offers_at(sites, inputs["offers"]),
        settings.without_equipment_competes,
    )
    marked = holding.marked(
        economics.economics(
            economics.with_cases(invested, settings.count_case_savings), economics.terms(asdict(settings))
        ),
        tolerance(settings),
    )
    return reconciling.reconciled(marked, sites)


def tolerance(settings: Settings) -> holding.Tolerance:
    """How much worse than today still holds the limit, of a portfolio."""
    return holding.Tolerance(settings.holding_tolerance_h, settings.holding_tolerance_k)


def ranked(
    results: pl.DataFrame,
    sites: pl.DataFrame,
    settings: Settings,
    inputs: Mapping[str, pl.DataFrame],
    rates: price.Rates | None = None,
) -> pl.DataFrame:
    """The ranking of the sites, once it and the results have passed their checks. Its notes say whose strategy of today is
    assumed, whose tariff (`inputs`) has an unusual price, and with `rates` whose bill is in the blocks of theirs."""
    prices = tables.doubtful({name: inputs[name] for name in tables.TARIFF_TABLES}, settings.currency)
    sites = sites.join(prices.rename({"note": "doubt"}), on="tariff_id", how="left", maintain_order="left")
    guessed = [] if rates is None else price.assumed_bills(sites, rates)["site_id"].to_list()
    in_part, by_day = ([], []) if rates is None else (rates.in_part, rates.by_day)
    told = [
        pl.when(~is_given("current_strategy")).then(pl.lit(ASSUMED_TODAY)),
        pl.col("row_note"),
        pl.col("doubt"),
        pl.when(pl.col("site_id").is_in(guessed)).then(pl.lit(ASSUMED_BILL)),
        pl.when(pl.col("tariff_id").is_in(in_part)).then(pl.lit(BY_COUNT)),
        pl.when(pl.col("tariff_id").is_in(by_day)).then(pl.lit(BY_DAY)),
        pl.when(tables.is_default(pl.col("tariff_id"))).then(
            pl.concat_str(pl.lit("its tariff "), "tariff_id", pl.lit(" is a placeholder, average prices of the state"))
        ),
    ]
    noted = sites.with_columns(figures_note=pl.concat_str("figures_note", *told, separator="; ", ignore_nulls=True))
    noted = noted.with_columns(figures_note=pl.when(pl.col("figures_note") != "").then("figures_note"))
    ranking = rank.ranking(results, noted.drop("doubt"), settings.currency, settings.holding_tolerance_h)
    check_results(ranking, results, sites)
    return ranking


def sites_used(sites: pl.DataFrame, sized: pl.DataFrame) -> pl.DataFrame:
    """The filled sites with the cooling capacity and the number of its units that were sized where none was given."""
    sizes = sized.select("site_id", *SIZED).with_columns(pl.col("cooling_units").cast(pl.Int64))
    used = sites.drop(*SIZED).join(sizes, on="site_id", maintain_order="left")
    origins = {f"{name}_origin": pl.col(f"{name}_origin").fill_null(origin) for name, origin in SIZED.items()}
    return used.with_columns(**origins).select(sites.columns)


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
