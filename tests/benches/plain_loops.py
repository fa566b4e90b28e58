"""The year of a site as source text of C and of Python, written out of the engine's own worksheets and tallies.

One hour after the other, a local variable for each operation, nothing worked out twice, strategies in damp hours alone,
sums added as the loop goes. In Python the formulas of moist air that psychrolib has too are calls of it.
"""

from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager

import pytest

from screener.formula import CHOICE, COLUMN, LITERAL, Formula, Number, col, first_given
from screener.physics import psychrometrics
from screener.worksheet.compiled import CompiledYear
from screener.worksheet.compiled.graph import Graph
from screener.worksheet.compiled.year import ADDRESSES, GROUPS, STRIDES

INFIX = {"add": "+", "subtract": "-", "multiply": "*", "divide": "/", "above": ">", "at least": ">=", "below": "<"}
INFIX |= {"at most": "<=", "equal": "=="}
BOTH = {name: f"{{0}} {sign} {{1}}" for name, sign in INFIX.items()} | {"negate": "-({0})"}
IN_C = BOTH | {"and": "{0} && {1}", "or": "{0} || {1}", "not": "!{0}", CHOICE: "{0} ? {1} : {2}"}
IN_C |= {"larger": "{0} < {1} || {1} != {1} ? {1} : {0}", "smaller": "{0} > {1} || {1} != {1} ? {1} : {0}"}
IN_PYTHON = BOTH | {"and": "{0} and {1}", "or": "{0} or {1}", "not": "not {0}", CHOICE: "{1} if {0} else {2}"}
IN_PYTHON |= {"larger": "{1} if {0} < {1} or {1} != {1} else {0}", "smaller": "{1} if {0} > {1} or {1} != {1} else {0}"}

C_YEAR = """
#include <math.h>
#include <stdint.h>

int64_t year({parameters}) {{
  {arrays}
  double {numbers};
  int {truths};
  int64_t found = 0;
  {of_site}
  for (int64_t i = 0; i < count; i++) {{
    int64_t slot = slots[i];
    {of_any_hour}
    if ({is_damp}) {{ {of_damp_hour} }} else {{ {of_dry_hour} }}
  }}
  return found;
}}
"""
PYTHON_YEAR = """
def year(site, hours, slots, dry_slot, dry_year, damp_slot, damp_year, dry_kept, damp_kept):
    found = 0
    {of_site}
    for i, slot in enumerate(slots):
        {of_any_hour}
        if {is_damp}:
            {of_damp_hour}
        else:
            {of_dry_hour}
    return found
"""

CALLS = {  # formulas of moist air in these worksheets: psychrolib's, with the same arguments in the same units
    "saturation_pressure_over_water": "GetSatVapPres",
    "humidity_ratio": "GetHumRatioFromVapPres",
    "vapour_pressure": "GetVapPresFromHumRatio",
    "enthalpy": "GetMoistAirEnthalpy",
}


@contextmanager
def psychrolib_marked() -> Iterator[None]:
    """Meanwhile these formulas are the name of psychrolib's function and its arguments: a text among numbers, which
    nothing could evaluate and `WithCalls` knows. Of plain numbers they are what they always are."""

    def marked(call: str, function: Callable[..., Number]) -> Callable[..., Number]:
        def either(*arguments: Number) -> Number:
            is_formula = any(isinstance(each, Formula) for each in arguments)
            return first_given(call, *arguments) if is_formula else function(*arguments)

        return either

    with pytest.MonkeyPatch.context() as patch:
        for ours, theirs in CALLS.items():
            patch.setattr(psychrometrics, ours, marked(theirs, getattr(psychrometrics, ours)))
        yield


class WithCalls(Graph):
    """A graph in which functions of psychrolib are operations, named as psychrolib names them."""

    def _made(self, formula: Formula) -> int:
        if formula.operation == "first given" and formula.of[0].value in CALLS.values():
            return self._add(str(formula.of[0].value), *map(self.read, formula.of[1:]))
        return super()._made(formula)


class Loop:
    """What stands before the loop over the hours, in it, and in damp hours alone: `site`, `any_hour`, `damp_hour`, indices
    of operations. Takes the arrays of the compiled year and fills them alike, but that it keeps a year's sums in phase 0.

    Statements look the same in both languages but for the operations. Every hour must weigh something.
    """

    def __init__(self, graph: Graph, year: CompiledYear, reference: str, strategies: Iterable[str]) -> None:
        self.graph, self.year, read = graph, year, graph.read
        self.is_damp, self.dry_kept = read(col("damp")), read(col(f"{reference}.humidity_ratio"))
        self.damp_kept = [read(col(f"{name}.humidity_ratio")) for name in strategies]
        groups = (year.dry.slot, year.dry.year, year.damp.slot, year.damp.year)
        self.sums = {
            name: [(tally.how, read(tally.value)) for tally in group]
            for name, group in zip(GROUPS, groups, strict=True)
        }
        dry, dry_year, damp, damp_year = ([index for _, index in group] for group in self.sums.values())
        any_hour = graph.needed([self.is_damp, self.dry_kept, *dry, *dry_year])
        damp_hour = graph.needed([*self.damp_kept, *damp, *damp_year])
        varying = graph.depending(year.hour_columns)
        self.site = sorted((any_hour | damp_hour) - varying)
        self.any_hour, self.damp_hour = sorted(any_hour & varying), sorted((damp_hour - any_hour) & varying)

    def in_c(self) -> str:
        """A function that takes what the compiled one takes."""
        rows = dict(zip(GROUPS, STRIDES, strict=True)) | {"hours": "count", "damp_kept": "count"}
        arrays = [f"double (*restrict {name})[{width}] = {name}_at;" for name, width in rows.items()]
        arrays += [f"double *restrict {name} = {name}_at;" for name in ("site", "dry_kept")]
        arrays += ["int64_t *restrict slots = slots_at;"]
        parameters = [f"void *{name}_at" for name in ADDRESSES] + [f"int64_t {name}" for name in (*STRIDES, "count")]
        truths, numbers = [], []
        for index in (*self.site, *self.any_hour, *self.damp_hour):
            (truths if self.graph.is_truth(index) else numbers).append(f"v{index}")
        return C_YEAR.format(
            parameters=", ".join(parameters),
            arrays=" ".join(arrays),
            truths=", ".join(truths),
            numbers=", ".join(numbers),
            **self._statements(IN_C),
        )

    def in_python(self) -> str:
        """A function that takes lists and lists of lists, without addresses and strides."""
        return PYTHON_YEAR.format(**self._statements(IN_PYTHON))

    def count(self, indices: Iterable[int]) -> int:
        """How many operations there are among these indices."""
        return sum(self.graph.nodes[index].operation not in (COLUMN, LITERAL) for index in indices)

    def _statements(self, operations: dict[str, str]) -> dict[str, str]:
        dry = [*self._summed("dry", operations), f"dry_kept[i] = {self._name(self.dry_kept)};"]
        damp = [*self._worked_out(self.damp_hour, operations), *self._summed("damp", operations)]
        damp += [f"damp_kept[{row}][found] = {self._name(index)};" for row, index in enumerate(self.damp_kept)]
        damp += ["dry_kept[i] = -INFINITY;", "found = found + 1;"]
        return {
            "of_site": " ".join(self._worked_out(self.site, operations)),
            "of_any_hour": " ".join(self._worked_out(self.any_hour, operations)),
            "is_damp": self._name(self.is_damp),
            "of_dry_hour": " ".join(dry),
            "of_damp_hour": " ".join(damp),
        }

    def _worked_out(self, indices: Iterable[int], operations: dict[str, str]) -> Iterator[str]:
        hour, site = self.year.hour_columns, self.year.site_columns
        for index in indices:
            node = self.graph.nodes[index]
            if node.operation == COLUMN:
                at = f"hours[{hour.index(node.name)}][i]" if node.name in hour else f"site[{site.index(node.name)}]"
                yield f"v{index} = {at};"
            elif node.operation != LITERAL:
                of = [self._name(other) for other in node.of]
                called = f"{node.operation}({', '.join(of)})"
                yield f"v{index} = {operations[node.operation].format(*of) if node.operation in operations else called};"

    def _summed(self, part: str, operations: dict[str, str]) -> Iterator[str]:
        for group, at in ((f"{part}_slot", "slot"), (f"{part}_year", "0")):
            for row, (how, index) in enumerate(self.sums[group]):
                so_far = f"{group}[{row}][{at}]"
                added = operations["add" if how == "sum" else "larger"].format(so_far, self._name(index))
                yield f"{so_far} = {added};"

    def _name(self, index: int) -> str:
        node = self.graph.nodes[index]
        return repr(node.value) if node.operation == LITERAL else f"v{index}"
