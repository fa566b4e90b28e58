"""The ledger times the tariffs, against cases worked by hand and against exact arithmetic."""

from fractions import Fraction

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from screener.errors import ContractError
from screener.price import bills, price, strategies_of, unbilled
from tests.money_cases import ledger, rates, sites, totals

STRATEGIES = ("overcool_electric_reheat", "overcool_fuel_reheat")
# Two months, three rows, two strategies; kWh, fuel kWh and peak kW of each.
LEDGER = ledger(
    STRATEGIES,
    ("A", 1, "working", 12, 31.0, 100.0, 50.0, 5.0, 80.0, 90.0, 4.0),
    ("A", 1, "other", 3, 10.0, 40.0, 10.0, 7.0, 20.0, 40.0, 3.0),
    ("A", 2, "working", 12, 28.0, 60.0, 0.0, 4.0, 50.0, 20.0, 2.5),
)
TARIFFS = pl.DataFrame(
    {
        "tariff_id": ["T1", "T2"],
        "electricity_price_per_kwh": [0.10, 0.25],
        "demand_price_per_kw": [8.0, None],
        "fuel_price_per_kwh": [0.04, None],
        "electricity_kg_co2_per_kwh": [0.4, 0.4],
        "fuel_kg_co2_per_kwh": [0.2, 0.2],
    }
)
RATES = rates(TARIFFS)


def test_a_bill_worked_by_hand() -> None:
    """Electric: 200 kWh at 0.10; highest hours 7 and 4 kW at 8; 60 kWh of fuel at 0.04. Fuel: 150; 4 and 2.5; 150."""
    costs = price(LEDGER, RATES, sites({"site_id": "A"}))
    by_hand = pl.DataFrame(
        {
            "site_id": ["A", "A"],
            "strategy": list(STRATEGIES),
            "energy_cost": [20.00, 15.00],
            "demand_cost": [88.00, 52.00],
            "fuel_cost": [2.40, 6.00],
            "annual_cost": [110.40, 73.00],
            "emissions_kg": [92.0, 90.0],
            "billed_electricity_kwh": [200.0, 150.0],
            "billed_fuel_kwh": [60.0, 150.0],
        }
    )
    assert costs.equals(by_hand)


def test_a_month_is_charged_its_highest_hour_whatever_the_day() -> None:
    """By hand: January's highest hour falls on a day off."""
    months = bills(LEDGER, RATES, sites({"site_id": "A"})).filter(strategy=STRATEGIES[0]).sort("month")
    assert months["peak_kw"].to_list() == [7.0, 4.0]
    assert months["demand_cost"].to_list() == [56.0, 32.0]
    assert months["energy_cost"].to_list() == [14.0, 6.0]


def test_no_demand_price_is_no_demand_charge_and_fuel_without_a_price_has_no_known_cost() -> None:
    costs = price(LEDGER, RATES, sites({"site_id": "A", "tariff_id": "T2"}))
    assert costs["demand_cost"].to_list() == [0.0, 0.0]
    assert costs["energy_cost"].to_list() == [50.0, 37.5]
    assert costs["fuel_cost"].to_list() == [None, None]
    assert costs["annual_cost"].to_list() == [None, None]


def test_where_no_fuel_is_burnt_no_fuel_price_is_needed() -> None:
    electric = ledger(["a"], ("A", 7, "working", 12, 31.0, 10.0, 0.0, 1.0))
    costs = price(electric, RATES, sites({"site_id": "A", "tariff_id": "T2"}))
    assert costs["annual_cost"].to_list() == [2.5]


def test_a_strategy_that_is_not_there_costs_nothing_known() -> None:
    """A sum over nulls is zero; a strategy that a site cannot have must not look free."""
    rows = [("A", month, "working", 12, 31.0, 10.0, 0.0, 1.0, None, None, None) for month in range(1, 13)]
    costs = price(ledger(["a", "b"], *rows), RATES, sites({"site_id": "A"}))
    absent = costs.filter(strategy="b").drop("site_id", "strategy").row(0)
    assert costs["annual_cost"][0] == pytest.approx(12 * (1.00 + 8.00))
    assert all(amount is None for amount in absent)


def test_each_site_pays_by_its_own_tariff() -> None:
    rows = [(site, 5, "working", 9, 31.0, 100.0, 0.0, 2.0) for site in ("A", "B")]
    costs = price(ledger(["a"], *rows), RATES, sites({"site_id": "A"}, {"site_id": "B", "tariff_id": "T2"}))
    assert costs["annual_cost"].to_list() == [26.0, 25.0]


def test_a_missing_tariff_is_named() -> None:
    with pytest.raises(ContractError, match="site B has no tariff of this name"):
        price(LEDGER, RATES, sites({"site_id": "A"}, {"site_id": "B", "tariff_id": "T9"}))


def test_the_portfolios_emission_factors_stand_in_where_a_tariff_has_none() -> None:
    bare = TARIFFS.drop("fuel_kg_co2_per_kwh").with_columns(
        electricity_kg_co2_per_kwh=pl.Series([None, 0.5], dtype=pl.Float64)
    )
    months = rates(bare, electricity_kg_co2_per_kwh=0.38, fuel_kg_co2_per_kwh=0.181).months.filter(month=7)
    assert months["electricity_kg_co2_per_kwh"].to_list() == [0.38, 0.5]
    assert months["fuel_kg_co2_per_kwh"].to_list() == [0.181, 0.181]


def test_energy_that_no_price_was_found_for_is_noticed() -> None:
    """No tariff knows an hour 24."""
    wrong = ledger(["a"], ("A", 1, "working", 12, 31.0, 10.0, 5.0, 1.0), ("A", 1, "working", 24, 31.0, 10.0, 5.0, 1.0))
    costs = price(wrong, RATES, sites({"site_id": "A"}))
    year = totals({"site_id": "A", "strategy": "a", "electricity_kwh": 20.0, "fuel_kwh": 10.0})
    assert unbilled(year, costs)["site_id"].to_list() == ["A"]
    assert unbilled(year.with_columns(electricity_kwh=10.0, fuel_kwh=5.0), costs).is_empty()


def test_hours_without_a_price_are_never_billed_as_free() -> None:
    with pytest.raises(ValueError, match="tariff T3 has hours without a price of electricity"):
        rates(pl.DataFrame({"tariff_id": ["T3"]}))


def test_every_time_of_a_year_has_its_class() -> None:
    times = RATES.times
    assert times.select("tariff_id", "month", "day_kind", "hour").n_unique() == times.height == 2 * 12 * 2 * 24
    assert times["class"].unique().to_list() == [0]  # no windows: the hours of a month are billed alike


def test_the_strategies_are_those_with_columns() -> None:
    assert strategies_of(LEDGER) == list(STRATEGIES)


cells = st.integers(0, 2**20).map(lambda n: n / 64)  # kWh that 32-bit floats hold exactly
times = st.tuples(st.integers(1, 12), st.sampled_from(["working", "other"]), st.integers(0, 23))


@settings(max_examples=60, deadline=None)
@given(
    rows=st.dictionaries(times, st.tuples(cells, cells, cells), min_size=1, max_size=40),
    rate=st.tuples(*[st.integers(0, 9999).map(lambda n: n / 10_000)] * 2, st.integers(0, 5000).map(lambda n: n / 100)),
    random=st.randoms(),
)
def test_any_ledger_is_billed_as_exact_arithmetic_bills_it(
    rows: dict[tuple[int, str, int], tuple[float, float, float]], rate: tuple[float, float, float], random: object
) -> None:
    """Against fractions; within half a cent and the rounding of the parts, and to the bit whatever the rows' order."""
    per_kwh, per_fuel_kwh, per_kw = rate
    tariffs = pl.DataFrame(
        {
            "tariff_id": ["T1"],
            "electricity_price_per_kwh": [per_kwh],
            "demand_price_per_kw": [per_kw],
            "fuel_price_per_kwh": [per_fuel_kwh],
        }
    )
    lines = [("A", *time, 1.0, *energy) for time, energy in rows.items()]
    costs = price(ledger(["a"], *lines), rates(tariffs), sites({"site_id": "A"}))
    random.shuffle(lines)  # type: ignore[attr-defined]
    assert price(ledger(["a"], *lines), rates(tariffs), sites({"site_id": "A"})).equals(costs)

    peaks: dict[int, float] = {}
    for (month, _, _), (_, _, peak) in rows.items():
        peaks[month] = max(peak, peaks.get(month, 0.0))
    exact = {
        "energy_cost": Fraction(per_kwh) * sum(Fraction(kwh) for kwh, _, _ in rows.values()),
        "fuel_cost": Fraction(per_fuel_kwh) * sum(Fraction(fuel) for _, fuel, _ in rows.values()),
        "demand_cost": Fraction(per_kw) * sum(Fraction(peak) for peak in peaks.values()),
    }
    for part, amount in exact.items():
        assert costs[part][0] == pytest.approx(float(amount), abs=0.0051)
    assert costs["annual_cost"][0] == pytest.approx(sum(costs[part][0] for part in exact), abs=1e-6)
    assert costs["emissions_kg"][0] == (0.0 if not any(e or f for e, f, _ in rows.values()) else None)
