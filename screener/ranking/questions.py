"""What can be asked of a finished run: its sites in other orders and groups, and a program within a budget.

A run folder is all that is needed; nothing is worked out again, so the engine is not even loaded.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite
from pathlib import Path
from typing import TYPE_CHECKING, Any

import polars as pl

from screener import outputs
from screener.contracts import PLACEHOLDER
from screener.errors import UsageError
from screener.exact import significant
from screener.outputs import beside
from screener.ranking import conditions, lists, own

if TYPE_CHECKING:
    from screener.ranking.programs import Program
    from screener.ranking.protection import Protected


LEAST_IS_BEST = frozenset(
    (
        *("rank", "simple_payback_years", "discounted_payback_years", "hours_above_limit", "holding_hours_above_limit"),
        *("holding_price", "assumed_share", "expected_loss"),
    )
)
MOST = 1e13  # of a budget, which is counted in whole cents, fifty years together


@dataclass(frozen=True)
class Listing:
    """Sites or groups in order, `named` the columns that were asked for, and the settings of their run."""

    rows: pl.DataFrame
    named: tuple[str, ...]
    settings: dict[str, Any]

    @property
    def placeholders(self) -> int:
        """How many sites have an investment that nobody quoted."""
        if "investment_basis" in self.rows.columns:
            return self.rows.filter(investment_basis=PLACEHOLDER).height
        return int(self.rows["sites_with_placeholders"].sum())


def rank(
    folder: Path,
    by: str = "net_savings",
    where: Sequence[str] = (),
    group_by: Sequence[str] = (),
    ascending: bool | None = None,
) -> Listing:
    """The sites of a run folder, those that meet all conditions `where`, or their groups, in the order of a column.

    `ascending` None: numbers from the greatest down, but for those of which the least is best; texts from the first up.
    Columns as in `lists.listed`.
    UsageError, with all that is wrong, where a column or condition makes no sense, the folder is no run, or one without the
    odds that are asked for.
    """
    run = outputs.open_run(folder)
    own_columns = run.input("own_columns")
    theirs = own.fields(own_columns)
    fields = lists.site_fields(theirs)
    keys = conditions.each(group_by, lambda name: conditions.column(name, fields))
    if twice := sorted({name for name in keys if keys.count(name) > 1}):
        raise UsageError(f"{', '.join(twice)}: given twice to --group-by; give each column once")
    if numbers := [name for name in keys if fields[name].kind not in conditions.OF_GROUPS and name not in theirs]:
        raise UsageError(f"{', '.join(numbers)}: groups are made by texts, not by numbers; use --where for those")
    orders = lists.group_fields(keys, fields) if keys else fields
    order = orders[conditions.column(by, orders)]
    narrowed = conditions.each(where, lambda text: conditions.condition(text, fields))
    usual = order.kind != "string" and order.name not in LEAST_IS_BEST
    descending = usual if ascending is None else not ascending
    named = (*keys, order.name, *(condition.column for condition in narrowed))
    odds = beside.odds_file(run, "odds") if lists.of_odds(named) else None
    wanted = {*theirs} & {*named} if keys else {*theirs}
    of_owner = own.wide(own_columns, wanted) if wanted else None
    files = run.file("ranking"), run.file("sites_used")
    rows = lists.listed(*files, order.name, descending, narrowed, keys, odds, of_owner)
    asked = (*keys, order.name, *(condition.column for condition in narrowed if not keys))
    return Listing(significant(rows), tuple(dict.fromkeys(asked)), run.settings)


@dataclass(frozen=True)
class Chosen:
    """A program, what it was asked to keep to, and the settings of its run."""

    program: "Program"
    budget: float
    phases: int
    settings: dict[str, Any]
    protected: "Protected | None" = None

    @property
    def figures(self) -> dict[str, Any]:
        """The program in figures: sums of its changes, what is proven of it, and its years one by one."""
        changes = self.program.changes
        sums = [pl.len().alias("sites"), pl.col("investment", "cost_saved", "net_savings").sum()]
        sums.append((pl.col("investment_basis") == PLACEHOLDER).sum().alias("sites_with_placeholders"))
        return {
            "budget": self.budget,
            "phases": self.phases,
            **significant(changes.select(sums)).row(0, named=True),
            "gap": None if self.protected else self.program.gap,
            "by_phase": significant(changes.group_by("phase").agg(sums)).sort("phase").to_dicts(),
        } | self._of_protection

    @property
    def _of_protection(self) -> dict[str, Any]:
        if (found := self.protected) is None:
            return {}
        names = ("share", "draws", "quantile", "mean", "other_quantile", "other_mean", "price")
        sites = {"other_sites": found.highest_mean.changes.height}
        return {"protected": {name: getattr(found, name) for name in names} | sites}


def choose(
    folder: Path,
    budget: float,
    max_sites: int | None = None,
    require: Sequence[str] = (),
    phases: int = 1,
    protect: float | None = None,
) -> Chosen:
    """The program of a run folder with the highest net savings within `budget` [currency], or within that for each of
    `phases` years.

    With `protect` it is the program whose quantile of that share (0.2: exceeded with 80 %) is highest over the draws of the
    run's odds, beside the one with the highest mean. `max_sites` and `require` (see `programs.requirement`) limit how many
    sites it changes. UsageError, with all that is wrong, where that makes no sense or cannot be met, where it needs a
    library that is not installed, or where the folder is no run, or one without the odds that are asked for.
    """
    from screener.ranking import programs  # arrays, which the other questions need not wait for

    if not (isfinite(budget) and budget >= 0.0):
        raise UsageError(f"a budget of {budget:g} buys nothing; give an amount of zero or more")
    if budget > MOST:
        raise UsageError(f"a budget of {budget:g} is more than any program costs; give at most {MOST:g}")
    run = outputs.open_run(folder)
    own_columns = run.input("own_columns")
    known = programs.fields(own.fields(own_columns))
    required = conditions.each(require, lambda text: programs.requirement(text, known))
    if max_sites is not None:
        required.append(programs.Requirement(f"--max-sites {max_sites}", most=max_sites))
    if protect is not None and not 0.0 < protect < 1.0:
        raise UsageError(f"--protect {protect:g} is no part of the draws; give one between 0 and 1, such as 0.2")
    drawn = None if protect is None else beside.odds_table(run, "odds_changes")
    files = run.file("strategies"), run.file("sites_used")
    changes = programs.candidates(*files, required, own.wide(own_columns, {*known}))
    if drawn is not None and protect is not None:
        from screener.ranking import protection

        found = protection.protected(
            changes, drawn, protect, lambda each: programs.choose(each, budget, required, phases)
        )
        return Chosen(found.program, budget, phases, run.settings, found)
    return Chosen(programs.choose(changes, budget, required, phases), budget, phases, run.settings)
