"""A bill per site, strategy and month, and the year as the sum of its bills.

The ledger's hours are summed by the classes of `rates` first: what follows works on a few rows a month. All sums are
exact, so that a bill is the same whatever order the hours come in, and however finely the ledger keeps them.
"""

from collections.abc import Sequence

import polars as pl

from screener.errors import FAULT_SCHEMA, ContractError
from screener.exact import exact_sum, money
from screener.price.rates import Rates
from screener.windows import TIME

ELECTRICITY = ".electricity_kwh"
AMOUNTS = ("electricity_kwh", "energy_cost", "in_blocks_kwh", "peak_kw", "window_cost", "fuel_kwh")
COSTS = ("energy_cost", "demand_cost", "fuel_cost")
"""Parts of a bill, per year in the portfolio's currency; they add up to `annual_cost`."""
BILLED = ("billed_electricity_kwh", "billed_fuel_kwh")
"""The energy that was billed, to be compared with what the engine worked out."""


def price(ledger: pl.LazyFrame | pl.DataFrame, rates: Rates, sites: pl.DataFrame) -> pl.DataFrame:
    """Annual money and emissions of every site and strategy of the ledger.

    `ledger`: site_id, month (1-12), day_kind, hour (0-23) and per strategy `<strategy>.electricity_kwh`,
    `<strategy>.fuel_kwh`, `<strategy>.peak_kw`. `sites`: site_id, tariff_id and, for tariffs with blocks,
    current_strategy and annual_electricity_kwh of the whole site (null: only the air system is counted).

    Returns one row per site_id and strategy, sorted: energy_cost, demand_cost, fuel_cost, annual_cost [currency/yr,
    whole hundredths], emissions_kg [kg CO2/yr], billed_electricity_kwh, billed_fuel_kwh. All null where the ledger
    holds nothing for the strategy at the site; costs null where the tariff lacks the price of a fuel that is used,
    emissions null where it lacks a factor. ContractError where a site's tariff is missing.
    """
    cost = {name: money(exact_sum(pl.col(name), 1e6)) for name in COSTS}
    year = (
        bills(ledger, rates, sites)
        .group_by("site_id", "strategy")
        .agg(
            **{name: pl.when(~_gap(name)).then(total) for name, total in cost.items()},
            emissions_kg=pl.when(~_gap("emissions_kg")).then(exact_sum(pl.col("emissions_kg"))),
            billed_electricity_kwh=pl.when(~_gap("peak_kw")).then(exact_sum(pl.col("electricity_kwh"))),
            billed_fuel_kwh=pl.when(~_gap("peak_kw")).then(exact_sum(pl.col("fuel_kwh"))),
        )
    )
    annual = money(pl.sum_horizontal(COSTS, ignore_nulls=False))
    columns = ("site_id", "strategy", *COSTS, "annual_cost", "emissions_kg", *BILLED)
    return year.with_columns(annual_cost=annual).select(columns).sort("site_id", "strategy")


def _gap(column: str) -> pl.Expr:
    """Whether any month of the year lacks the amount: a sum over what is left would look complete."""
    return pl.col(column).is_null().any()


def bills(ledger: pl.LazyFrame | pl.DataFrame, rates: Rates, sites: pl.DataFrame) -> pl.DataFrame:
    """One row per site_id, strategy and month: electricity_kwh, energy_cost, peak_kw, demand_cost, fuel_kwh, fuel_cost
    [currency] and emissions_kg. Arguments and errors as for `price`."""
    strategies = strategies_of(ledger)
    by_month = _by_month(_by_class(ledger, rates, sites), rates, strategies)
    long = pl.concat([_of_strategy(by_month, strategy) for strategy in strategies])
    return (
        _with_blocks(long, rates, sites)
        .join(_like(ledger, rates.months.lazy()).collect(), on=["tariff_id", "month"])
        .with_columns(
            demand_cost=pl.col("peak_kw") * pl.col("demand_price_per_kw") + pl.col("window_cost"),
            fuel_cost=_times("fuel_kwh", "fuel_price_per_kwh"),
            emissions_kg=_times("electricity_kwh", "electricity_kg_co2_per_kwh")
            + _times("fuel_kwh", "fuel_kg_co2_per_kwh"),
        )
        .drop("window_cost", "in_blocks_kwh", *rates.months.columns[2:])
    )


def by_class(ledger: pl.LazyFrame | pl.DataFrame, rates: Rates, sites: pl.DataFrame) -> pl.DataFrame:
    """A ledger of fewer rows that bills the same: of each month's hours that the site's tariff bills alike, one row,
    under the first of them. Arguments as for `price`."""
    first = rates.times.unique(["tariff_id", "month", "class"], keep="first", maintain_order=True)
    rows = _by_class(ledger, rates, sites).join(
        _like(ledger, first.lazy()).collect(), on=["tariff_id", "month", "class"]
    )
    return rows.select(ledger.lazy().collect_schema().names()).sort("site_id", *TIME)


def strategies_of(ledger: pl.LazyFrame | pl.DataFrame) -> list[str]:
    """Names of the strategies that have columns in the ledger, in the ledger's order."""
    names = ledger.lazy().collect_schema().names()
    return [name.removesuffix(ELECTRICITY) for name in names if name.endswith(ELECTRICITY)]


def unbilled(totals: pl.DataFrame, costs: pl.DataFrame, tolerance: float = 1e-5) -> pl.DataFrame:
    """Rows of `totals` whose energy differs from what `costs` billed; empty when nothing went missing on the way.

    `tolerance` is relative: the ledger keeps 32-bit floats, good for about 1e-7.
    """
    both = totals.select("site_id", "strategy", "electricity_kwh", "fuel_kwh").join(costs, on=["site_id", "strategy"])
    apart = [
        (pl.col(name) - pl.col(f"billed_{name}")).abs() > tolerance * pl.col(name).abs() + 1e-3
        for name in ("electricity_kwh", "fuel_kwh")
    ]
    return both.filter(pl.any_horizontal(apart))


def _by_class(ledger: pl.LazyFrame | pl.DataFrame, rates: Rates, sites: pl.DataFrame) -> pl.DataFrame:
    """The ledger summed by site_id, tariff_id, month and class; a peak is null where the strategy is not there."""
    _require_tariffs(rates, sites)
    ledger = ledger.lazy()
    sums = [exact_sum(pl.col("hours")).alias("hours")]
    for strategy in strategies_of(ledger):
        sums += [exact_sum(pl.col(f"{strategy}.{carrier}_kwh")) for carrier in ("electricity", "fuel")]
        sums.append(pl.col(f"{strategy}.peak_kw").max().cast(pl.Float64))
    return (
        ledger.join(sites.lazy().select("site_id", "tariff_id"), on="site_id")
        .join(_like(ledger, rates.times.lazy()), on=["tariff_id", *TIME])
        .group_by("site_id", "tariff_id", "month", "class")
        .agg(sums)
        .collect(engine="streaming")
    )


def _by_month(classes: pl.DataFrame, rates: Rates, strategies: Sequence[str]) -> pl.DataFrame:
    """The month's amounts of each strategy, named `<strategy>.<amount>`, from the sums by class."""
    keys = ["site_id", "tariff_id", "month"]
    priced = classes.join(_like(classes, rates.classes.lazy()).collect(), on=["tariff_id", "month", "class"])
    months = priced.group_by(keys).agg(amount for strategy in strategies for amount in _month_of(strategy))
    peaks = [pl.col(f"{strategy}.peak_kw") for strategy in strategies]
    in_window = priced.filter(pl.col("demand_window").is_not_null())
    charges = (
        in_window.group_by(*keys, "demand_window")
        .agg(*(peak.max() * pl.col("window_price_per_kw").first() for peak in peaks))
        .group_by(keys)
        .agg(exact_sum(pl.col(f"{s}.peak_kw"), 1e8).alias(f"{s}.window_cost") for s in strategies)
    )
    return months.join(charges, on=keys, how="left").with_columns(pl.col(charges.columns[3:]).fill_null(0.0))


def _month_of(strategy: str) -> Sequence[pl.Expr]:
    electricity, rate = pl.col(strategy + ELECTRICITY), pl.col("electricity_price_per_kwh")
    amounts = {
        "electricity_kwh": exact_sum(electricity),
        "energy_cost": exact_sum(electricity * rate, 1e8),
        "in_blocks_kwh": exact_sum(electricity.filter(rate.is_null())),
        "peak_kw": pl.col(f"{strategy}.peak_kw").max(),
        "fuel_kwh": exact_sum(pl.col(f"{strategy}.fuel_kwh")),
    }
    return [amount.alias(f"{strategy}.{name}") for name, amount in amounts.items()]


def _of_strategy(monthly: pl.DataFrame, strategy: str) -> pl.DataFrame:
    """One strategy's columns of the monthly table, under their plain names and null where it is not there."""
    there = pl.col(f"{strategy}.peak_kw").is_not_null()
    return monthly.select(
        "site_id",
        pl.lit(strategy).alias("strategy"),
        "tariff_id",
        "month",
        *(pl.when(there).then(pl.col(f"{strategy}.{name}")).alias(name) for name in AMOUNTS),
    )


def _with_blocks(bills: pl.DataFrame, rates: Rates, sites: pl.DataFrame) -> pl.DataFrame:
    """`bills` with the cost of what blocks price in `energy_cost`; null where a month has neither price nor blocks.

    Blocks count the whole site. Its other uses are what its bills say beyond its current strategy, spread evenly over
    the months (common practice, no source); the strategy comes on top of them and pays for the blocks it reaches.
    """
    rows = bills.filter(pl.col("in_blocks_kwh") > 0.0)
    if rows.is_empty():
        return bills
    current = sites.select("site_id", "annual_electricity_kwh", strategy="current_strategy")
    used = bills.group_by("site_id", "strategy").agg(used_kwh=exact_sum(pl.col("electricity_kwh")))
    others = current.join(used, on=["site_id", "strategy"], how="left").select(
        "site_id", other_kwh=(pl.col("annual_electricity_kwh") - pl.col("used_kwh").fill_null(0.0)).clip(0.0) / 12
    )
    keys, below = ["site_id", "strategy", "month"], pl.col("other_kwh").fill_null(0.0)
    low, high = pl.col("above_kwh"), pl.col("up_to_kwh")
    within = (below + pl.col("in_blocks_kwh")).clip(low, high) - below.clip(low, high)
    cost = (
        rows.join(others, on="site_id")
        .join(_like(bills, rates.blocks.lazy()).collect(), on=["tariff_id", "month"])
        .group_by(keys)
        .agg(block_cost=exact_sum(within * pl.col("block_price_per_kwh"), 1e8))
    )
    unpriced = pl.when(pl.col("in_blocks_kwh") == 0.0).then(0.0)
    return (
        bills.join(cost, on=keys, how="left", maintain_order="left")
        .with_columns(energy_cost=pl.col("energy_cost") + pl.coalesce("block_cost", unpriced))
        .drop("block_cost")
    )


def _times(amount: str, rate: str) -> pl.Expr:
    """Amount times rate; nothing of something unpriced costs nothing, some of it has no known cost."""
    return pl.when(pl.col(amount) == 0.0).then(0.0).otherwise(pl.col(amount) * pl.col(rate))


def _like(ledger: pl.LazyFrame | pl.DataFrame, table: pl.LazyFrame) -> pl.LazyFrame:
    """`table` with its time columns in the ledger's own types, which may be narrow integers or an enumeration."""
    schema, own = ledger.lazy().collect_schema(), table.collect_schema().names()
    return table.with_columns(pl.col(name).cast(schema[name]) for name in TIME if name in own and name in schema)


def _require_tariffs(rates: Rates, sites: pl.DataFrame) -> None:
    names = rates.months["tariff_id"].unique().sort()
    lost = sites.filter(~pl.col("tariff_id").is_in(names.implode()) | pl.col("tariff_id").is_null())
    if lost.is_empty():
        return
    faults = lost.select(
        table=pl.lit("sites"),
        row=pl.col("row") if "row" in lost.columns else pl.lit(None),
        site_id="site_id",
        column=pl.lit("tariff_id"),
        rule=pl.lit("known tariff"),
        value="tariff_id",
        message=pl.concat_str(
            pl.lit("site "),
            "site_id",
            pl.lit(" has no tariff of this name; add it to the tariffs, which have "),
            pl.lit(", ".join(names[:10])),
        ),
    )
    raise ContractError(faults.cast(pl.Schema(FAULT_SCHEMA)))
