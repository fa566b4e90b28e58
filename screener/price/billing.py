"""A bill per site, strategy and month, and the year as the sum of its bills.

The ledger's hours are summed by the classes of `layout` first: what follows works on a few rows a month. All sums are
exact (the energies of a ledger are `exact.grained`), so that a bill is the same whatever order the hours come in, and
however finely the ledger keeps them. Until the end strategies stand side by side, each with its columns
`<strategy>.<amount>`: that is how the ledger has them, and a twelfth of the rows.
"""

from collections.abc import Iterator, Sequence

import polars as pl

from screener.errors import FAULT_SCHEMA, ContractError
from screener.exact import exact_sum, in_order, money
from screener.price.layout import Rates
from screener.windows import TIME

ELECTRICITY = ".electricity_kwh"
COSTS = ("energy_cost", "demand_cost", "fuel_cost")
"""Parts of a bill, per year in the portfolio's currency; they add up to `annual_cost`."""
BILLED = ("billed_electricity_kwh", "billed_fuel_kwh")
"""The energy that was billed, to be compared with what the engine worked out."""
BILL = ("electricity_kwh", "energy_cost", "peak_kw", "demand_cost", "fuel_kwh", "fuel_cost", "emissions_kg")
MONTH = ("site_id", "tariff_id", "month")
FINE = 1e8  # units of an exact sum of money, until it is rounded to cents


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
    strategies = strategies_of(ledger)
    year = _monthly(ledger, rates, sites).group_by("site_id").agg(e for s in strategies for e in _year_of(s))
    columns = (*COSTS, "emissions_kg", *BILLED)
    return (
        _long(year, strategies, ("site_id",), columns)
        .with_columns(annual_cost=money(in_order(pl.col(part) for part in COSTS)))
        .select("site_id", "strategy", *COSTS, "annual_cost", "emissions_kg", *BILLED)
        .sort("site_id", "strategy")
    )


def bills(ledger: pl.LazyFrame | pl.DataFrame, rates: Rates, sites: pl.DataFrame) -> pl.DataFrame:
    """One row per site_id, strategy and month: electricity_kwh, energy_cost, peak_kw, demand_cost, fuel_kwh, fuel_cost
    [currency] and emissions_kg. Arguments and errors as for `price`."""
    return _long(_monthly(ledger, rates, sites), strategies_of(ledger), MONTH, BILL)


def by_class(ledger: pl.LazyFrame | pl.DataFrame, rates: Rates, sites: pl.DataFrame) -> pl.DataFrame:
    """A ledger of fewer rows that bills the same: of each month's hours that the site's tariff bills alike, one row,
    under the first of them. Arguments as for `price`."""
    key = ["tariff_id", "month", "class"]
    first = rates.times.unique(key, keep="first", maintain_order=True)
    rows = _by_class(ledger, rates, sites).join(_like(ledger, first), on=key)
    return rows.select(ledger.lazy().collect_schema().names()).sort("site_id", *TIME)


def strategies_of(ledger: pl.LazyFrame | pl.DataFrame) -> list[str]:
    """Names of the strategies that have columns in the ledger, in the ledger's order."""
    names = ledger.lazy().collect_schema().names()
    return [name.removesuffix(ELECTRICITY) for name in names if name.endswith(ELECTRICITY)]


def unbilled(totals: pl.DataFrame, costs: pl.DataFrame, tolerance: float = 1e-5) -> pl.DataFrame:
    """Rows of `totals` whose energy differs from what `costs` billed; empty when nothing went missing on the way.

    `tolerance` is relative: the ledger keeps 32-bit floats, good for about 1e-7, of amounts to the nearest 1/65536 kWh,
    which over 576 rows makes 0.0044 kWh at worst.
    """
    both = totals.select("site_id", "strategy", "electricity_kwh", "fuel_kwh").join(costs, on=["site_id", "strategy"])
    apart = [
        (pl.col(name) - pl.col(f"billed_{name}")).abs() > tolerance * pl.col(name).abs() + 0.005
        for name in ("electricity_kwh", "fuel_kwh")
    ]
    return both.filter(pl.any_horizontal(apart))


def _by_class(ledger: pl.LazyFrame | pl.DataFrame, rates: Rates, sites: pl.DataFrame) -> pl.DataFrame:
    """The ledger summed by site_id, tariff_id, month and class; a peak is null where the strategy is not there."""
    _require_tariffs(rates, sites)
    ledger = ledger.lazy()
    sums = [exact_sum(pl.col("hours")).alias("hours")]
    for strategy in strategies_of(ledger):
        kwh = [pl.col(f"{strategy}.{carrier}_kwh").cast(pl.Float64) for carrier in ("electricity", "fuel")]
        sums += [amount.sum() for amount in kwh]  # exact: the ledger keeps grained amounts
        sums.append(pl.col(f"{strategy}.peak_kw").max().cast(pl.Float64))
    return (
        ledger.join(sites.lazy().select("site_id", "tariff_id"), on="site_id")
        .join(_like(ledger, rates.times).lazy(), on=["tariff_id", *TIME])
        .group_by(*MONTH, "class")
        .agg(sums)
        .collect(engine="streaming")
    )


def _monthly(ledger: pl.LazyFrame | pl.DataFrame, rates: Rates, sites: pl.DataFrame) -> pl.DataFrame:
    """The bills by site and month, strategies side by side: the columns of `BILL`, null where one is not there."""
    strategies = strategies_of(ledger)
    classes = _by_class(ledger, rates, sites)
    priced = classes.join(_like(ledger, rates.classes), on=["tariff_id", "month", "class"])
    months = (
        priced.group_by(MONTH)
        .agg(amount for strategy in strategies for amount in _month_of(strategy))
        .join(_window_charges(priced, strategies), on=MONTH, how="left")
        .join(_like(ledger, rates.months), on=["tariff_id", "month"])
    )
    if not rates.blocks.is_empty():
        months = _with_blocks(months, _like(ledger, rates.blocks), sites, strategies)
    charged = months.with_columns(charge for strategy in strategies for charge in _charges_of(strategy))
    return charged.select(*MONTH, *(f"{strategy}.{name}" for strategy in strategies for name in BILL))


def _month_of(strategy: str) -> Iterator[pl.Expr]:
    """The sums of a month's classes; `in_blocks_kwh` is what no class has a price for."""
    electricity, rate = pl.col(strategy + ELECTRICITY), pl.col("electricity_price_per_kwh")
    peak = pl.col(f"{strategy}.peak_kw").max()
    amounts = {
        "electricity_kwh": exact_sum(electricity),
        "energy_cost": exact_sum(electricity * rate, FINE),
        "in_blocks_kwh": exact_sum(electricity.filter(rate.is_null())),
        "peak_kw": peak,
        "fuel_kwh": exact_sum(pl.col(f"{strategy}.fuel_kwh")),
    }
    for name, amount in amounts.items():
        yield pl.when(peak.is_not_null()).then(amount).alias(f"{strategy}.{name}")


def _window_charges(priced: pl.DataFrame, strategies: Sequence[str]) -> pl.DataFrame:
    """`<strategy>.window_cost` by month: for each demand window its price times the highest hour inside."""
    peaks = [pl.col(f"{strategy}.peak_kw") for strategy in strategies]
    windows = priced.filter(pl.col("demand_window").is_not_null()).group_by(*MONTH, "demand_window")
    charges = windows.agg(peak.max() * pl.col("window_price_per_kw").first() for peak in peaks).group_by(MONTH)
    return charges.agg(exact_sum(pl.col(f"{s}.peak_kw"), FINE).alias(f"{s}.window_cost") for s in strategies)


def _with_blocks(
    months: pl.DataFrame, blocks: pl.DataFrame, sites: pl.DataFrame, strategies: Sequence[str]
) -> pl.DataFrame:
    """`months` with what blocks charge in `energy_cost`.

    Blocks count the whole site. Its other uses are what its bills say beyond its current strategy, spread evenly over
    the months (common practice, no source); a strategy comes on top of them and pays for the blocks it reaches.
    """
    kwh = [strategy + ELECTRICITY for strategy in strategies]
    used = months.group_by("site_id").agg(exact_sum(pl.col(name)) for name in kwh)
    by_name = zip(strategies, kwh, strict=True)
    current = pl.coalesce(pl.when(pl.col("current_strategy") == s).then(name) for s, name in by_name)
    other = (pl.col("annual_electricity_kwh") - current.fill_null(0.0)).clip(0.0) / 12
    base = sites.select("site_id", "current_strategy", "annual_electricity_kwh").join(used, on="site_id")
    base = base.select("site_id", other_kwh=other.fill_null(0.0))
    steps = blocks.with_columns(number=pl.int_range(pl.len()).over("tariff_id", "month"))
    price_before = pl.col("block_price_per_kwh").shift(1).over("tariff_id", "month").fill_null(0.0)
    steps = steps.with_columns(step=pl.col("block_price_per_kwh") - price_before)
    side_by_side = steps.pivot("number", index=["tariff_id", "month"], values=["above_kwh", "step"])
    count = int(steps["number"].max()) + 1  # type: ignore[arg-type]
    joined = months.join(base, on="site_id").join(side_by_side, on=["tariff_id", "month"], how="left")
    return joined.with_columns(
        pl.col(f"{s}.energy_cost") + pl.when(below == 0.0).then(0.0).otherwise(_in_blocks(below, count))
        for s in strategies
        for below in (pl.col(f"{s}.in_blocks_kwh"),)
    )


def _in_blocks(kwh: pl.Expr, count: int) -> pl.Expr:
    """What `kwh` on top of the other uses cost: each block changes the price of all that lies above its beginning."""

    def beyond(amount: pl.Expr, block: int) -> pl.Expr:
        return (amount - pl.col(f"above_kwh_{block}")).clip(0.0) * pl.col(f"step_{block}")

    other = pl.col("other_kwh")
    first, *rest = [beyond(other + kwh, block) - beyond(other, block) for block in range(count)]
    cost = first
    for further in rest:
        cost = cost + further.fill_null(0.0)
    return cost


def _charges_of(strategy: str) -> Iterator[pl.Expr]:
    """What is charged by the month."""
    peak, window = pl.col(f"{strategy}.peak_kw"), pl.col(f"{strategy}.window_cost").fill_null(0.0)
    carbon = [_times(f"{strategy}.{c}_kwh", f"{c}_kg_co2_per_kwh") for c in ("electricity", "fuel")]
    yield (peak * pl.col("demand_price_per_kw") + window).alias(f"{strategy}.demand_cost")
    yield _times(f"{strategy}.fuel_kwh", "fuel_price_per_kwh").alias(f"{strategy}.fuel_cost")
    yield (carbon[0] + carbon[1]).alias(f"{strategy}.emissions_kg")


def _year_of(strategy: str) -> Iterator[pl.Expr]:
    """The year's amounts; null where any month lacks one: a sum over what is left would look complete."""
    totals = {name: (name, money(exact_sum(pl.col(f"{strategy}.{name}")))) for name in COSTS}
    for name in ("emissions_kg", *BILLED):
        amount = name.removeprefix("billed_")
        totals[name] = (amount, exact_sum(pl.col(f"{strategy}.{amount}")))
    for name, (amount, total) in totals.items():
        complete = pl.col(f"{strategy}.{amount}").is_not_null().all()
        yield pl.when(complete).then(total).alias(f"{strategy}.{name}")


def _long(wide: pl.DataFrame, strategies: Sequence[str], keys: Sequence[str], names: Sequence[str]) -> pl.DataFrame:
    """A row for every strategy, its columns under their plain names."""
    return pl.concat(
        wide.select(*keys, pl.lit(s).alias("strategy"), *(pl.col(f"{s}.{name}").alias(name) for name in names))
        for s in strategies
    )


def _times(amount: str, rate: str) -> pl.Expr:
    """Amount times rate; nothing of something unpriced costs nothing, some of it has no known cost."""
    return pl.when(pl.col(amount) == 0.0).then(0.0).otherwise(pl.col(amount) * pl.col(rate))


def _like(ledger: pl.LazyFrame | pl.DataFrame, table: pl.DataFrame) -> pl.DataFrame:
    """`table` with its time columns in the ledger's own types, which may be narrow integers or an enumeration."""
    schema = ledger.lazy().collect_schema()
    return table.with_columns(pl.col(name).cast(schema[name]) for name in TIME if name in table.columns)


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
