"""Present values of all a strategy costs over the study period, and how they compare with the current one's."""

from collections.abc import Sequence
from itertools import pairwise

import polars as pl

from screener.contracts.hour import BESIDE_TODAY
from screener.economics.investments import todays
from screener.economics.present_value import Terms, replacement_years, residual_share
from screener.exact import money

SAVINGS = {  # saved against the current strategy: yearly amount of a strategy
    "electricity_saved_kwh": "electricity_kwh",
    "fuel_saved_kwh": "fuel_kwh",
    "cost_saved": "annual_cost",
    "emissions_saved_kg": "emissions_kg",
    "upkeep_saved": "upkeep_per_year",
}
PRESENT_VALUES = ("energy_pv", "upkeep_pv", "replacement_pv", "residual_pv")
FIGURES = (
    "life_cycle_cost",
    "net_savings",
    "savings_to_investment",
    "adjusted_rate_of_return",
    "simple_payback_years",
    "discounted_payback_years",
)
LIVES = ["replaced_after_years", "life_years"]
COSTS_PV = ("investment", "replacement_pv", "energy_pv", "upkeep_pv")
ASKED = (
    "energy_cost",
    "demand_cost",
    "fuel_cost",
    "case_credit",
    "investment",
    "replacement_cost",
    *LIVES,
    *SAVINGS.values(),
)
"""What is asked of a strategy at a site, beside whether it `is_current`."""


def economics(strategies: pl.DataFrame, terms: Terms, figures: Sequence[str] = FIGURES) -> pl.DataFrame:
    """`strategies` (totals, costs and investments, one row per site_id and strategy) with the life-cycle `figures`.

    Adds the present values of what each strategy costs (see `present_values`) and how it compares with the site's
    current one (see `compared`). Null where the strategy or the current one has no amount to compare.
    """
    return compared(present_values(strategies, terms), terms, figures)


def present_values(strategies: pl.DataFrame, terms: Terms) -> pl.DataFrame:
    """`strategies` with PRESENT_VALUES [currency] of the study period.

    Needs energy_cost, demand_cost, fuel_cost, upkeep_per_year and case_credit (see `cases`) [currency/a]
    at today's prices and what `investments` adds. energy_pv is of electricity, its demand and fuel; residual_pv is what equipment
    is still worth at the end. What leaves today's equipment at work (BESIDE_TODAY) bears its replacements too.
    """
    own, years = strategies.drop(PRESENT_VALUES, strict=False), terms.study_years
    electricity = pl.col("energy_cost") + pl.col("demand_cost") - pl.col("case_credit")
    return (
        own.join(_of_lives(own, terms), on=LIVES, how="left", nulls_equal=True, maintain_order="left")
        .with_columns(
            energy_pv=money(electricity * terms.electricity(years) + pl.col("fuel_cost") * terms.fuel(years)),
            upkeep_pv=money(pl.col("upkeep_per_year") * terms.upkeep(years)),
            replacement_pv=money(pl.col("replacement_cost") * pl.col("replaced").list.last()),
            residual_pv=money(pl.col("replacement_cost") * pl.col("left_over")),
        )
        .with_columns(
            money(pl.col(name) + pl.when(_beside_today()).then(todays(name)).fill_null(0.0))
            for name in ("replacement_pv", "residual_pv")
        )
        .select(*own.columns, *PRESENT_VALUES)
    )


def _beside_today() -> pl.Expr:
    """Whether today's equipment stays, and is replaced when it is due."""
    return pl.col("strategy").is_in(BESIDE_TODAY) & ~pl.col("is_current")


def compared(strategies: pl.DataFrame, terms: Terms, figures: Sequence[str] = FIGURES) -> pl.DataFrame:
    """`strategies` with its life-cycle cost, and SAVINGS and `figures` against the site's current strategy.

    life_cycle_cost, net_savings [currency, present values]; savings_to_investment [1], the present value of what energy
    and upkeep save over that of what is invested, replaced and left over beyond the current strategy, null where that
    is not above zero; adjusted_rate_of_return [1/a], savings reinvested at the discount rate, null where nothing is
    saved; simple_payback_years [a], extra investment over one year's savings at today's prices, null where nothing is
    saved; discounted_payback_years, see `_discounted_payback`.
    """
    own = strategies.drop(*SAVINGS, *FIGURES, strict=False).with_columns(
        life_cycle_cost=money(pl.sum_horizontal(COSTS_PV, ignore_nulls=False) - pl.col("residual_pv"))
    )
    own_lives = own.join(_of_lives(own, terms), on=LIVES, how="left", nulls_equal=True, maintain_order="left")
    current = own_lives.filter("is_current").select("site_id", pl.exclude("site_id").name.prefix("current."))
    years, rate = terms.study_years, terms.discount_rate
    yearly = pl.col("cost_saved") + pl.col("upkeep_saved") - _less("case_credit")
    ratio = pl.col("savings_to_investment")
    saved_pv = _less("energy_pv") + _less("upkeep_pv")
    invested_pv = -_less("investment") - _less("replacement_pv") + _less("residual_pv")
    changed = ~pl.col("is_current")
    return (
        own_lives.lazy()
        .join(current.lazy(), on="site_id", how="left", maintain_order="left")
        .with_columns(**{name: _less(amount) for name, amount in SAVINGS.items()})
        .with_columns(_saved_by(year, terms).alias(f"saved_by.{year}") for year in range(1, years + 1))
        .with_columns(
            money(pl.col("cost_saved", "upkeep_saved")),
            net_savings=money(_less("life_cycle_cost")),
            savings_to_investment=pl.when(changed & (invested_pv > 0.0)).then(saved_pv / invested_pv),
            discounted_payback_years=pl.when(changed).then(_discounted_payback(years)),
        )
        .with_columns(
            adjusted_rate_of_return=pl.when(ratio > 0.0).then((1.0 + rate) * ratio ** (1.0 / years) - 1.0),
            simple_payback_years=pl.when(changed & (yearly > 0.0)).then(-_less("investment") / yearly),
        )
        .select(*own.columns[:-1], *SAVINGS, *figures)  # what no figure needs is not worked out
        .collect()
    )


def _less(amount: str) -> pl.Expr:
    """An amount of the current strategy less that of the other: what changing saves."""
    return pl.col(f"current.{amount}") - pl.col(amount)


def _discounted_payback(study_years: int) -> pl.Expr:
    """Years until savings, discounted and less replacements, first cover the extra investment; within a year straight.

    From the columns `saved_by.<year>`. Null where that does not happen within the study period. What is left over at
    its end is not counted.
    """
    extra = -_less("investment")
    covered = [pl.lit(0.0), *(pl.col(f"saved_by.{year}") for year in range(1, study_years + 1))]
    reached = [
        pl.when((now >= extra) & (now > before)).then(
            year + pl.max_horizontal((extra - before) / (now - before), pl.lit(0.0))
        )
        for year, (before, now) in enumerate(pairwise(covered))
    ]
    return pl.coalesce(reached)


def _saved_by(year: int, terms: Terms) -> pl.Expr:
    """Present value of what is saved until the end of a year [currency], before the investment."""
    electricity = _less("energy_cost") + _less("demand_cost") - _less("case_credit")
    replacements = pl.when(_beside_today()).then(0.0).otherwise(_replaced_by(year, "current.")) - _replaced_by(year)
    running = _less("fuel_cost") * terms.fuel(year) + _less("upkeep_per_year") * terms.upkeep(year)
    return electricity * terms.electricity(year) + running + replacements


def _replaced_by(year: int, of: str = "") -> pl.Expr:
    return pl.col(f"{of}replacement_cost") * pl.col(f"{of}replaced").list.get(year - 1)


def _of_lives(strategies: pl.DataFrame, terms: Terms) -> pl.DataFrame:
    """Factors on replacement_cost for the LIVES that occur, which are few.

    `replaced`: a list by year, the present value of replacements until its end; `left_over`: present residual value.
    """
    study = terms.study_years
    rows = []
    for first, life in strategies.select(LIVES).unique(maintain_order=True).rows():
        lasts = study if first is None else first
        bought = replacement_years(lasts, life or study, study)
        until = [sum(terms.once(year) for year in bought if year <= end) for end in range(1, study + 1)]
        left_over = 0.0 if first is None else residual_share(lasts, life or study, study) * terms.once(study)
        rows.append((first, life, [float(value) for value in until], left_over))
    columns = [(name, pl.Float64) for name in LIVES]
    return pl.DataFrame(
        rows, schema=[*columns, ("replaced", pl.List(pl.Float64)), ("left_over", pl.Float64)], orient="row"
    )
