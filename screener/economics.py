"""Life-cycle figures of changing a site from its current strategy to another.

Constant (real) money and a real discount rate; savings fall at the ends of the years; no escalation beyond general
inflation. Definitions of NIST Handbook 135 (Life-Cycle Costing Manual for the Federal Energy Management Program): net
savings are the present value of the annual savings less the investment, the savings-to-investment ratio is the one over
the other, and simple payback is the investment over one year's savings.

Annual savings are counted over the shorter of the study period and the life of the equipment; what equipment is worth
at the end, and what it costs to replace, is not counted. The current strategy is already there: its investment is zero.
"""

from typing import TypeVar

import polars as pl

from screener.exact import money

Years = TypeVar("Years", float, pl.Expr)
SAVINGS = {  # saved against the current strategy: yearly amount of a strategy
    "electricity_saved_kwh": "electricity_kwh",
    "fuel_saved_kwh": "fuel_kwh",
    "cost_saved": "annual_cost",
    "emissions_saved_kg": "emissions_kg",
    "upkeep_saved": "upkeep_per_year",
}
SIZES = {  # price in the strategies table: size it is multiplied with
    "investment_per_l_day": "device_capacity_l_day",
    "investment_per_kw": "cooling_capacity_kw",
    "investment_per_l_s": "outdoor_air_l_s",
}


def single_present_value(rate: float, years: Years) -> Years:
    """Present value of 1 paid after `years` [a] at `rate` [1/a]: the SPV factor of NIST Handbook 135."""
    factor: Years = (1.0 + rate) ** -years
    return factor


def uniform_present_value(rate: float, years: Years) -> Years:
    """Present value of 1 paid at the end of each of `years` [a] at `rate` [1/a]: UPV factor of NIST Handbook 135."""
    if rate == 0.0:
        return years * 1.0
    return (1.0 - single_present_value(rate, years)) / rate


def investments(totals: pl.DataFrame, sites: pl.DataFrame, strategies: pl.DataFrame) -> pl.DataFrame:
    """`totals` with what each strategy would cost to install at each site.

    `totals`: site_id, strategy, device_capacity_l_day. `sites`: site_id, current_strategy, cooling_capacity_kw,
    outdoor_air_l_s. `strategies`: the investment table; an empty price counts as zero.

    Adds is_current, candidate, investment [currency], upkeep_per_year [currency/a], life_years [a, may be null]. The
    investment is null where a price applies to a size that is not known.
    """
    added = ["is_current", "candidate", "investment", "upkeep_per_year", "life_years"]
    size = sites.select("site_id", "current_strategy", "cooling_capacity_kw", "outdoor_air_l_s")
    prices = strategies.select("strategy", "candidate", "investment_fixed", *SIZES, "upkeep_per_year", "life_years")
    terms = [pl.col("investment_fixed").fill_null(0.0), *(_price_times_size(p, s) for p, s in SIZES.items())]
    return (
        totals.drop(added, strict=False)
        .join(size, on="site_id", how="left", maintain_order="left")
        .join(prices, on="strategy", how="left", maintain_order="left")
        .with_columns(
            is_current=(pl.col("strategy") == pl.col("current_strategy")).fill_null(False),
            candidate=pl.col("candidate").fill_null(False),
            upkeep_per_year=pl.col("upkeep_per_year").fill_null(0.0),
            investment=pl.sum_horizontal(terms, ignore_nulls=False),
        )
        .with_columns(investment=pl.when("is_current").then(0.0).otherwise(money(pl.col("investment"))))
        .select(*[name for name in totals.columns if name not in added], *added)
    )


def _price_times_size(price: str, size: str) -> pl.Expr:
    """A price of zero asks for no size."""
    rate = pl.col(price).fill_null(0.0)
    return pl.when(rate == 0.0).then(0.0).otherwise(rate * pl.col(size))


def economics(strategies: pl.DataFrame, discount_rate: float, study_years: float) -> pl.DataFrame:
    """`strategies` (totals, costs and investments, one row per site_id and strategy) with the life-cycle figures.

    `discount_rate` is real [1/a], `study_years` the study period [a]. Adds, against the site's current strategy:
    electricity_saved_kwh, fuel_saved_kwh [kWh/a], cost_saved, upkeep_saved [currency/a], emissions_saved_kg [kg/a],
    net_savings [currency, present value], savings_to_investment [1, null without investment], simple_payback_years
    [a, null where nothing is saved]. Null where the strategy or the current one has no amount to compare.
    """
    derived = [*SAVINGS, "net_savings", "savings_to_investment", "simple_payback_years"]
    own = strategies.drop(derived, strict=False)
    current = own.filter("is_current").select("site_id", pl.col(list(SAVINGS.values())).name.prefix("current."))
    saved = {name: pl.col(f"current.{amount}") - pl.col(amount) for name, amount in SAVINGS.items()}
    saved |= {name: money(saved[name]) for name in ("cost_saved", "upkeep_saved")}
    life = pl.col("life_years").fill_null(study_years)
    worth = uniform_present_value(discount_rate, pl.min_horizontal(life, pl.lit(study_years)))
    yearly, investment = pl.col("cost_saved") + pl.col("upkeep_saved"), pl.col("investment")
    changed = ~pl.col("is_current")
    return (
        own.join(current, on="site_id", how="left", maintain_order="left")
        .with_columns(**saved)
        .with_columns(
            net_savings=money(worth * yearly - investment),
            savings_to_investment=pl.when(changed & (investment > 0.0)).then(worth * yearly / investment),
            simple_payback_years=pl.when(changed & (yearly > 0.0)).then(investment / yearly),
        )
        .select(*own.columns, *derived)
    )
