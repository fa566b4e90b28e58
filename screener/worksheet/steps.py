"""A calculation as a list of named steps, the way an engineer's worksheet is read from top to bottom.

A step has a name, a Polars expression over columns and earlier steps, and a sentence saying why. The list is turned into
a staged lazy query: steps that need nothing of one another share one `with_columns`. Naming every shared intermediate
keeps the query flat (one deeply nested expression is far slower), and it is what lets an hour be explained from the very
plan that computed it.
"""

from dataclasses import dataclass

import polars as pl


@dataclass(frozen=True)
class Step:
    """One named line of a worksheet; the unit is the name's suffix (`_w`, `_kg_s`, `_c`, `_j_kg` ...)."""

    name: str
    expr: pl.Expr
    why: str


@dataclass(frozen=True)
class State:
    """A state of air worth showing: dry-bulb [degC] and humidity ratio [kg/kg]."""

    name: str
    dry_bulb_c: pl.Expr
    humidity_ratio: pl.Expr


@dataclass(frozen=True)
class Process:
    """What a machine does to a flow of air while it runs: heat taken [W], water taken [kg/s], power drawn [W].

    `entering` and `leaving` name states; `law` says in words by which formula, from where.
    """

    name: str
    entering: str
    leaving: str
    flow_kg_s: pl.Expr
    heat_w: pl.Expr
    water_kg_s: pl.Expr
    power_w: pl.Expr
    law: str


class Worksheet:
    """Collects named steps; `section` gives a view whose names carry a prefix, so machines cannot collide.

    `states` and `processes` are what to show of an hour beside its steps; they cost the calculation nothing.
    """

    def __init__(self) -> None:
        self.steps: list[Step] = []
        self.states: dict[str, State] = {}
        self.processes: dict[str, Process] = {}
        self._prefix = ""
        self._level: dict[str, int] = {}

    def section(self, name: str) -> "Worksheet":
        """The same worksheet with every further name prefixed by `name.`."""
        view = Worksheet()
        view.steps, view._level = self.steps, self._level
        view.states, view.processes = self.states, self.processes
        view._prefix = f"{self._prefix}{name}."
        return view

    def let(self, name: str, expr: pl.Expr, why: str = "") -> pl.Expr:
        """Add a step and return it as a column to compute with.

        The same step may be added again, by strategies that share it, and counts once; a second meaning for a name
        is a ValueError.
        """
        full = self._prefix + name
        if full in self._level:
            if not next(step for step in self.steps if step.name == full).expr.meta.eq(expr):
                raise ValueError(f"the worksheet already has another step named {full!r}")
            return pl.col(full)
        roots = expr.meta.root_names()
        self._level[full] = 1 + max((self._level.get(root, 0) for root in roots), default=0)
        self.steps.append(Step(full, expr, why))
        return pl.col(full)

    def show_state(self, name: str, dry_bulb_c: pl.Expr, humidity_ratio: pl.Expr) -> str:
        """Note a state of air to show; its name carries no prefix."""
        self.states[name] = State(name, dry_bulb_c, humidity_ratio)
        return name

    def show(self, process: Process) -> None:
        """Note a process to show."""
        self.processes[process.name] = process

    def names(self) -> list[str]:
        """Full names of all steps."""
        return list(self._level)

    def inputs(self) -> set[str]:
        """Names of the columns the steps need of the frame."""
        return {root for step in self.steps for root in step.expr.meta.root_names()} - set(self._level)

    def apply(self, frame: pl.LazyFrame) -> pl.LazyFrame:
        """The frame with every step as a column, stage by stage."""
        for level in sorted({*self._level.values()}):
            frame = frame.with_columns(
                step.expr.alias(step.name) for step in self.steps if self._level[step.name] == level
            )
        return frame
