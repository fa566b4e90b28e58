"""Life-cycle figures, against NIST Handbook 135's factors and a worked case."""

from typing import Any

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from screener.economics import Terms, economics, investments, terms
from screener.economics.life_cycle import compared, present_values
from screener.economics.present_value import (
    replacement_years,
    residual_share,
    single_present_value,
    uniform_present_value,
)
from tests.money_cases import NO_OFFERS, equipment, life_cycle, prices, sites, totals

# Discount factors as printed with four and three decimals; definitions of NIST Handbook 135.
FACTORS = [
    (0.03, 10, 0.7441, 8.530),
    (0.03, 20, 0.5537, 14.877),
    (0.05, 10, 0.6139, 7.722),
    (0.07, 20, 0.2584, 10.594),
]
NOW, NEW = "overcool_electric_reheat", "standalone_dehumidifier"
REAL = {
    "rates": "real",
    "discount_rate": 0.03,
    "study_years": 20,
    "inflation": None,
    "electricity_escalation": None,
    "fuel_escalation": None,
}


@pytest.mark.parametrize(("rate", "years", "spv", "upv"), FACTORS)
def test_factors_to_the_printed_digits(rate: float, years: int, spv: float, upv: float) -> None:
    assert round(single_present_value(rate, years), 4) == spv
    assert round(uniform_present_value(rate, years), 3) == upv


@given(st.floats(0.001, 0.2), st.integers(1, 40), st.floats(-0.05, 0.2))
def test_uniform_present_values_are_those_of_the_closed_forms(rate: float, years: int, escalation: float) -> None:
    """NIST Handbook 135: UPV = ((1 + d)^n - 1) / (d (1 + d)^n); UPV* = ((1 + e)/(d - e)) (1 - ((1 + e)/(1 + d))^n)."""
    uniform = ((1.0 + rate) ** years - 1.0) / (rate * (1.0 + rate) ** years)
    assert uniform_present_value(rate, years) == pytest.approx(uniform, rel=1e-9)
    if abs(rate - escalation) > 1e-3:
        modified = (1.0 + escalation) / (rate - escalation) * (1.0 - ((1.0 + escalation) / (1.0 + rate)) ** years)
        assert uniform_present_value(rate, years, escalation) == pytest.approx(modified, rel=1e-9)


def test_money_that_costs_nothing_is_counted_by_the_year() -> None:
    assert uniform_present_value(0.0, 12) == 12.0
    assert uniform_present_value(0.04, 12, 0.04) == 12.0


def case(now: dict[str, Any], new: dict[str, Any], how: Terms) -> dict[str, Any]:
    """The row of the new strategy at a site that would change to it; `replacement_pv` and `residual_pv` replace those
    that follow from life and price."""
    plain = {"investment": 0.0, "candidate": True, "life_years": None, "replaced_after_years": None}
    plain |= {"replacement_cost": 0.0, "upkeep_per_year": 0.0, "case_credit": 0.0}
    rows = [{"site_id": "A", **plain, **row} for row in (now | {"strategy": NOW}, new | {"strategy": NEW})]
    frame = totals(*rows).with_columns(is_current=pl.col("strategy") == NOW)
    frame = frame.cast({"replaced_after_years": pl.Float64, "life_years": pl.Float64})
    given = [{name: row[name] for name in ("replacement_pv", "residual_pv") if name in row} for row in (now, new)]
    valued = present_values(frame, how)
    for name in ("replacement_pv", "residual_pv"):
        if all(name in row for row in given):
            valued = valued.with_columns(pl.Series(name, [row[name] for row in given]))
    both = compared(valued, how)
    return both.row(1, named=True) | {"current_life_cycle_cost": both["life_cycle_cost"][0]}


def worked_case(how: Terms) -> dict[str, Any]:
    """Base: first cost 103 000, 12 000 in year 12, residual 3 500 at the end of year 20, electricity 20 000 and upkeep
    7 000 a year; alternative 110 000, 12 500, 3 700, 13 000, 8 000. 20 years at 3 % real."""
    figures = ((103_000.0, 12_000.0, 3_500.0, 20_000.0, 7_000.0), (110_000.0, 12_500.0, 3_700.0, 13_000.0, 8_000.0))
    now, new = (
        {
            "investment": first,
            "replacement_pv": again * how.once(12.0),
            "residual_pv": worth * how.once(20.0),
            "annual_cost": electricity,
            "upkeep_per_year": upkeep,
        }
        for first, again, worth, electricity, upkeep in figures
    )
    return case(now, new, how)


def test_the_worked_case_to_the_printed_digits() -> None:
    """Computed after the definitions of NIST Handbook 135."""
    figures = worked_case(Terms(0.03, 20))
    assert figures["cost_saved"] == 7_000.0
    assert figures["upkeep_saved"] == -1_000.0
    assert round(figures["current_life_cycle_cost"]) == 511_171
    assert round(figures["life_cycle_cost"]) == 429_146
    assert round(figures["net_savings"]) == 82_025
    assert round(figures["savings_to_investment"], 2) == 12.33
    assert round(100.0 * figures["adjusted_rate_of_return"], 1) == 16.8
    assert round(figures["simple_payback_years"], 2) == 1.17


def test_nominal_rates_come_to_the_same_present_values() -> None:
    """NIST Handbook 135: (1 + nominal) = (1 + real)(1 + inflation); a rate of return becomes nominal likewise."""
    real = worked_case(Terms(0.03, 20))
    nominal = REAL | {"rates": "nominal", "discount_rate": 1.03 * 1.025 - 1.0, "inflation": 0.025}
    figures = worked_case(terms(nominal))
    for name in ("life_cycle_cost", "net_savings", "savings_to_investment", "discounted_payback_years"):
        assert figures[name] == pytest.approx(real[name], abs=0.011, rel=1e-9), name
    returned = (1.0 + figures["adjusted_rate_of_return"]) / 1.025 - 1.0
    assert returned == pytest.approx(real["adjusted_rate_of_return"], rel=1e-6)


def test_each_carrier_has_its_own_escalation() -> None:
    """Year by year: electricity and its demand 3 000 rising 2 %, fuel 500 falling 1 %, two years at 5 %."""
    rates = {"electricity_escalation": 0.02, "fuel_escalation": -0.01, "study_years": 2, "discount_rate": 0.05}
    new = {"energy_cost": 2_000.0, "demand_cost": 1_000.0, "fuel_cost": 500.0, "annual_cost": 3_500.0}
    by_year = (3_000 * 1.02 + 500 * 0.99) / 1.05 + (3_000 * 1.02**2 + 500 * 0.99**2) / 1.05**2
    assert case({"annual_cost": 0.0}, new, terms(REAL | rates))["energy_pv"] == pytest.approx(by_year, abs=0.005)


def test_energy_without_an_escalation_of_its_own_rises_with_inflation() -> None:
    assert terms(REAL) == Terms(0.03, 20)
    assert terms(REAL | {"inflation": 0.02}) == Terms(0.03, 20, 0.02, 0.02, 0.02)
    assert terms(REAL | {"inflation": 0.02, "fuel_escalation": 0.0}) == Terms(0.03, 20, 0.02, 0.02, 0.0)


@pytest.mark.parametrize(
    ("first", "life", "years", "worth"),
    [
        (15.0, 15.0, [], 0.0),  # lasts exactly as long
        (20.0, 20.0, [], 0.25),  # five years of twenty left
        (10.0, 10.0, [10.0], 0.5),
        (6.0, 6.0, [6.0, 12.0], 0.5),
        (7.5, 7.5, [7.5], 0.0),
        (4.0, 20.0, [4.0], 0.45),  # an old machine, four years left; nine of twenty left of the next one
        (0.0, 15.0, [0.0], 0.0),  # due now
    ],
)
def test_replacements_and_what_is_left_after_fifteen_years(
    first: float, life: float, years: list[float], worth: float
) -> None:
    """By hand."""
    assert replacement_years(first, life, 15.0) == years
    assert residual_share(first, life, 15.0) == pytest.approx(worth)


def test_what_wears_out_is_bought_again_at_its_full_price() -> None:
    """By hand, at no discount: 10 000 less 3 000 incentive; bought again after ten of fifteen years, half of it left."""
    frame = totals({"site_id": "A", "strategy": NOW, "annual_cost": 0.0}, {"site_id": "A", "strategy": NEW})
    new = {"investment_fixed": 10_000.0, "life_years": 10.0, "incentive_share": 0.2, "incentive_fixed": 1_000.0}
    table = prices({"strategy": NOW, "investment_fixed": 8_000.0, "life_years": 5.0}, {"strategy": NEW, **new})
    figures = life_cycle(frame, sites({"site_id": "A"}), table, 0.0, 15)
    assert figures["investment"].to_list() == [0.0, 7_000.0]
    assert figures["incentive"].to_list() == [0.0, 3_000.0]
    assert figures["replacement_pv"].to_list() == [0.0, 10_000.0]  # the current one: not known how old it is
    assert figures["residual_pv"].to_list() == [0.0, 5_000.0]
    assert figures["life_cycle_cost"].to_list() == [0.0, 12_000.0]


def test_an_incentive_pays_no_more_than_the_price() -> None:
    frame = totals({"site_id": "A", "strategy": NOW}, {"site_id": "A", "strategy": NEW})
    table = prices(
        {"strategy": NOW},
        {"strategy": NEW, "investment_fixed": 900.0, "incentive_share": 0.5, "incentive_fixed": 600.0},
    )
    figures = life_cycle(frame, sites({"site_id": "A"}), table, 0.0, 15)
    assert (figures["investment"][1], figures["incentive"][1]) == (0.0, 900.0)


def test_a_sites_own_machine_takes_the_place_of_its_strategys_prices() -> None:
    frame = totals(
        {"site_id": "A", "strategy": NEW, "device_capacity_l_day": 10.0},
        {"site_id": "B", "strategy": NEW, "device_capacity_l_day": 10.0},
    )
    new = {"investment_per_l_day": 60.0, "upkeep_per_year": 50.0, "life_years": 12.0, "note": "placeholder, no source"}
    machine = {"investment": 18_500.0, "life_years": 9.0, "remaining_life_years": 2.0}
    where = sites({"site_id": "A", "equipment_id": "E1"}, {"site_id": "B"})
    table = prices({"strategy": NEW, **new})
    invested = investments(frame, where, table, equipment(machine), NO_OFFERS)
    assert invested["investment"].to_list() == [18_500.0, 600.0]
    assert invested["investment_basis"].to_list() == ["equipment table", "placeholder"]
    assert invested["life_years"].to_list() == [9.0, 12.0]
    assert invested["upkeep_per_year"].to_list() == [50.0, 50.0]
    assert invested["replaced_after_years"].to_list() == [9.0, 12.0]  # not there yet: it begins with a full life


def test_several_units_cost_as_many_times_as_much() -> None:
    """By hand: 210 L/day are three units of 70, at 1 400 and 90 a year each."""
    frame = totals({"site_id": "A", "strategy": NEW, "device_capacity_l_day": 210.0})
    machine = {"capacity_l_day": 70.0, "investment": 1_400.0, "upkeep_per_year": 90.0}
    where, table = sites({"site_id": "A", "equipment_id": "E1"}), prices({"strategy": NEW, "investment_fixed": 1.0})
    invested = investments(frame, where, table, equipment(machine), NO_OFFERS)
    assert invested.select("investment", "upkeep_per_year").row(0) == (4_200.0, 270.0)


def test_a_machine_that_is_due_makes_staying_cost_its_replacement() -> None:
    """By hand, at no discount: 6 000 due in three years; after eight years three of eight are left: 2 250."""
    where = sites({"site_id": "A", "current_strategy": NEW, "equipment_id": "E1"})
    frame = totals(
        {"site_id": "A", "strategy": NEW, "annual_cost": 0.0}, {"site_id": "A", "strategy": NOW, "annual_cost": 0.0}
    )
    machine = {"investment": 6_000.0, "life_years": 8.0, "remaining_life_years": 3.0}
    figures = life_cycle(frame, where, prices({"strategy": NEW}, {"strategy": NOW}), 0.0, 8, machine)
    assert figures["investment"].to_list() == [0.0, 0.0]
    assert figures["replacement_pv"].to_list() == [6_000.0, 0.0]
    assert figures["residual_pv"].to_list() == [2_250.0, 0.0]
    assert figures["net_savings"].to_list() == [0.0, 3_750.0]


@pytest.mark.parametrize(
    ("note", "fixed", "basis"),
    [
        ("placeholder, no source: units", 900.0, "placeholder"),
        ("quotation of March", 900.0, "strategies table"),
        (None, 900.0, "strategies table"),
        ("placeholder", 0.0, None),
    ],
)
def test_a_placeholder_is_told_from_a_quotation(note: str | None, fixed: float, basis: str | None) -> None:
    frame = totals({"site_id": "A", "strategy": NOW}, {"site_id": "A", "strategy": NEW})
    table = prices(*({"strategy": s, "investment_fixed": fixed, "note": note} for s in (NOW, NEW)))
    invested = investments(frame, sites({"site_id": "A"}), table, equipment(), NO_OFFERS)
    assert invested["investment_basis"].to_list() == [None, basis]


@pytest.mark.parametrize(
    ("rate", "years", "payback"),
    [
        (0.0, 15, 2.5),  # as simple payback
        (0.1, 15, 3.0 + (2_500.0 - 2_486.8520) / (3_169.8654 - 2_486.8520)),
        (0.1, 3, None),
    ],
)
def test_discounted_payback_year_by_year(rate: float, years: int, payback: float | None) -> None:
    """By hand: 1 000 a year are worth 909.09, 1 735.54, 2 486.85 and 3 169.87 at 10 %; invested are 2 500."""
    figures = case({"annual_cost": 1_000.0}, {"annual_cost": 0.0, "investment": 2_500.0}, Terms(rate, years))
    assert figures["discounted_payback_years"] == (None if payback is None else pytest.approx(payback, rel=1e-6))
    assert figures["simple_payback_years"] == 2.5


def test_a_replacement_before_payback_delays_it() -> None:
    """By hand, at no discount: 2 500 after two years cost 2 500 again; 5 000 are covered after five years of 1 000.

    The next one, after four years, adds 2 500 more: five years bring 5 000 against 7 500, and none ever catch up.
    """
    new = {"annual_cost": 0.0, "investment": 2_500.0, "replacement_cost": 2_500.0, "life_years": 2.0}
    figures = case({"annual_cost": 1_000.0}, new | {"replaced_after_years": 2.0}, Terms(0.0, 9))
    assert figures["discounted_payback_years"] is None
    figures = case({"annual_cost": 1_000.0}, new | {"replaced_after_years": 2.0, "life_years": 20.0}, Terms(0.0, 9))
    assert figures["discounted_payback_years"] == 5.0


def test_nothing_invested_has_no_ratio_and_pays_back_at_once() -> None:
    figures = case({"annual_cost": 500.0}, {"annual_cost": 0.0}, Terms(0.03, 20))
    assert figures["savings_to_investment"] is None
    assert figures["adjusted_rate_of_return"] is None
    assert figures["simple_payback_years"] == 0.0
    assert figures["discounted_payback_years"] == 0.0


@given(st.floats(0.0, 0.12), st.integers(1, 30), st.integers(100, 5_000), st.integers(100, 50_000))
def test_the_figures_agree_on_what_pays(rate: float, years: int, saved: int, invested: int) -> None:
    """NIST Handbook 135: net savings above zero, a ratio above one, and a return above the discount rate go together."""
    figures = case(
        {"annual_cost": float(saved)}, {"annual_cost": 0.0, "investment": float(invested)}, Terms(rate, years)
    )
    net = figures["net_savings"]
    if abs(net) > 0.02:
        assert (figures["savings_to_investment"] > 1.0) == (net > 0.0)
        assert (figures["adjusted_rate_of_return"] > rate) == (net > 0.0)
        assert (figures["discounted_payback_years"] is not None) == (net > 0.0)


def test_what_saves_nothing_never_pays_back() -> None:
    frame = totals(
        {"site_id": "A", "strategy": NOW, "annual_cost": 100.0},
        {"site_id": "A", "strategy": NEW, "annual_cost": 150.0},
    )
    table = prices({"strategy": NOW}, {"strategy": NEW, "investment_fixed": 1_000.0})
    figures = life_cycle(frame, sites({"site_id": "A"}), table, 0.0, 10)
    for name in ("simple_payback_years", "discounted_payback_years", "adjusted_rate_of_return"):
        assert figures[name].to_list() == [None, None], name
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
    invested = investments(frame, sites({"site_id": "A"}), table, equipment(), NO_OFFERS)
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
    invested = investments(frame, sites({"site_id": "A"}), table, equipment(), NO_OFFERS)
    assert invested["investment"].to_list() == [None, 5_000.0]


ADDED = ("holds_limit", "unreconciled", "share_of_bill")  # beside what investments and economics say


def test_working_the_figures_out_again_gives_the_same() -> None:
    frame = totals(
        {"site_id": "A", "strategy": NOW, "annual_cost": 900.0},
        {"site_id": "A", "strategy": NEW, "annual_cost": 150.0},
    )
    table = prices({"strategy": NOW}, {"strategy": NEW, "investment_fixed": 1_000.0, "life_years": 4.0})
    once = life_cycle(frame, sites({"site_id": "A"}), table, 0.03, 15)
    assert economics(once, Terms(0.03, 15)).select(once.columns).equals(once)
    again = investments(once, sites({"site_id": "A"}), table, equipment(), NO_OFFERS)
    assert again.select(*once.drop(ADDED).columns).equals(once.drop(ADDED))


def test_what_cases_are_spared_counts_where_the_setting_says_so() -> None:
    """By hand: 1,000 kWh less at the mean price of 600 / 4,000 = 0.15 are 150 a year beside 100 of the bill; over ten years
    without discount, less 1,500: 1,000 net where they count, and -500 where not. At one store the sign of the advice turned."""
    rows = totals(
        {
            "site_id": "A",
            "strategy": NOW,
            "annual_cost": 600.0,
            "electricity_kwh": 4_000.0,
            "refrigeration_saved_kwh": 200.0,
        },
        {
            "site_id": "A",
            "strategy": NEW,
            "annual_cost": 500.0,
            "electricity_kwh": 3_500.0,
            "refrigeration_saved_kwh": 1_200.0,
        },
    )
    table = prices({"strategy": NOW}, {"strategy": NEW, "investment_fixed": 1_500.0})
    for counted, net, credit in ((False, -500.0, 0.0), (True, 1_000.0, 150.0)):
        row = life_cycle(rows, sites({"site_id": "A"}), table, 0.0, 10, counted=counted).row(1, named=True)
        assert (row["case_savings"], row["case_credit"], row["cost_saved"]) == (150.0, credit, 100.0)
        assert row["net_savings"] == net
        assert row["simple_payback_years"] == pytest.approx(1_500 / (100 + credit))


def test_what_stays_beside_todays_equipment_bears_its_upkeep_and_replacement() -> None:
    """A wheel beside a machine of 1,000 and 300 a year that is due in 4 years: the machine is due whether or not the wheel is
    bought, so nothing of it is saved; a change that takes its place saves it."""
    own = {"investment": 1000.0, "upkeep_per_year": 300.0, "life_years": 10.0, "remaining_life_years": 4.0}
    names = (NOW, "ventilation_heat_recovery", NEW)
    rows = totals(*({"site_id": "A", "strategy": name, "annual_cost": 5000.0} for name in names))
    where = sites({"site_id": "A", "equipment_id": "E1"})
    table = prices(
        *(
            {"strategy": name, "investment_fixed": 4000.0, "upkeep_per_year": 100.0, "life_years": 20.0}
            for name in names
        )
    )
    found = life_cycle(rows, where, table, 0.03, 20, own | {"strategy": NOW})
    now, wheel, new = (found.filter(strategy=name).row(0, named=True) for name in names)
    assert (now["upkeep_per_year"], wheel["upkeep_per_year"], new["upkeep_per_year"]) == (300.0, 400.0, 100.0)
    assert now["replacement_pv"] > 0
    assert wheel["replacement_pv"] == now["replacement_pv"]
    assert wheel["net_savings"] == pytest.approx(-4000.0 - 100.0 * uniform_present_value(0.03, 20), abs=0.1)
    assert new["replacement_pv"] == 0
    assert new["upkeep_saved"] == 200.0
