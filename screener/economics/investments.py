"""What a strategy would cost to install at a site, who pays a part of it, and when the same is due again."""

import polars as pl

from screener.contracts import PLACEHOLDER
from screener.exact import money

SIZES = {  # price in the strategies table: size it is multiplied with
    "investment_per_l_day": "device_capacity_l_day",
    "investment_per_kw": "cooling_capacity_kw",
    "investment_per_l_s": "outdoor_air_l_s",
}
INVESTED = (
    "is_current",
    "candidate",
    "investment",
    "incentive",
    "investment_basis",
    "upkeep_per_year",
    "life_years",
    "replaced_after_years",
    "replacement_cost",
)


def investments(
    totals: pl.DataFrame, sites: pl.DataFrame, strategies: pl.DataFrame, equipment: pl.DataFrame
) -> pl.DataFrame:
    """`totals` with what each strategy would cost to install at each site, columns INVESTED.

    `totals`: site_id, strategy, device_capacity_l_day. `sites`: site_id, current_strategy, equipment_id,
    cooling_capacity_kw, outdoor_air_l_s. `strategies`: prices, incentives, upkeep and life; an empty price counts as
    zero. `equipment`: the same of one of a site's own machines; so many of them as make up the capacity take the place
    of the prices of their strategy.

    `investment` [currency] is the price less the incentive, zero for the current strategy, null where a price applies
    to a size that is not known; `investment_basis` says where the price comes from. `replacement_cost` is the full
    price, due after `replaced_after_years` (null: not within the study) and again after each of `life_years`.
    """
    size = sites.select("site_id", "equipment_id", "current_strategy", "cooling_capacity_kw", "outdoor_air_l_s")
    terms = [pl.col("investment_fixed").fill_null(0.0), *(_price_times_size(p, s) for p, s in SIZES.items())]
    return (
        totals.drop(INVESTED, strict=False)
        .join(size, on="site_id", how="left", maintain_order="left")
        .join(_prices(strategies), on="strategy", how="left", maintain_order="left")
        .join(_machines(equipment), on=["equipment_id", "strategy"], how="left", maintain_order="left")
        .with_columns(
            is_current=(pl.col("strategy") == pl.col("current_strategy")).fill_null(False),
            candidate=pl.col("candidate").fill_null(False),
            upkeep_per_year=pl.coalesce(_of_units("own.upkeep_per_year", "upkeep_per_year"), pl.lit(0.0)),
            life_years=pl.coalesce("own.life_years", "life_years"),
            price=money(_of_units("own.investment", pl.sum_horizontal(terms, ignore_nulls=False))),
        )
        .with_columns(**_first_cost())
        .select(*[name for name in totals.columns if name not in INVESTED], *INVESTED)
    )


def _prices(strategies: pl.DataFrame) -> pl.DataFrame:
    placeholder = pl.col("note").str.starts_with(PLACEHOLDER).fill_null(False)
    basis = pl.when(placeholder).then(pl.lit(PLACEHOLDER)).otherwise(pl.lit("strategies table"))
    prices = ("investment_fixed", *SIZES, "incentive_share", "incentive_fixed")
    return strategies.select("strategy", "candidate", *prices, "upkeep_per_year", "life_years", investment_basis=basis)


def _machines(equipment: pl.DataFrame) -> pl.DataFrame:
    own = ("capacity_l_day", "investment", "upkeep_per_year", "life_years", "remaining_life_years")
    return equipment.select("equipment_id", "strategy", pl.col(own).name.prefix("own."))


def _price_times_size(price: str, size: str) -> pl.Expr:
    """A price of zero asks for no size."""
    rate = pl.col(price).fill_null(0.0)
    return pl.when(rate == 0.0).then(0.0).otherwise(rate * pl.col(size))


def _of_units(of_one: str, otherwise: pl.Expr | str) -> pl.Expr:
    """An amount of the site's own machine times the number of them; of its strategy where the machine has none."""
    units = (pl.col("device_capacity_l_day") / pl.col("own.capacity_l_day")).round()
    units = pl.when(pl.col("own.capacity_l_day").is_null()).then(1.0).otherwise(units)
    return pl.when(pl.col(of_one).is_not_null()).then(pl.col(of_one) * units).otherwise(otherwise)


def _first_cost() -> dict[str, pl.Expr]:
    """What is paid at the start, and later for the same again, from `price`."""
    current, price, remaining = pl.col("is_current"), pl.col("price"), pl.col("own.remaining_life_years")
    offered = pl.col("incentive_share").fill_null(0.0) * price + pl.col("incentive_fixed").fill_null(0.0)
    incentive = pl.when(current).then(0.0).otherwise(money(pl.min_horizontal(offered, price)))
    own_price = pl.col("own.investment").is_not_null()
    basis = pl.when(own_price).then(pl.lit("equipment table")).otherwise("investment_basis")
    return {
        "investment": pl.when(current).then(0.0).otherwise(money(price - incentive)),
        "incentive": incentive,
        "investment_basis": pl.when(~current & (price > 0.0)).then(basis),
        "replaced_after_years": pl.when(current).then(remaining).otherwise("life_years"),
        "replacement_cost": pl.when(current & remaining.is_null()).then(0.0).otherwise(price),
    }
