"""The best set within a budget, at most one option a site: the multiple-choice knapsack, with a proven bound.

Sinha and Zoltners, "The multiple-choice knapsack problem", Operations Research 27 (1979): where options may be taken in
parts, the best set follows from going through the sites' *steps*, from an option to the next better one, by value per
cost until the budget is spent. The value per cost of the step at which it runs out is the *price* of money. No set can
be worth more than

    bound = price * budget + sum over sites of max(value - price * cost)

and every choice that departs from the maximum of its site loses the difference, whatever else is chosen. That is used
twice: money that is left over buys the departures that lose least, and then all sets that could still be better are
searched, departing first where it costs least (after Pisinger, "A minimal algorithm for the multiple-choice knapsack
problem", European Journal of Operational Research 83, 1995). The search ends when nothing better is possible; where it
has to drop sets to stay quick, the best they might have been stays in the bound.

Amounts are whole numbers, such as cents, so that sums are exact.
"""

from collections.abc import Sequence
from dataclasses import dataclass, fields
from math import floor

import numpy as np
from numpy.typing import NDArray

Whole = NDArray[np.int64]
Real = NDArray[np.float64]
NOTHING = -1
MOST_SETS = 4096  # kept from a site to the next in the search
MOST_SITES = 150  # searched; 10 000 sites of 12 options took 6 to 70 in trials until nothing better was possible
ROUNDING = 0.01  # of a whole number: sums of floats are better than that


@dataclass(frozen=True)
class Choice:
    """`option` per site, NOTHING for none; what they are worth and cost together, and what no set can exceed."""

    option: Whole
    value: int
    cost: int
    bound: int

    @property
    def gap(self) -> int:
        """How much better an unknown set might be at most; zero where this one is proven the best."""
        return self.bound - self.value


def choose(cost: Whole, value: Whole, budget: int) -> Choice:
    """The options worth most together that cost at most `budget`.

    `cost` (0 or more) and `value` have a row per site and a column per option; a site with fewer options has a value of
    zero in the rest.
    """
    sites, budget = len(cost), min(budget, int(cost.sum()))
    cost, value = (np.hstack([np.zeros((sites, 1), np.int64), amount]) for amount in (cost, value))
    dear = (cost > budget) | (value <= 0)
    dear[:, 0] = False
    cost, value = np.where(dear, budget + 1, cost), np.where(dear, 0, value)
    option, price = _in_steps(cost, value, budget)
    problem = _Problem(cost, value, budget, option, price)
    best, unseen = problem.search(problem.filled())
    worth, spent = problem.total(value, best), problem.total(cost, best)
    return Choice(best - 1, worth, spent, max(worth, floor(unseen + ROUNDING)) if unseen > worth else worth)


def _in_steps(cost: Whole, value: Whole, budget: int) -> tuple[Whole, float]:
    """Options after the steps that fit into the budget, and the value per cost of the first one that does not."""
    site = np.arange(len(cost))
    option = np.zeros(len(cost), np.int64)
    steps: list[tuple[Whole, Whole, Whole, Real]] = []
    for _ in range(cost.shape[1] - 1):
        dearer = cost - cost[site, option][:, None]
        better = value - value[site, option][:, None]
        with np.errstate(divide="ignore", invalid="ignore"):
            slope = np.where(better > 0, np.where(dearer > 0, better / dearer, np.inf), 0.0)
        steepest = slope.max(axis=1, initial=0.0)
        to = np.where(slope == steepest[:, None], better, -1).argmax(axis=1)  # the longest of equally steep ones
        moved = steepest > 0.0
        steps.append((site[moved], to[moved], dearer[site, to][moved], steepest[moved]))
        option = np.where(moved, to, option)
    sites, options, costs, slopes = (np.concatenate(part) for part in zip(*steps, strict=True))
    order = np.argsort(-slopes, kind="stable")  # steps of a site stay in their order: they get less steep
    fits = np.cumsum(costs[order]) <= budget
    taken = order[: len(order) if fits.all() else int(fits.argmin())]
    option = np.zeros(len(cost), np.int64)
    option[sites[taken]] = options[taken]  # of several steps of a site the last one counts
    return option, 0.0 if fits.all() else float(slopes[order[len(taken)]])


@dataclass(frozen=True)
class _Problem:
    """Costs and values with an option 0 that is nothing; `base` has the options that are best at `price`."""

    cost: Whole
    value: Whole
    budget: int
    base: Whole
    price: float

    def total(self, amount: Whole, option: Whole) -> int:
        """Sum of an amount over the sites' options."""
        return int(amount[np.arange(len(option)), option].sum())

    @property
    def bound(self) -> float:
        """What no set can exceed."""
        left = self.budget - self.total(self.cost, self.base)
        return self.total(self.value, self.base) + self.price * left

    @property
    def loss(self) -> Real:
        """What each option loses against the best of its site at `price`."""
        worth = self.value - self.price * self.cost
        lost: Real = np.maximum(worth[np.arange(len(worth)), self.base][:, None] - worth, 0.0)
        return lost

    def filled(self) -> Whole:
        """The base, and with the money it leaves the options that lose least."""
        option, left, loss = self.base.copy(), self.budget - self.total(self.cost, self.base), self.loss
        dearer = self.cost - self.cost[np.arange(len(option)), option][:, None]
        site, to = np.nonzero((dearer > 0) & (dearer <= left) & (loss < self.price * dearer))
        touched = set()
        for i in np.argsort(loss[site, to], kind="stable"):
            if dearer[site[i], to[i]] <= left and site[i] not in touched:
                touched.add(site[i])
                option[site[i]] = to[i]
                left -= dearer[site[i], to[i]]
        return option

    def search(self, option: Whole) -> tuple[Whole, float]:
        """The best set there is, or one as good as the search finds, beginning with `option`; and what those that it
        dropped unseen might be worth at most."""
        loss, most, best = self.loss, self.bound, self.total(self.value, option)
        near = loss < most - best
        near[np.arange(len(near)), self.base] = False
        least = np.where(near, loss, np.inf).min(axis=1)
        sites = np.argsort(least, kind="stable")[: np.isfinite(least).sum()]
        sets = _Sets.of_one(self.total(self.cost, self.base), self.total(self.value, self.base))
        trail, unseen = [sets], -np.inf
        for site, following in zip(sites, [*least[sites], np.inf][1:], strict=True):
            if least[site] >= most - best - 1 + ROUNDING:
                break
            options = np.append(np.nonzero(near[site])[0], self.base[site])
            sets = sets.extended(options, self.cost[site], self.value[site], loss[site], int(self.base[site]))
            worth = np.where(sets.cost <= self.budget, sets.value, -1)
            if worth.max() > best:
                best, option = int(worth.max()), self._followed([*trail, sets], sites, int(worth.argmax()))
            # a set stays as it is, and has been seen, or it loses at least as much as the next departure does
            sets, lost = sets.kept(most - following - best - 1 + ROUNDING)
            unseen = max(unseen, most - following - lost)
            trail.append(sets)
            if not len(sets.cost) or len(trail) > MOST_SITES:
                unseen = max(unseen, most - following - sets.loss.min(initial=np.inf))
                break
        return option, unseen

    def _followed(self, trail: Sequence["_Sets"], sites: Whole, index: int) -> Whole:
        """The options of a set, back from its place in the last of the `trail`."""
        option = self.base.copy()
        for sets, site in zip(reversed(trail[1:]), reversed(sites[: len(trail) - 1]), strict=True):
            option[site] = sets.option[index]
            index = int(sets.parent[index])
        return option


@dataclass(frozen=True)
class _Sets:
    """Sets that differ in the sites looked at so far: cost and value in all, loss, last option and where it came from."""

    cost: Whole
    value: Whole
    loss: Real
    option: Whole
    parent: Whole

    @classmethod
    def of_one(cls, cost: int, value: int) -> "_Sets":
        """The base alone."""
        return cls(np.array([cost]), np.array([value]), np.zeros(1), np.array([NOTHING]), np.array([NOTHING]))

    def extended(self, options: Whole, cost: Whole, value: Whole, loss: Real, base: int) -> "_Sets":
        """Every set with each of the options of a further site, whose amounts are given."""
        return _Sets(
            np.add.outer(cost[options] - cost[base], self.cost).ravel(),
            np.add.outer(value[options] - value[base], self.value).ravel(),
            np.add.outer(loss[options], self.loss).ravel(),
            np.repeat(options, len(self.cost)),
            np.tile(np.arange(len(self.cost)), len(options)),
        )

    def kept(self, most_loss: float) -> tuple["_Sets", float]:
        """Those that lose less and that no other beats in both cost and value, MOST_SETS at most; and the least that
        one of the others beyond that number loses."""
        here = np.nonzero(self.loss < most_loss)[0]
        here = here[np.lexsort((-self.value[here], self.cost[here]))]
        value = self.value[here]
        before = np.maximum.accumulate(np.append(np.iinfo(np.int64).min, value[:-1]))
        here = here[value > before] if len(here) else here
        lost = np.inf
        if len(here) > MOST_SETS:
            ranked = here[np.argsort(self.loss[here], kind="stable")]
            here, lost = ranked[:MOST_SETS], float(self.loss[ranked[MOST_SETS]])
        return _Sets(*(getattr(self, field.name)[here] for field in fields(self))), lost
