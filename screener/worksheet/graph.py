"""The formulas of worksheets as a list of operations in which nothing is worked out twice."""

from collections.abc import Iterable
from dataclasses import dataclass

from screener.formula import CHOICE, COLUMN, LITERAL, Formula, Value, literal
from screener.worksheet.steps import Worksheet

UNKNOWN = ("is given", "first given", "ceiling")  # of tables with blanks; an hour has none


@dataclass(frozen=True)
class Node:
    """An operation on earlier nodes, given by their indices in the graph; a column has a name, a literal its number."""

    operation: str
    of: tuple[int, ...] = ()
    name: str = ""
    value: float = 0.0
    is_truth: bool = False


class Graph:
    """Operations in an order in which each stands after what it needs."""

    def __init__(self, *sheets: Worksheet) -> None:
        self.nodes: list[Node] = []
        self._indices: dict[Node, int] = {}
        self.begin(*sheets)

    def begin(self, *sheets: Worksheet) -> None:
        """Read formulas with the steps of these worksheets from now on; those of before keep their operations, and what these
        have in common with them is there once."""
        self._steps: dict[str, int] = {}
        self._read: dict[Formula, int] = {}
        self._columns: set[str] = set()
        for sheet in sheets:
            for step in sheet.steps.values():
                if step.name in self._columns:
                    raise ValueError(f"the step {step.name} is read before it is worked out")
                self._steps[step.name] = self.read(step.formula)

    def read(self, formula: Value) -> int:
        """The index of a formula over columns and steps. NotImplementedError for one that only tables have."""
        formula = literal(formula)
        if formula.operation == COLUMN:  # a step that comes later is read anew, not taken for a column
            return self._steps[formula.name] if formula.name in self._steps else self.read_column(formula.name)
        if formula not in self._read:
            self._read[formula] = self._made(formula)
        return self._read[formula]

    def read_column(self, name: str) -> int:
        """The index of a column."""
        self._columns.add(name)
        return self._add(COLUMN, name=name)

    def needed(self, wanted: Iterable[int]) -> set[int]:
        """The indices of all that these need, themselves among them."""
        found: set[int] = set()
        queue = [*wanted]
        while queue:
            index = queue.pop()
            if index not in found:
                found.add(index)
                queue += self.nodes[index].of
        return found

    def depending(self, columns: Iterable[str]) -> set[int]:
        """The indices of all that depends on these columns."""
        names, found = {*columns}, set[int]()
        for index, node in enumerate(self.nodes):
            if node.name in names if node.operation == COLUMN else not found.isdisjoint(node.of):
                found.add(index)
        return found

    def depending_on(self, indices: Iterable[int]) -> set[int]:
        """These indices and those of all that depends on them."""
        found = {*indices}
        for index, node in enumerate(self.nodes):
            if not found.isdisjoint(node.of):
                found.add(index)
        return found

    def is_truth(self, index: int) -> bool:
        """Whether a node is a yes or no; a column that is one comes as 1 or 0, a number."""
        return self.nodes[index].is_truth

    def _made(self, formula: Formula) -> int:
        if formula.operation == LITERAL:
            if not isinstance(formula.value, float):
                raise NotImplementedError(f"an hour is made of numbers; {formula!r} is none")
            return self._add(LITERAL, value=formula.value)
        if formula.operation in UNKNOWN:
            raise NotImplementedError(f"an hour has no blanks to ask for: {formula!r}")
        of = tuple(self.read(part) for part in formula.of)
        if formula.operation == "power":
            base, exponent = of
            return self._add("exp", self._add("multiply", exponent, self._add("log", base)))
        return self._add(formula.operation, *of, is_truth=self._yields_truth(formula, of))

    def _yields_truth(self, formula: Formula, of: tuple[int, ...]) -> bool:
        if formula.operation == CHOICE:
            return self.is_truth(of[1]) or self.is_truth(of[2])
        return formula.is_truth

    def _add(self, operation: str, *of: int, name: str = "", value: float = 0.0, is_truth: bool = False) -> int:
        node = Node(operation, of, name, value, is_truth)
        if node not in self._indices:
            self._indices[node] = len(self.nodes)
            self.nodes.append(node)
        return self._indices[node]
