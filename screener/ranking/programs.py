"""A program: which sites to change to which strategy, so that net savings are highest within a budget.

The candidates are the changes that the ranking takes its best from (`sql/eligible.sql`), all of a site, not only the
best: within a budget a cheaper one may leave money for another site. A program may be spread over years: what is done
first is what saves most a year within the money there is by then.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import floor, inf
from pathlib import Path

import numpy as np
import polars as pl
from duckdb import ColumnExpression, ConstantExpression, Expression, StarExpression

from screener import contracts
from screener.contracts import Field
from screener.errors import ResultsError, UsageError
from screener.ranking import conditions, knapsack, solver, sql
from screener.ranking.conditions import Condition
from screener.ranking.sql.expressions import holds

SITE_COLUMNS = ("name", "climate_zone")
COLUMNS = (
    "site_id",
    *SITE_COLUMNS,
    "strategy",
    "investment",
    "investment_basis",
    "cost_saved",
    "upkeep_saved",
    "net_savings",
    "simple_payback_years",
)
CENTS = 100  # in which sums are exact
ROUNDING = 1e-6  # of a cent: a budget of 0.29 is 29 of them
FORM = re.compile(r"\s*(?P<what>.*?)\s*(?P<bound><=|>=)\s*(?P<number>\d{1,9})\s*", re.DOTALL)
HOW = 'write it like "building_type=school>=3", or "climate_zone<=5" for every climate zone'


@dataclass(frozen=True)
class Requirement:
    """At least or at most so many sites: of those that meet a condition, or of each group by a column, or of all."""

    text: str
    least: int | None = None
    most: int | None = None
    condition: Condition | None = None
    each: str | None = None


@dataclass(frozen=True)
class Program:
    """`changes`: one row per site that is changed, COLUMNS and `phase` (1 is the first year), in the order of phases and
    net savings. `bound`: what no program within the budget could save more than [currency, present value]."""

    changes: pl.DataFrame
    bound: float

    @property
    def gap(self) -> float:
        """How much more an unknown program might save at most; zero where this one is proven the best."""
        return round(self.bound - float(self.changes["net_savings"].sum()), 2)


def fields(own: Mapping[str, Field] | None = None) -> dict[str, Field]:
    """What requirements can name: columns of the strategy results, then of the sites table, then the owner's `own`."""
    known = {field.name: field for name in ("sites", "strategy_results") for field in contracts.load(name).fields}
    return {**(own or {}), **known}


def requirement(text: str, known: Mapping[str, Field] | None = None) -> Requirement:
    """What a person typed: a condition or a column, at least or at most, and how many sites; `known`: columns it may name,
    usually `fields`. UsageError where it says none."""
    parts = FORM.fullmatch(text)
    if parts is None:
        raise UsageError(f'"{text}" is no requirement; {HOW}')
    what, known = parts["what"], known or fields()
    number = int(parts["number"])
    least, most = (number, None) if parts["bound"] == ">=" else (None, number)
    if not re.fullmatch(r"\w+", what):
        return Requirement(text, least, most, condition=conditions.condition(what, known))
    each = known[conditions.column(what, known)]
    if each.kind not in conditions.OF_GROUPS:
        raise UsageError(f'"{text}": {each.name} is a number and makes no groups; {HOW}')
    return Requirement(text, least, most, each=each.name)


def _counted(requirement: Requirement) -> Expression:
    """Whether a change counts, or the group it counts in."""
    if requirement.condition is not None:
        return holds(requirement.condition)
    return ConstantExpression(True) if requirement.each is None else ColumnExpression(requirement.each)


def candidates(
    strategies: Path, sites: Path, requirements: Sequence[Requirement] = (), own: pl.DataFrame | None = None
) -> pl.DataFrame:
    """The changes a program can be made of: one row per site_id and strategy, sorted, COLUMNS.

    `strategies` and `sites` are the files of a run's tables strategies and sites_used, `own` the owner's columns by site.
    For each requirement a column `requirement.<n>`, whether the change counts, or the group it counts in.
    """
    named = {r.condition.column if r.condition else r.each for r in requirements}
    of_owner = pl.DataFrame(schema={"site_id": pl.String}) if own is None else own
    of_results = {*contracts.load("strategy_results").columns, *SITE_COLUMNS, *of_owner.columns}
    of_site = [*SITE_COLUMNS, *sorted(name for name in named if name and name not in of_results)]
    counted = [_counted(r).alias(f"requirement.{number}") for number, r in enumerate(requirements)]
    with sql.database({"strategies": strategies, "sites": sites, "own": of_owner}) as connection:
        changes = sql.ask(connection, "eligible")
        where = (
            connection.table("sites").select("site_id", *of_site).join(connection.table("own"), "site_id", how="left")
        )
        changes = changes.join(where, "site_id").select(StarExpression(), *counted)
        wanted = [*COLUMNS, *(f"requirement.{number}" for number in range(len(requirements)))]
        return pl.DataFrame(changes.select(*map(ColumnExpression, wanted))).sort("site_id", "strategy")


def choose(changes: pl.DataFrame, budget: float, requirements: Sequence[Requirement] = (), phases: int = 1) -> Program:
    """The program with the highest net savings within `budget` [currency] for each of `phases` years.

    `changes` as `candidates` gives them. What a year leaves of its budget is spent later. UsageError where requirements
    cannot be met, or where they need a solver library that is not installed.
    """
    yearly = floor(budget * CENTS + ROUNDING)
    within = yearly * phases
    taken, bound = (
        _within_limits(changes, within, requirements) if requirements else _best(changes, "net_savings", within)
    )
    chosen = changes.filter(taken).select(COLUMNS)
    if _cents(chosen["investment"]).sum() > within:
        raise ResultsError("the program costs more than its budget; this is a bug")
    phased = _in_phases(chosen, yearly, phases)
    order = ["phase", "net_savings", "site_id"]
    return Program(phased.sort(order, descending=[False, True, False]), bound / CENTS)


def _best(changes: pl.DataFrame, value: str, within: int) -> tuple[pl.Series, float]:
    """Which changes bring most of `value` together for `within`, one a site, and what no choice can exceed [cents]."""
    place = changes.select(site=pl.col("site_id").rle_id(), option=pl.int_range(pl.len()).over("site_id"))
    site, option = place.cast(pl.Int64).to_numpy().T
    cost, worth = np.zeros((2, site.max(initial=-1) + 1, option.max(initial=0) + 1), np.int64)
    cost[site, option], worth[site, option] = _cents(changes["investment"]), _cents(changes[value])
    choice = knapsack.choose(cost, worth, within)
    return pl.Series(choice.option[site] == option), choice.bound


def _within_limits(changes: pl.DataFrame, within: int, requirements: Sequence[Requirement]) -> tuple[pl.Series, float]:
    """As `_best`, of net savings and with requirements."""
    limits = [limit for number, r in enumerate(requirements) for limit in _limits(changes[f"requirement.{number}"], r)]
    solution = solver.solve(
        changes["site_id"].rle_id().to_numpy(),
        changes["investment"].to_numpy(),
        changes["net_savings"].to_numpy(),
        within / CENTS,
        limits,
    )
    if solution is None:
        raise UsageError(_unmet(changes, requirements))
    return pl.Series(solution.taken), solution.bound * CENTS


def _limits(counted: pl.Series, requirement: Requirement) -> list[solver.Limit]:
    least = -inf if requirement.least is None else requirement.least
    most = inf if requirement.most is None else requirement.most
    kinds = [True] if requirement.each is None else counted.unique().to_list()
    return [solver.Limit(counted.eq_missing(kind).to_numpy(), least, most) for kind in kinds]


def _unmet(changes: pl.DataFrame, requirements: Sequence[Requirement]) -> str:
    """What stands in the way, as far as that can be told."""
    lines = []
    for number, requirement in enumerate(requirements):
        sites = changes.filter(pl.col(f"requirement.{number}"))["site_id"].n_unique() if requirement.condition else inf
        if requirement.least is not None and sites < requirement.least:
            lines.append(
                f'"{requirement.text}": only {sites} sites have a change that saves money and is counted there'
            )
    return "\n".join(lines) or "no program meets all requirements within the budget; ask for less or raise the budget"


def _in_phases(chosen: pl.DataFrame, budget: int, phases: int) -> pl.DataFrame:
    """The changes with `phase`: what saves most a year comes first, as the budgets of the years so far allow."""
    rest, done, spent = chosen.with_columns(yearly=pl.col("cost_saved") + pl.col("upkeep_saved")), [], 0
    for phase in range(1, phases):
        first, _ = _best(rest, "yearly", phase * budget - spent)
        done.append(rest.filter(first).with_columns(phase=phase))
        spent += int(_cents(done[-1]["investment"]).sum())
        rest = rest.filter(~first)
    return pl.concat([*done, rest.with_columns(phase=phases)]).drop("yearly")


def _cents(amount: pl.Series) -> pl.Series:
    return (amount * CENTS).round().cast(pl.Int64)
