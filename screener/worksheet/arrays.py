"""Worksheets of an hour and the sums over their hours in arrays of sites: where no machine code can be made.

The same figures as `compiled`, to rounding, many times slower.
"""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import polars as pl

from screener.formula import CHOICE, COLUMN, LITERAL
from screener.worksheet.graph import Graph, Node
from screener.worksheet.hours import (
    BEGINNINGS,
    Finish,
    Hours,
    Numbers,
    Part,
    Sums,
    alike,
    check_filled,
    side_by_side,
    sums_of,
)

OPERATIONS: Mapping[str, Callable[..., Any]] = {
    "add": np.add,
    "subtract": np.subtract,
    "multiply": np.multiply,
    "divide": np.divide,
    "negate": np.negative,
    "above": np.greater,
    "at least": np.greater_equal,
    "below": np.less,
    "at most": np.less_equal,
    "equal": np.equal,
    "larger": np.maximum,
    "smaller": np.minimum,
    "and": np.logical_and,
    "or": np.logical_or,
    "not": np.logical_not,
    "exp": np.exp,
    "log": np.log,
    "sqrt": np.sqrt,
    "floor": np.floor,
    CHOICE: np.where,
}


@dataclass(frozen=True)
class ArraysYear:
    """A year of a site in its parts, as `compiled.CompiledYear` has it."""

    parts: Mapping[str, Part]
    hour_columns: Sequence[str]
    of_site: Mapping[str, str]

    def run(
        self,
        sites: pl.DataFrame,
        key: str,
        years: Mapping[Any, Hours],
        slots: int,
        finish: Finish,
        chosen: Collection[str] | None = None,
    ) -> dict[str, Sums]:
        """Work out the year of each site, whose hours are those of the place that its column `key` names, by part: those
        `chosen`, or all."""
        places = [years[key] for key in sites[key].to_list()]
        hours_of = side_by_side(places, sites, self.of_site)
        groups = alike(places)
        order = np.argsort(np.concatenate(groups)) if groups else np.empty(0, np.int64)
        found = {}
        for name, part in self.parts.items():
            if chosen is not None and name not in chosen:
                continue
            code = _Code(part, [*self.hour_columns, *self.of_site])
            check_filled(sites, code.site_columns)
            terms = {column: sites[column].cast(pl.Float64).to_numpy() for column in code.site_columns}
            blocks = []
            for group in groups:
                own = {column: values[group] for column, values in terms.items()}
                by_slot, year, kept = code.work_out(own, hours_of(group), places[group[0]].slots, slots)
                blocks.append((by_slot, year, np.stack([finish(kept[:, :, site]) for site in range(len(group))])))
            found[name] = sums_of(part.tallies, blocks, order)
        return found


@dataclass(frozen=True)
class _Code:
    part: Part
    hour_columns: Sequence[str]

    @cached_property
    def graph(self) -> Graph:
        return Graph(*self.part.sheets)

    @cached_property
    def wanted(self) -> tuple[list[int], ...]:
        """Indices of the tallies by slot and over the year, of what is kept and of what is carried on."""
        read, part = self.graph.read, self.part
        tallies = ([read(tally.value) for tally in group] for group in (part.tallies.slot, part.tallies.year))
        return (
            *tallies,
            [read(formula) for formula in part.kept],
            [read(formula) for formula in part.carried.values()],
        )

    @cached_property
    def needed(self) -> set[int]:
        first = [self.graph.read_column(name) for name in self.part.first.values()]
        return self.graph.needed([index for group in self.wanted for index in group] + first)

    @cached_property
    def varying(self) -> set[int]:
        return self.graph.depending((*self.hour_columns, *self.part.carried))

    @property
    def site_columns(self) -> list[str]:
        nodes = (self.graph.nodes[index] for index in sorted(self.needed - self.varying))
        return [node.name for node in nodes if node.operation == COLUMN]

    def work_out(
        self, site: Mapping[str, Numbers], hours: Numbers, at_slots: Any, slots: int
    ) -> tuple[Numbers, Numbers, Numbers]:
        """Sums by slot and of the year and what is kept, with the sites last. `hours` [column, hour, site]."""
        _, count, width = hours.shape
        part, (slot_at, year_at, kept_at, next_at) = self.part, self.wanted
        values: list[Any] = [None] * len(self.graph.nodes)
        with np.errstate(all="ignore"):
            for index in sorted(self.needed - self.varying):
                node = self.graph.nodes[index]
                values[index] = site[node.name] if node.operation == COLUMN else _made(node, values)
            of_hour = [(index, self.graph.nodes[index]) for index in sorted(self.needed & self.varying)]
            columns = [(index, node.name) for index, node in of_hour if node.operation == COLUMN]
            steps = [
                (index, OPERATIONS[node.operation], node.of) for index, node in of_hour if node.operation != COLUMN
            ]
            kept = np.empty((len(kept_at), count, width))
            last = dict(zip(part.carried, (site[name] for name in part.first.values()), strict=True))
            for begin in ([max(0, count - part.warm_up)] if part.warm_up else []) + [0]:
                by_slot = np.array([np.full((slots, width), BEGINNINGS[tally.how]) for tally in part.tallies.slot])
                year = np.array([np.full(width, BEGINNINGS[tally.how]) for tally in part.tallies.year])
                for hour in range(begin, count):
                    now = last | dict(zip(self.hour_columns, hours[:, hour], strict=True))
                    for index, name in columns:
                        values[index] = now[name]
                    for index, operation, of in steps:
                        values[index] = operation(*[values[part] for part in of])
                    for sums, group, at in (
                        (by_slot[:, at_slots[hour]] if len(by_slot) else by_slot, part.tallies.slot, slot_at),
                        (year, part.tallies.year, year_at),
                    ):
                        for row, (tally, index) in enumerate(zip(group, at, strict=True)):
                            sums[row] = (np.add if tally.how == "sum" else np.maximum)(sums[row], values[index])
                    for row, index in enumerate(kept_at):
                        kept[row, hour] = values[index]
                    last = dict(zip(part.carried, (values[index] for index in next_at), strict=True))
        return by_slot.reshape(-1, slots, width), year.reshape(-1, width), kept


def _made(node: Node, values: list[Any]) -> Any:
    if node.operation == LITERAL:
        return node.value
    return OPERATIONS[node.operation](*(values[of] for of in node.of))
