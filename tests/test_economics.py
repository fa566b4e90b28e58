"""Life-cycle figures, against NIST Handbook 135's factors and a worked case."""

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from screener.economics import economics, investments, single_present_value, uniform_present_value
from tests.money_cases import prices, sites, totals

# Discount factors as printed with four and three decimals; definitions of NIST Handbook 135.
FACTORS = [
    (0.03, 10, 0.7441, 8.530),
    (0.03, 20, 0.5537, 14.877),
    (0.05, 10, 0.6139, 7.722),
    (0.07, 20, 0.2584, 10.594),
]
NOW, NEW = "overcool_electric_reheat", "standalone_dehumidifier"


@pytest.mark.parametrize(("rate", "years", "spv", "upv"), FACTORS)
def test_factors_to_the_printed_digits(rate: float, years: float, spv: float, upv: float) -> None:
    assert round(single_present_value(rate, years), 4) == spv
    assert round(uniform_present_value(rate, years), 3) == upv


@given(st.floats(0.001, 0.2), st.integers(1, 40))
def test_a_uniform_present_value_is_the_sum_of_single_ones(rate: float, years: int) -> None:
    """By the definition of the two factors."""
    each = sum(single_present_value(rate, float(year)) for year in range(1, years + 1))
    assert uniform_present_value(rate, float(years)) == pytest.approx(each, rel=1e-9)


def test_money_that_costs_nothing_is_counted_by_the_year() -> None:
    assert uniform_present_value(0.0, 12.0) == 12.0


def case(**new: float) -> dict[str, float]:
    """One site that would change: what it pays now and what it would pay, 20 years at 3 %."""
    frame = totals(
        {"site_id": "A", "strategy": NOW, "annual_cost": 20_000.0},
        {"site_id": "A", "strategy": NEW, "annual_cost": 13_000.0},
    ).with_columns(
        is_current=pl.col("strategy") == NOW,
        candidate=True,
        investment=pl.when(strategy=NOW).then(0.0).otherwise(new["investment"]),
        upkeep_per_year=pl.when(strategy=NOW).then(7_000.0).otherwise(8_000.0),
        life_years=pl.lit(new.get("life_years"), pl.Float64),
    )
    return economics(frame, 0.03, 20.0).row(1, named=True)


def test_the_worked_case() -> None:
    """Life-cycle cost 511 171 against 429 146: net savings 82 025, ratio 12.33; payback 1.17 years on first cost alone.

    Base: first cost 103 000, 12 000 in year 12, residual 3 500, electricity 20 000, upkeep 7 000 a year; alternative
    110 000, 12 500, 3 700, 13 000, 8 000. The difference of the investments is taken to the present here.
    """
    extra = 7_000.0 + 500.0 * single_present_value(0.03, 12.0) - 200.0 * single_present_value(0.03, 20.0)
    figures = case(investment=extra)
    assert figures["cost_saved"] == 7_000.0
    assert figures["upkeep_saved"] == -1_000.0
    assert round(figures["net_savings"]) == 82_025
    assert round(figures["savings_to_investment"], 2) == 12.33
    assert round(case(investment=7_000.0)["simple_payback_years"], 2) == 1.17


def test_savings_are_counted_no_longer_than_the_equipment_lasts() -> None:
    """By hand: 6 000 a year times the printed factor for ten years."""
    assert case(investment=0.0, life_years=10.0)["net_savings"] == pytest.approx(6_000.0 * 8.530, rel=1e-4)
    assert case(investment=0.0, life_years=40.0)["net_savings"] == case(investment=0.0)["net_savings"]


def test_nothing_invested_has_no_ratio_and_pays_back_at_once() -> None:
    figures = case(investment=0.0)
    assert figures["savings_to_investment"] is None
    assert figures["simple_payback_years"] == 0.0


def test_what_saves_nothing_never_pays_back() -> None:
    frame = totals(
        {"site_id": "A", "strategy": NOW, "annual_cost": 100.0},
        {"site_id": "A", "strategy": NEW, "annual_cost": 150.0},
    )
    table = prices({"strategy": NOW}, {"strategy": NEW, "investment_fixed": 1_000.0})
    figures = economics(investments(frame, sites({"site_id": "A"}), table), 0.0, 10.0)
    assert figures["simple_payback_years"].to_list() == [None, None]
    assert figures["net_savings"].to_list() == [0.0, -1_500.0]
    assert figures["cost_saved"].to_list() == [0.0, -50.0]


def test_investment_is_each_price_times_its_size() -> None:
    """By hand: 2 000 + 60 x 250 L/day + 70 x 100 kW + 25 x 500 L/s."""
    frame = totals({"site_id": "A", "strategy": NOW}, {"site_id": "A", "strategy": NEW, "device_capacity_l_day": 250.0})
    new = {"investment_fixed": 2_000.0, "investment_per_l_day": 60.0, "investment_per_kw": 70.0}
    table = prices(
        {"strategy": NOW, "investment_fixed": 9_999.0},
        {"strategy": NEW, **new, "investment_per_l_s": 25.0, "upkeep_per_year": 300.0, "life_years": 15.0},
    )
    invested = investments(frame, sites({"site_id": "A"}), table)
    assert invested["investment"].to_list() == [0.0, 36_500.0]  # the current one is there already
    assert invested["is_current"].to_list() == [True, False]
    assert invested["upkeep_per_year"].to_list() == [0.0, 300.0]


def test_a_price_on_an_unknown_size_leaves_the_investment_open() -> None:
    frame = totals(
        {"site_id": "A", "strategy": NEW, "device_capacity_l_day": None},
        {"site_id": "A", "strategy": "outdoor_air_dehumidifier", "device_capacity_l_day": None},
    ).cast({"device_capacity_l_day": pl.Float64})
    table = prices(
        {"strategy": NEW, "investment_per_l_day": 60.0},
        {"strategy": "outdoor_air_dehumidifier", "investment_per_l_s": 10.0},
    )
    assert investments(frame, sites({"site_id": "A"}), table)["investment"].to_list() == [None, 5_000.0]


def test_working_the_figures_out_again_gives_the_same() -> None:
    frame = totals(
        {"site_id": "A", "strategy": NOW, "annual_cost": 900.0},
        {"site_id": "A", "strategy": NEW, "annual_cost": 150.0},
    )
    table = prices({"strategy": NOW}, {"strategy": NEW, "investment_fixed": 1_000.0})
    once = economics(investments(frame, sites({"site_id": "A"}), table), 0.03, 15.0)
    assert economics(once, 0.03, 15.0).equals(once)
    assert investments(once, sites({"site_id": "A"}), table).select(once.columns).equals(once)
