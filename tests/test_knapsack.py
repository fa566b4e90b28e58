"""The best set within a budget: against every set there is, against an open solver, and how far it is from proven."""

import numpy as np
import pytest
from numpy.typing import NDArray

from screener.ranking import knapsack, solver

Whole = NDArray[np.int64]


def best_of_all(cost: Whole, value: Whole, budget: int) -> int:
    """Every set that can be paid is formed, site by site, and the best one taken."""
    costs = values = np.zeros(1, np.int64)
    for of_site, worth in zip(cost, value, strict=True):
        costs = np.concatenate([costs, np.add.outer(of_site, costs).ravel()])
        values = np.concatenate([values, np.add.outer(worth, values).ravel()])
        costs, values = costs[costs <= budget], values[costs <= budget]
    return int(values.max())


def is_a_set(choice: knapsack.Choice, cost: Whole, value: Whole, budget: int) -> bool:
    """Whether its options cost and are worth what it says, and can be paid."""
    site = np.nonzero(choice.option != knapsack.NOTHING)[0]
    amounts = [int(amount[site, choice.option[site]].sum()) for amount in (cost, value)]
    return amounts == [choice.cost, choice.value] and choice.cost <= budget


def portfolio(draw: np.random.Generator, sites: int, options: int = 12) -> tuple[Whole, Whole]:
    """Cents: investments with a fixed part that grow with the building, net savings of either sign."""
    area = draw.uniform(200, 8000, (sites, 1))
    cost = 2_000 + draw.uniform(2, 30, (sites, options)) * area**0.9
    value = draw.normal(0, 20, (sites, options)) * area + 0.5 * cost
    return (100 * cost).astype(np.int64), (100 * value).astype(np.int64)


@pytest.mark.parametrize("number", range(500))
def test_against_every_set_of_a_small_portfolio(number: int) -> None:
    """Up to seven sites with up to four options; few whole numbers (many ties), many, and cents of real sizes."""
    draw = np.random.default_rng(number)
    dearest = (20, 1_000, 10_000_000)[number % 3]
    shape = draw.integers(1, 8), draw.integers(1, 5)
    cost, value = draw.integers(0, dearest, shape), draw.integers(-dearest // 5, 2 * dearest, shape)
    budget = int(draw.integers(0, cost.sum() + 2))
    choice = knapsack.choose(cost, value, budget)
    assert is_a_set(choice, cost, value, budget)
    assert choice.value == choice.bound == best_of_all(cost, value, budget)


@pytest.mark.parametrize("share", [0.02, 0.3])
def test_against_an_open_solver(share: float) -> None:
    """300 sites; HiGHS proves its own bound, within a millionth."""
    pytest.importorskip("highspy")
    cost, value = portfolio(np.random.default_rng(3), 300)
    budget = int(share * cost.sum() / 12)
    choice = knapsack.choose(cost, value, budget)
    site, option = np.nonzero(value > 0)
    other = solver.solve(site, cost[site, option] / 100, value[site, option] / 100, budget / 100, [])
    assert other is not None
    assert choice.value >= value[site, option][other.taken].sum()
    assert choice.value / 100 <= other.bound * (1 + 1e-9)
    assert choice.gap == 0


@pytest.mark.parametrize("share", [0.0, 0.001, 0.1, 0.5, 2.0])
def test_a_large_portfolio_is_within_a_millionth_of_the_proven_bound(share: float) -> None:
    cost, value = portfolio(np.random.default_rng(4), 10_000)
    budget = int(share * cost.sum() / 12)
    choice = knapsack.choose(cost, value, budget)
    assert is_a_set(choice, cost, value, budget)
    assert 0 <= choice.gap <= 1e-6 * choice.value


@pytest.mark.parametrize("sites", [8, 60, 600])
def test_where_value_follows_cost_the_bound_still_holds(sites: int) -> None:
    """Hard on purpose: nothing to choose by, so the best set is the one that spends most; an odd budget, even prices."""
    draw = np.random.default_rng(sites)
    cost = 2 * draw.integers(50_000, 2_500_000, (sites, 4))
    budget = int(cost.mean() * sites * 0.3) | 1
    choice = knapsack.choose(cost, cost.copy(), budget)
    assert is_a_set(choice, cost, cost, budget)
    assert choice.value <= budget - 1 <= choice.bound
    assert choice.gap <= 0.01 * choice.value


def test_what_costs_nothing_is_always_taken() -> None:
    choice = knapsack.choose(np.array([[0, 5], [0, 0]]), np.array([[3, 4], [-1, 0]]), 0)
    assert choice.option.tolist() == [0, knapsack.NOTHING]
    assert (choice.value, choice.cost, choice.gap) == (3, 0, 0)


def test_no_sites_no_set() -> None:
    nothing = np.zeros((0, 1), np.int64)
    choice = knapsack.choose(nothing, nothing, 100)
    assert (len(choice.option), choice.value, choice.bound) == (0, 0, 0)


def test_the_same_question_has_the_same_answer() -> None:
    cost, value = portfolio(np.random.default_rng(5), 500)
    first, again = (knapsack.choose(cost, value, 10**9) for _ in range(2))
    assert np.array_equal(first.option, again.option)
    assert first.bound == again.bound
