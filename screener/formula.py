"""Formulas: arithmetic that is written down once and worked out in three ways.

A `Formula` stands for a number, a truth value or a text that is not known yet. The functions of this file take formulas
or plain numbers. Of plain numbers they work out the result at once, which is how a formula is tried by hand and checked
in a docstring; of formulas they make a longer one, which `polars` turns into an expression over the columns of a frame
and `worksheet.compiled` into machine code. Two formulas that say the same are the same object.

Not-a-number never hides: it passes through every operation, `larger` and `smaller` among them, so that a figure outside
the domain of a logarithm ends in a result that is refused. Only a comparison hides it, being false.
"""

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import reduce
from threading import Lock
from typing import Literal, Protocol, Union
from weakref import WeakValueDictionary

import polars as pl

COLUMN, LITERAL = "column", "literal"
CHOICE = "choice"  # of the second argument where the first is true, else the third
COMPARISONS = ("above", "at least", "below", "at most", "equal")
LOGIC = ("and", "or", "not")
SHARED = "~"  # begins the names of columns that only stand between
WHOLE_POWERS = range(1, 9)  # by repeated multiplication

Number = Union["Formula", float]
Truth = Union["Formula", bool]
Value = Union["Formula", float, bool, str, None]
Given = float | bool | str | None


@dataclass(frozen=True, eq=False)
class Formula:
    """An operation on other formulas; a column has a name, a literal its value. Made by the functions of this file."""

    operation: str
    of: "tuple[Formula, ...]" = ()
    name: str = ""
    value: Given = None

    def __add__(self, other: Number) -> "Formula":
        return _made("add", self, other)

    def __radd__(self, other: Number) -> "Formula":
        return _made("add", other, self)

    def __sub__(self, other: Number) -> "Formula":
        return _made("subtract", self, other)

    def __rsub__(self, other: Number) -> "Formula":
        return _made("subtract", other, self)

    def __mul__(self, other: Number) -> "Formula":
        return _made("multiply", self, other)

    def __rmul__(self, other: Number) -> "Formula":
        return _made("multiply", other, self)

    def __truediv__(self, other: Number) -> "Formula":
        return _made("divide", self, other)

    def __rtruediv__(self, other: Number) -> "Formula":
        return _made("divide", other, self)

    def __pow__(self, exponent: Number) -> "Formula":
        """A power; of a base that is not negative unless the exponent is a small whole number."""
        if exponent in WHOLE_POWERS:
            return reduce(lambda power, _: power * self, range(int(exponent) - 1), self)  # type: ignore[arg-type]
        return _made("power", self, exponent)

    def __neg__(self) -> "Formula":
        return _made("negate", self)

    def __lt__(self, other: Number) -> "Formula":
        return _made("below", self, other)

    def __le__(self, other: Number) -> "Formula":
        return _made("at most", self, other)

    def __gt__(self, other: Number) -> "Formula":
        return _made("above", self, other)

    def __ge__(self, other: Number) -> "Formula":
        return _made("at least", self, other)

    def __and__(self, other: Truth) -> "Formula":
        return _made("and", self, other)

    def __rand__(self, other: Truth) -> "Formula":
        return _made("and", other, self)

    def __or__(self, other: Truth) -> "Formula":
        return _made("or", self, other)

    def __ror__(self, other: Truth) -> "Formula":
        return _made("or", other, self)

    def __bool__(self) -> bool:
        raise TypeError("a formula is not true or false by itself; use when(...), &, | and opposite(...)")

    @property
    def is_truth(self) -> bool:
        """Whether it is a yes or no; a column that is one comes as 1 or 0, a number."""
        if self.operation == CHOICE:
            return self.of[1].is_truth or self.of[2].is_truth
        return self.operation in (*COMPARISONS, *LOGIC, "is given") or isinstance(self.value, bool)

    def columns(self) -> set[str]:
        """The names of the columns it reads."""
        found, seen, queue = set[str](), set[int](), [self]
        while queue:
            each = queue.pop()
            if id(each) not in seen:
                seen.add(id(each))
                queue += each.of
                if each.operation == COLUMN:
                    found.add(each.name)
        return found

    def __repr__(self) -> str:
        if self.operation in (COLUMN, LITERAL):
            return self.name if self.operation == COLUMN else repr(self.value)
        return f"{self.operation}({', '.join(map(repr, self.of))})"

    def __reduce__(self) -> "tuple[Callable[..., Formula], tuple[object, ...]]":
        return _same, (self.operation, self.of, self.name, self.value)


class Sheet(Protocol):
    """Where machines write down the steps of their formulas: a worksheet, as far as they know of it."""

    def let(self, name: str, formula: Value, why: str = "") -> Formula:
        """Add a named step and return it as a column to compute with."""


_LOCK = Lock()
_KNOWN: "WeakValueDictionary[tuple[object, ...], Formula]" = WeakValueDictionary()


def _same(operation: str, of: tuple[Formula, ...] = (), name: str = "", value: Given = None) -> Formula:
    key = (operation, tuple(map(id, of)), name, repr(value))
    with _LOCK:
        if (found := _KNOWN.get(key)) is None:
            found = _KNOWN[key] = Formula(operation, of, name, value)
    return found


def _made(operation: str, *of: Value) -> Formula:
    return _same(operation, tuple(map(literal, of)))


def col(name: str) -> Formula:
    """The column of a frame, or an earlier step of a worksheet, of this name."""
    return _same(COLUMN, name=name)


def literal(value: Value) -> Formula:
    """A number, truth value or text as a formula; None stands for what is not given."""
    if isinstance(value, Formula):
        return value
    if isinstance(value, bool | str | None):
        return _same(LITERAL, value=value)
    return _same(LITERAL, value=float(value))


@dataclass(frozen=True)
class Chain:
    """`when(...).then(...)`, to be ended by `otherwise(...)` or gone on with by `when(...)`."""

    cases: tuple[tuple[Truth, Value], ...]

    def when(self, condition: Truth) -> "Condition":
        """Another case, for where none of those before holds."""
        return Condition(self.cases, condition)

    def otherwise(self, value: Value) -> Formula:
        """The choice, with what holds in no case."""
        result: Value = value
        for condition, chosen in reversed(self.cases):
            if isinstance(condition, Formula):
                result = _made(CHOICE, condition, chosen, result)
            else:
                result = chosen if condition else result
        return result  # type: ignore[return-value]  # of plain numbers a plain number


@dataclass(frozen=True)
class Condition:
    """`when(...)`, to be gone on with by `then(...)`."""

    cases: tuple[tuple[Truth, Value], ...]
    condition: Truth

    def then(self, value: Value) -> Chain:
        """What holds where the condition does."""
        return Chain((*self.cases, (self.condition, value)))


def when(condition: Truth) -> Condition:
    """Begin a choice: `when(a).then(x).when(b).then(y).otherwise(z)`."""
    return Condition((), condition)


def exp(x: Number) -> Number:
    """e to the power of x."""
    return _made("exp", x) if isinstance(x, Formula) else math.exp(x)


def log(x: Number) -> Number:
    """Natural logarithm; not a number below zero."""
    if isinstance(x, Formula):
        return _made("log", x)
    return math.log(x) if x > 0 else -math.inf if x == 0 else math.nan


def sqrt(x: Number) -> Number:
    """Square root; not a number below zero."""
    if isinstance(x, Formula):
        return _made("sqrt", x)
    return math.sqrt(x) if x >= 0 else math.nan


def larger(*numbers: Number) -> Number:
    """The largest of them; not a number where one is none."""
    return reduce(lambda a, b: _of_two("larger", a, b), numbers)


def smaller(*numbers: Number) -> Number:
    """The smallest of them; not a number where one is none."""
    return reduce(lambda a, b: _of_two("smaller", a, b), numbers)


def _of_two(which: Literal["larger", "smaller"], a: Number, b: Number) -> Number:
    if isinstance(a, Formula) or isinstance(b, Formula):
        return _made(which, a, b)
    if math.isnan(a) or math.isnan(b):
        return math.nan
    return max(a, b) if which == "larger" else min(a, b)


def at_least(x: Number, low: Number) -> Number:
    """`x`, or `low` where that is larger."""
    return larger(x, low)


def at_most(x: Number, high: Number) -> Number:
    """`x`, or `high` where that is smaller."""
    return smaller(x, high)


def between(x: Number, low: Number, high: Number) -> Number:
    """`x`, or the bound it passes."""
    return at_most(at_least(x, low), high)


def summed(numbers: Iterable[Number]) -> Number:
    """Their sum, from left to right."""
    return reduce(lambda a, b: a + b, numbers)


def equal(a: Value, b: Value) -> Truth:
    """Whether both are the same number or text."""
    return _made("equal", a, b) if isinstance(a, Formula) or isinstance(b, Formula) else a == b


def opposite(truth: Truth) -> Truth:
    """Not."""
    return _made("not", truth) if isinstance(truth, Formula) else not truth


def plain(x: Number) -> float:
    """What came of plain numbers, as the number it is. TypeError for a formula."""
    if isinstance(x, Formula):
        raise TypeError(f"{x} is a formula, not a number")
    return x


def as_number(truth: Truth) -> Number:
    """1 for yes, 0 for no."""
    return when(truth).then(1.0).otherwise(0.0)


def is_given(x: Value) -> Truth:
    """Whether there is a value. For tables of sites: an hour has no blanks, and machine code does not know this."""
    return _made("is given", x) if isinstance(x, Formula) else x is not None


def floor(x: Number) -> Number:
    """The whole number at or below."""
    return _made("floor", x) if isinstance(x, Formula) else float(math.floor(x))


def ceiling(x: Number) -> Number:
    """The next whole number. For tables of sites, as `is_given`."""
    return _made("ceiling", x) if isinstance(x, Formula) else float(math.ceil(x))


def first_given(*values: Value) -> Formula:
    """The first of them that is there. For tables of sites, as `is_given`."""
    return _made("first given", *values)


_POLARS: Mapping[str, Callable[..., pl.Expr]] = {
    "add": lambda a, b: a + b,
    "subtract": lambda a, b: a - b,
    "multiply": lambda a, b: a * b,
    "divide": lambda a, b: a / b,
    "negate": lambda a: -a,
    "power": lambda a, b: a**b,
    "exp": lambda a: a.exp(),
    "log": lambda a: a.log(),
    "sqrt": lambda a: a.sqrt(),
    "above": lambda a, b: a > b,
    "at least": lambda a, b: a >= b,
    "below": lambda a, b: a < b,
    "at most": lambda a, b: a <= b,
    "equal": lambda a, b: a == b,
    "and": lambda a, b: a & b,
    "or": lambda a, b: a | b,
    "not": lambda a: ~a,
    CHOICE: lambda c, a, b: pl.when(c).then(a).otherwise(b),
    "is given": lambda a: a.is_not_null(),
    "floor": lambda a: a.floor(),
    "ceiling": lambda a: a.ceil(),
    "first given": lambda *a: pl.coalesce(*a),
}


def of_columns(function: Callable[..., Number], *arguments: pl.Expr | str | float) -> pl.Expr:
    """What a function of formulas gives for columns: Polars expressions, names of columns, or plain numbers."""
    given = {f"{number}": pl.col(a) if isinstance(a, str) else a for number, a in enumerate(arguments)}
    named = [col(name) if isinstance(a, pl.Expr) else a for name, a in given.items()]
    return polars(function(*named), {name: a for name, a in given.items() if isinstance(a, pl.Expr)})


def polars(x: Value, columns: Mapping[str, pl.Expr] | None = None) -> pl.Expr:
    """The formula as a Polars expression over columns of the names it reads, or over what `columns` says for a name.

    A comparison with what is not a number comes out as Polars orders it, above every number.
    """
    return _written(literal(x), columns or {}, {})


def _written(formula: Formula, columns: Mapping[str, pl.Expr], done: dict[int, pl.Expr]) -> pl.Expr:
    """The formula, where the expressions of those `done` are known by their identity."""

    def written(each: Formula) -> pl.Expr:
        if id(each) not in done:
            if each.operation == COLUMN:
                done[id(each)] = columns.get(each.name, pl.col(each.name))
            elif each.operation == LITERAL:
                done[id(each)] = _literal(each.value)
            elif each.operation in ("larger", "smaller"):
                done[id(each)] = _extreme(each, [(part, written(part)) for part in _flat(each)])
            else:
                done[id(each)] = _POLARS[each.operation](*map(written, each.of))
        return done[id(each)]

    return written(formula)


Stage = dict[str, pl.Expr]


def staged(formulas: Mapping[str, Formula]) -> list[Stage]:
    """Formulas as Polars expressions by name, in stages, each over the columns of the stages before it.

    What several places of the formulas have in common becomes a column of an earlier stage, whose name begins with SHARED:
    written out wherever it is needed, it would grow an expression without bounds.
    """
    uses = _uses(formulas.values())
    shared = {node for node, count in uses.items() if count > 1 and node.of}
    depth: dict[Formula, int] = {}
    for node in uses:  # parts come before what they are parts of
        depth[node] = max((depth[part] + (part in shared) for part in node.of), default=0)
    names = {node: f"{SHARED}{number}" for number, node in enumerate(sorted(shared, key=lambda n: depth[n]))}
    known: dict[int, pl.Expr] = {}
    stages: list[Stage] = []
    for level in range(max((depth[node] for node in shared), default=-1) + 1):
        here = [node for node in shared if depth[node] == level]
        stages.append({names[node]: _written(node, {}, dict(known)) for node in here})
        known |= {id(node): pl.col(names[node]) for node in here}
    return [*stages, {name: _written(formula, {}, dict(known)) for name, formula in formulas.items()}]


def _uses(roots: Iterable[Formula]) -> dict[Formula, int]:
    """Every formula in these, parts first, and in how many places it stands."""
    order: dict[Formula, int] = {}

    def visit(node: Formula) -> None:
        if node in order:
            return
        for part in node.of:
            visit(part)
        order[node] = 0
        for part in node.of:
            order[part] += 2 if node.operation in ("larger", "smaller") else 1  # looked at for what is not a number

    for root in roots:
        visit(root)
        order[root] += 1
    return order


def _flat(extreme: Formula) -> list[Formula]:
    """What the largest or smallest is chosen of."""
    return [each for part in extreme.of for each in (_flat(part) if part.operation == extreme.operation else [part])]


def _extreme(of: Formula, parts: Sequence[tuple[Formula, pl.Expr]]) -> pl.Expr:
    """The largest or smallest; not a number where one is none, which Polars by itself leaves out."""
    every = [written for _, written in parts]
    chosen = pl.max_horizontal(every) if of.operation == "larger" else pl.min_horizontal(every)
    doubtful = [written.is_nan() for part, written in parts if part.operation != LITERAL]
    return pl.when(pl.any_horizontal(doubtful)).then(math.nan).otherwise(chosen) if doubtful else chosen


def _literal(value: Given) -> pl.Expr:
    kinds = {bool: pl.Boolean, float: pl.Float64, str: pl.String}
    return pl.lit(value, dtype=kinds.get(type(value)))
