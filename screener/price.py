"""The ledger times the tariffs: the one place where energy turns into money and emissions.

A tariff is laid out as two tables of prices. The *price grid* has a price per kWh for every month, day kind and hour,
so whatever makes energy dearer at some times is settled there, before a kWh is touched. The *monthly rates* hold what
is charged once a month: the demand price on the month's highest hour, fuel, and the emission factors. A bill per site,
strategy and month follows, and the year is the sum of its bills. Fixed charges are the same for every strategy of a
site and cancel out of every comparison, so they are left out.
"""

from collections.abc import Sequence

import polars as pl

from screener.errors import FAULT_SCHEMA, ContractError
from screener.exact import exact_sum, money

HOUR_KEYS = ("month", "day_kind", "hour")
DAY_KINDS = ("working", "other")
ELECTRICITY = ".electricity_kwh"
BILLED = ("electricity_kwh", "energy_cost", "peak_kw", "fuel_kwh")
COSTS = ("energy_cost", "demand_cost", "fuel_cost")
"""Parts of a bill, per year in the portfolio's currency; they add up to `annual_cost`."""


def price(ledger: pl.LazyFrame | pl.DataFrame, tariffs: pl.DataFrame, sites: pl.DataFrame) -> pl.DataFrame:
    """Annual money and emissions of every site and strategy of the ledger.

    `ledger`: site_id, month (1-12), day_kind, hour (0-23) and per strategy `<strategy>.electricity_kwh`,
    `<strategy>.fuel_kwh`, `<strategy>.peak_kw`. `tariffs`: one row per tariff_id. `sites`: site_id, tariff_id.

    Returns one row per site_id and strategy, sorted: energy_cost, demand_cost, fuel_cost, annual_cost [currency/yr,
    whole hundredths], emissions_kg [kg CO2/yr], billed_electricity_kwh, billed_fuel_kwh. All null where the ledger
    holds nothing for the strategy at the site; costs null where the tariff lacks the price of a fuel that is used,
    emissions null where it lacks a factor. ContractError where a site's tariff is missing.
    """
    cost = {name: money(exact_sum(pl.col(name), 1e6)) for name in COSTS}
    year = (
        bills(ledger, tariffs, sites)
        .group_by("site_id", "strategy")
        .agg(
            **{name: pl.when(~_gap(name)).then(total) for name, total in cost.items()},
            emissions_kg=pl.when(~_gap("emissions_kg")).then(exact_sum(pl.col("emissions_kg"))),
            billed_electricity_kwh=pl.when(~_gap("peak_kw")).then(exact_sum(pl.col("electricity_kwh"))),
            billed_fuel_kwh=pl.when(~_gap("peak_kw")).then(exact_sum(pl.col("fuel_kwh"))),
        )
    )
    annual = money(pl.sum_horizontal(COSTS, ignore_nulls=False))
    billed = ("billed_electricity_kwh", "billed_fuel_kwh")
    columns = ("site_id", "strategy", *COSTS, "annual_cost", "emissions_kg", *billed)
    return year.with_columns(annual_cost=annual).select(columns).sort("site_id", "strategy")


def _gap(column: str) -> pl.Expr:
    """Whether any month of the year lacks the amount: a sum over what is left would look complete."""
    return pl.col(column).is_null().any()


def bills(ledger: pl.LazyFrame | pl.DataFrame, tariffs: pl.DataFrame, sites: pl.DataFrame) -> pl.DataFrame:
    """One row per site_id, strategy and month: electricity_kwh, energy_cost, peak_kw, demand_cost, fuel_kwh, fuel_cost
    [currency] and emissions_kg. Arguments and errors as for `price`."""
    ledger = ledger.lazy()
    strategies = strategies_of(ledger)
    _require_tariffs(tariffs, sites)
    site_tariff = sites.lazy().select("site_id", "tariff_id")
    grid = _like(ledger, price_grid(tariffs).lazy())
    monthly = (
        ledger.join(site_tariff, on="site_id")
        .join(grid, on=["tariff_id", *HOUR_KEYS])
        .group_by("site_id", "tariff_id", "month")
        .agg(amount for strategy in strategies for amount in _month_of(strategy))
        .collect(engine="streaming")
    )
    long = pl.concat([_of_strategy(monthly, strategy) for strategy in strategies])
    rates = _like(ledger, monthly_rates(tariffs).lazy()).collect()
    return (
        long.join(rates, on=["tariff_id", "month"])
        .with_columns(
            demand_cost=pl.col("peak_kw") * pl.col("demand_price_per_kw"),
            fuel_cost=_times("fuel_kwh", "fuel_price_per_kwh"),
            emissions_kg=_times("electricity_kwh", "electricity_kg_co2_per_kwh")
            + _times("fuel_kwh", "fuel_kg_co2_per_kwh"),
        )
        .drop(rates.columns[2:])
    )


def strategies_of(ledger: pl.LazyFrame | pl.DataFrame) -> list[str]:
    """Names of the strategies that have columns in the ledger, in the ledger's order."""
    names = ledger.lazy().collect_schema().names()
    return [name.removesuffix(ELECTRICITY) for name in names if name.endswith(ELECTRICITY)]


def price_grid(tariffs: pl.DataFrame) -> pl.DataFrame:
    """The price of a kWh at every time a tariff knows: tariff_id, month, day_kind, hour, electricity_price_per_kwh.

    One row per tariff and each of the 576 (12 months, two day kinds, 24 hours); here the same price at all of them.
    """
    months = pl.DataFrame({"month": range(1, 13)})
    times = months.join(pl.DataFrame({"day_kind": DAY_KINDS}), how="cross")
    times = times.join(pl.DataFrame({"hour": range(24)}), how="cross")
    return tariffs.select("tariff_id", "electricity_price_per_kwh").join(times, how="cross")


def monthly_rates(tariffs: pl.DataFrame) -> pl.DataFrame:
    """What a tariff charges by the month: tariff_id, month, demand_price_per_kw (none is zero), fuel_price_per_kwh
    and the emission factors [kg CO2/kWh], null where the tariff does not say."""
    wanted = ("demand_price_per_kw", "fuel_price_per_kwh", "electricity_kg_co2_per_kwh", "fuel_kg_co2_per_kwh")
    given = [
        pl.col(name).cast(pl.Float64) if name in tariffs.columns else pl.lit(None, pl.Float64).alias(name)
        for name in wanted
    ]
    rates = tariffs.select("tariff_id", *given).with_columns(pl.col("demand_price_per_kw").fill_null(0.0))
    return rates.join(pl.DataFrame({"month": range(1, 13)}), how="cross").select("tariff_id", "month", *wanted)


def with_emission_factors(tariffs: pl.DataFrame, electricity: float | None, fuel: float | None) -> pl.DataFrame:
    """`tariffs` with the portfolio's emission factors [kg CO2/kWh] where a tariff names none of its own."""
    factors = {"electricity_kg_co2_per_kwh": electricity, "fuel_kg_co2_per_kwh": fuel}
    own = [pl.col(name) if name in tariffs.columns else pl.lit(None).alias(name) for name in factors]
    return tariffs.with_columns(own).with_columns(
        pl.col(name).cast(pl.Float64).fill_null(pl.lit(factor, pl.Float64)) for name, factor in factors.items()
    )


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


def _month_of(strategy: str) -> Sequence[pl.Expr]:
    """The month's amounts of one strategy, named `<strategy>.<amount>`; the peak is null where it is not there."""
    electricity = pl.col(strategy + ELECTRICITY).cast(pl.Float64)
    amounts = {
        "electricity_kwh": exact_sum(electricity),
        "energy_cost": exact_sum(electricity * pl.col("electricity_price_per_kwh"), 1e8),
        "peak_kw": pl.col(f"{strategy}.peak_kw").max().cast(pl.Float64),
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
        *(pl.when(there).then(pl.col(f"{strategy}.{name}")).alias(name) for name in BILLED),
    )


def _times(amount: str, rate: str) -> pl.Expr:
    """Amount times rate; nothing of something unpriced costs nothing, some of it has no known cost."""
    return pl.when(pl.col(amount) == 0.0).then(0.0).otherwise(pl.col(amount) * pl.col(rate))


def _like(ledger: pl.LazyFrame, table: pl.LazyFrame) -> pl.LazyFrame:
    """`table` with its time columns in the ledger's own types, which may be narrow integers or an enumeration."""
    schema, own = ledger.collect_schema(), table.collect_schema().names()
    return table.with_columns(pl.col(name).cast(schema[name]) for name in HOUR_KEYS if name in own)


def _require_tariffs(tariffs: pl.DataFrame, sites: pl.DataFrame) -> None:
    lost = sites.filter(~pl.col("tariff_id").is_in(tariffs["tariff_id"].implode()) | pl.col("tariff_id").is_null())
    if lost.is_empty():
        return
    known = ", ".join(sorted(tariffs["tariff_id"])[:10])
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
            pl.lit(known),
        ),
    )
    raise ContractError(faults.cast(pl.Schema(FAULT_SCHEMA)))
