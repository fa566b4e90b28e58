"""The year of a site as source text of C and of Python, written out of the engine's own worksheets and tallies.

One hour after the other, a local variable for each operation, nothing worked out twice, strategies in damp hours alone,
sums added as the loop goes. In Python the formulas of moist air that psychrolib has too are calls of it.
"""

from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from typing import Any

import polars as pl
import pytest

from screener.physics import psychrometrics
from screener.worksheet import compiled
from screener.worksheet.compiled.graph import COLUMN, NUMBER, Formulas
from screener.worksheet.compiled.year import ADDRESSES, GROUPS, STRIDES

INFIX = {"add": "+", "subtract": "-", "multiply": "*", "divide": "/", "above": ">", "at least": ">=", "below": "<"}
INFIX |= {"at most": "<=", "equal": "==", "unequal": "!="}
BOTH = {name: f"{{0}} {sign} {{1}}" for name, sign in INFIX.items()} | {"negate": "-({0})"}
IN_C = BOTH | {"and": "{0} && {1}", "or": "{0} || {1}", "not": "!{0}", "choice": "{0} ? {1} : {2}", "abs": "fabs({0})"}
IN_C |= {"larger": "{0} > {1} ? {0} : {1}", "smaller": "{0} < {1} ? {0} : {1}"}
IN_PYTHON = BOTH | {"and": "{0} and {1}", "or": "{0} or {1}", "not": "not {0}", "choice": "{1} if {0} else {2}"}
IN_PYTHON |= {"larger": "{0} if {0} > {1} else {1}", "smaller": "{0} if {0} < {1} else {1}"}

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
    nothing could evaluate and `WithCalls` knows."""

    def marked(call: str) -> Callable[..., pl.Expr]:
        return lambda *arguments: pl.coalesce(pl.lit(call), *arguments)

    with pytest.MonkeyPatch.context() as patch:
        for ours, theirs in CALLS.items():
            patch.setattr(psychrometrics, ours, marked(theirs))
        yield


class WithCalls(Formulas):
    """Formulas in which functions of psychrolib are operations, named as psychrolib names them."""

    def _read(self, written: Any) -> int:
        match written:
            case {"Function": {"function": "Coalesce", "input": [{"Literal": {"Scalar": {"String": name}}}, *of]}}:
                return self._add(name, *map(self._read, of))
        return super()._read(written)


class Loop:
    """What stands before the loop over the hours, in it, and in damp hours alone: `site`, `any_hour`, `damp_hour`, places
    of operations. Takes the arrays of the program and fills them alike, but that it keeps a year's sums in phase 0.

    Statements look the same in both languages but for the operations. Every hour must weigh something.
    """

    def __init__(
        self, formulas: Formulas, program: compiled.Program, reference: str, strategies: Iterable[str]
    ) -> None:
        self.formulas, self.program, read = formulas, program, formulas.read
        self.is_damp, self.dry_kept = read(pl.col("damp")), read(pl.col(f"{reference}.humidity_ratio"))
        self.damp_kept = [read(pl.col(f"{name}.humidity_ratio")) for name in strategies]
        groups = (program.dry.slot, program.dry.year, program.damp.slot, program.damp.year)
        self.sums = {
            name: [(tally.how, read(tally.value)) for tally in group]
            for name, group in zip(GROUPS, groups, strict=True)
        }
        dry, dry_year, damp, damp_year = ([place for _, place in group] for group in self.sums.values())
        any_hour = formulas.needed([self.is_damp, self.dry_kept, *dry, *dry_year])
        damp_hour = formulas.needed([*self.damp_kept, *damp, *damp_year])
        varying = formulas.depending(program.hour_columns)
        self.site = sorted((any_hour | damp_hour) - varying)
        self.any_hour, self.damp_hour = sorted(any_hour & varying), sorted((damp_hour - any_hour) & varying)

    def in_c(self) -> str:
        """A function that takes what the program's own takes."""
        rows = dict(zip(GROUPS, STRIDES, strict=True)) | {"hours": "count", "damp_kept": "count"}
        arrays = [f"double (*restrict {name})[{width}] = {name}_at;" for name, width in rows.items()]
        arrays += [f"double *restrict {name} = {name}_at;" for name in ("site", "dry_kept")]
        arrays += ["int64_t *restrict slots = slots_at;"]
        parameters = [f"void *{name}_at" for name in ADDRESSES] + [f"int64_t {name}" for name in (*STRIDES, "count")]
        truths, numbers = [], []
        for place in (*self.site, *self.any_hour, *self.damp_hour):
            (truths if self.formulas.is_truth(place) else numbers).append(f"v{place}")
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

    def count(self, places: Iterable[int]) -> int:
        """How many operations there are among these places."""
        return sum(self.formulas.nodes[place].operation not in (COLUMN, NUMBER) for place in places)

    def _statements(self, operations: dict[str, str]) -> dict[str, str]:
        dry = [*self._summed("dry", operations), f"dry_kept[i] = {self._name(self.dry_kept)};"]
        damp = [*self._worked_out(self.damp_hour, operations), *self._summed("damp", operations)]
        damp += [f"damp_kept[{row}][found] = {self._name(place)};" for row, place in enumerate(self.damp_kept)]
        damp += ["dry_kept[i] = -INFINITY;", "found = found + 1;"]
        return {
            "of_site": " ".join(self._worked_out(self.site, operations)),
            "of_any_hour": " ".join(self._worked_out(self.any_hour, operations)),
            "is_damp": self._name(self.is_damp),
            "of_dry_hour": " ".join(dry),
            "of_damp_hour": " ".join(damp),
        }

    def _worked_out(self, places: Iterable[int], operations: dict[str, str]) -> Iterator[str]:
        hour, site = self.program.hour_columns, self.program.site_columns
        for place in places:
            node = self.formulas.nodes[place]
            if node.operation == COLUMN:
                at = f"hours[{hour.index(node.name)}][i]" if node.name in hour else f"site[{site.index(node.name)}]"
                yield f"v{place} = {at};"
            elif node.operation != NUMBER:
                of = [self._name(other) for other in node.of]
                called = f"{node.operation}({', '.join(of)})"
                yield f"v{place} = {operations[node.operation].format(*of) if node.operation in operations else called};"

    def _summed(self, part: str, operations: dict[str, str]) -> Iterator[str]:
        for group, at in ((f"{part}_slot", "slot"), (f"{part}_year", "0")):
            for row, (how, place) in enumerate(self.sums[group]):
                so_far = f"{group}[{row}][{at}]"
                added = operations["add" if how == "sum" else "larger"].format(so_far, self._name(place))
                yield f"{so_far} = {added};"

    def _name(self, place: int) -> str:
        node = self.formulas.nodes[place]
        return repr(node.value) if node.operation == NUMBER else f"v{place}"
