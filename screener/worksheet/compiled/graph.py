"""The formulas of worksheets as a graph of operations, in which nothing is worked out twice.

The graph is read from Polars expressions in the form in which Polars writes them out itself. Worksheets are made of few
operations; one that is not known here is refused by name.
"""

import json
import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, NoReturn

import polars as pl

from screener.worksheet import Worksheet

COLUMN, NUMBER = "column", "number"
CHOICE = "choice"  # of the second argument where the first is true, else the third
ARITHMETIC = {"Plus": "add", "Minus": "subtract", "Multiply": "multiply", "TrueDivide": "divide"}
COMPARISONS = {"Gt": "above", "GtEq": "at least", "Lt": "below", "LtEq": "at most", "Eq": "equal", "NotEq": "unequal"}
LOGIC = {"And": "and", "Or": "or", "LogicalAnd": "and", "LogicalOr": "or"}
FUNCTIONS = {"Exp": "exp", "Negate": "negate", "Abs": "abs", "MaxHorizontal": "larger", "MinHorizontal": "smaller"}
TRUTHS = {*COMPARISONS.values(), *LOGIC.values(), "not"}
WHOLE_POWERS = range(1, 9)  # by repeated multiplication


@dataclass(frozen=True)
class Node:
    """An operation on earlier nodes, given by their places in the graph; a column has a name, a number its value."""

    operation: str
    of: tuple[int, ...] = ()
    name: str = ""
    value: float = 0.0


class Formulas:
    """Operations in an order in which each stands after what it needs."""

    def __init__(self, *sheets: Worksheet) -> None:
        self.nodes: list[Node] = []
        self._places: dict[Node, int] = {}
        self._steps: dict[str, int] = {}
        for sheet in sheets:
            for step in sheet.steps:
                self._steps[step.name] = self.read(step.expr)

    def read(self, formula: pl.Expr) -> int:
        """The place of a formula over columns and steps. NotImplementedError for an operation that is not known."""
        return self._read(json.loads(formula.meta.serialize(format="json")))

    def needed(self, wanted: Iterable[int]) -> set[int]:
        """The places of all that these need, themselves among them."""
        found: set[int] = set()
        queue = [*wanted]
        while queue:
            place = queue.pop()
            if place not in found:
                found.add(place)
                queue += self.nodes[place].of
        return found

    def depending(self, columns: Iterable[str]) -> set[int]:
        """The places of all that depends on these columns."""
        names, found = {*columns}, set[int]()
        for place, node in enumerate(self.nodes):
            if node.name in names if node.operation == COLUMN else not found.isdisjoint(node.of):
                found.add(place)
        return found

    def is_truth(self, place: int) -> bool:
        """Whether a node is a yes or no; a column that is one comes as 1 or 0, a number."""
        node = self.nodes[place]
        if node.operation == CHOICE:
            return self.is_truth(node.of[1]) or self.is_truth(node.of[2])
        return node.operation in TRUTHS

    def _add(self, operation: str, *of: int, name: str = "", value: float = 0.0) -> int:
        node = Node(operation, of, name, value)
        if node not in self._places:
            self._places[node] = len(self.nodes)
            self.nodes.append(node)
        return self._places[node]

    def _read(self, written: Any) -> int:
        ((kind, what),) = written.items()
        if kind == "Column":
            return self._steps[what] if what in self._steps else self._add(COLUMN, name=what)
        if kind == "Literal":
            return self._add(NUMBER, value=_number(what))
        if kind == "BinaryExpr":
            operation = (ARITHMETIC | COMPARISONS | LOGIC).get(what["op"]) or _unknown(what["op"])
            return self._add(operation, self._read(what["left"]), self._read(what["right"]))
        if kind == "Ternary":
            return self._add(CHOICE, *(self._read(what[part]) for part in ("predicate", "truthy", "falsy")))
        if kind == "Cast" and what["dtype"] == {"Literal": "Float64"}:
            return self._read(what["expr"])
        if kind == "Function":
            return self._function(what["function"], [self._read(argument) for argument in what["input"]])
        _unknown(kind)

    def _function(self, function: Any, arguments: list[int]) -> int:
        first, *others = arguments
        if function == "Log":
            natural = self._add("log", first)
            base = math.log(self.nodes[others[0]].value) if others else 1.0
            return natural if base == 1.0 else self._add("multiply", natural, self._add(NUMBER, value=1 / base))
        if function == {"Pow": "Sqrt"}:
            return self._add("sqrt", first)
        if function == {"Pow": "Generic"}:
            return self._power(first, *others)
        if function == {"Boolean": "Not"}:
            return self._add("not", first)
        operation = FUNCTIONS.get(function) if isinstance(function, str) else None
        if operation is None or (others and operation not in ("larger", "smaller")):
            _unknown(function)
        result = first if others else self._add(operation, first)
        for other in others:
            result = self._add(operation, result, other)
        return result

    def _power(self, base: int, exponent: int) -> int:
        """A power; of a base that is not negative unless the exponent is a small whole number."""
        node = self.nodes[exponent]
        if node.operation == NUMBER and node.value in WHOLE_POWERS:
            result = base
            for _ in range(int(node.value) - 1):
                result = self._add("multiply", result, base)
            return result
        return self._add("exp", self._add("multiply", exponent, self._add("log", base)))


def _number(written: Any) -> float:
    """The value of a literal, which comes wrapped in the names of its types."""
    while isinstance(written, dict):
        (written,) = written.values()
    if not isinstance(written, int | float):
        _unknown(f"the literal {written}")
    return float(written)


def _unknown(operation: Any) -> NoReturn:
    raise NotImplementedError(
        f"a worksheet has an operation that cannot be compiled: {operation}; use another, or add it to "
        "compiled/formulas.py and compiled/vectors.py (a new version of Polars may write operations in another way)"
    )
