"""A calculation as a list of named steps, the way an engineer's worksheet is read from top to bottom.

A step has a name, a formula over columns and earlier steps, and a sentence saying why. The list is turned into
a staged lazy query: steps that need nothing of one another share one `with_columns`. Naming every shared intermediate
keeps the query flat (one deeply nested expression is far slower), and it is what lets an hour be explained from the very
plan that computed it.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Any

import polars as pl

from screener.errors import UnknownNameError
from screener.formula import Formula, Number, Value, col, literal, staged


@dataclass(frozen=True)
class Step:
    """One named line of a worksheet; the unit is the name's suffix (`_w`, `_kg_s`, `_c`, `_j_kg` ...)."""

    name: str
    formula: Formula
    why: str


@dataclass(frozen=True)
class State:
    """A state of air worth showing: dry-bulb [degC] and humidity ratio [kg/kg]."""

    name: str
    dry_bulb_c: Number
    humidity_ratio: Number


@dataclass(frozen=True)
class Process:
    """What a machine does to a flow of air while it runs: heat taken [W], water taken [kg/s], power drawn [W].

    `entering` and `leaving` name states; `law` says in words by which formula, from where.
    """

    name: str
    entering: str
    leaving: str
    flow_kg_s: Number
    heat_w: Number
    water_kg_s: Number
    power_w: Number
    law: str


class Worksheet:
    """Collects named steps; `section` gives a view whose names carry a prefix, so machines cannot collide.

    `states` and `processes` are what to show of an hour beside its steps; they cost the calculation nothing.
    """

    def __init__(self) -> None:
        self.steps: dict[str, Step] = {}
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

    def let(self, name: str, formula: Value, why: str = "") -> Formula:
        """Add a step and return it as a column to compute with.

        The same step may be added again, by strategies that share it, and counts once; a second meaning for a name
        is a ValueError.
        """
        full, formula = self._prefix + name, literal(formula)
        if full in self.steps:
            if self.steps[full].formula is not formula:
                raise ValueError(f"the worksheet already has another step named {full!r}")
            return col(full)
        self._level[full] = 1 + max((self._level.get(read, 0) for read in formula.columns()), default=0)
        self.steps[full] = Step(full, formula, why)
        return col(full)

    def show_state(self, name: str, dry_bulb_c: Number, humidity_ratio: Number) -> str:
        """Note a state of air to show; its name carries no prefix."""
        self.states[name] = State(name, dry_bulb_c, humidity_ratio)
        return name

    def show(self, process: Process) -> None:
        """Note a process to show."""
        self.processes[process.name] = process

    def names(self) -> list[str]:
        """Full names of all steps."""
        return list(self.steps)

    def inputs(self) -> set[str]:
        """Names of the columns the steps need of the frame."""
        return {read for step in self.steps.values() for read in step.formula.columns()} - set(self.steps)

    def check_reads(self, known: Iterable[str]) -> None:
        """UnknownNameError, naming the step, for one that reads neither an earlier step nor a column that is `known`."""
        there = {*known}
        for step in self.steps.values():
            if lacking := sorted(step.formula.columns() - there):
                close = get_close_matches(lacking[0], there, n=1, cutoff=0.8)
                hint = f"did it mean {close[0]}?" if close else "mend its file"
                message = f"the step {step.name} reads {lacking[0]}, which nothing works out before it; {hint}"
                raise UnknownNameError(lacking[0], message)
            there.add(step.name)

    def of_one(self, **columns: float) -> dict[str, Any]:
        """All steps worked out for one row, whose other columns are given."""
        row = pl.LazyFrame({name: [float(value)] for name, value in columns.items()} or {"nothing": [0.0]})
        return self.apply(row).collect().row(0, named=True)

    def apply(self, frame: pl.LazyFrame) -> pl.LazyFrame:
        """The frame with every step as a column, stage by stage."""
        self.check_reads(frame.collect_schema().names())
        for level in sorted({*self._level.values()}):
            steps = {name: step.formula for name, step in self.steps.items() if self._level[name] == level}
            *shared, own = staged(steps)
            for stage in shared:
                frame = frame.with_columns(**stage)
            frame = frame.with_columns(**own)
            if shared:
                frame = frame.drop(name for stage in shared for name in stage)
        return frame
