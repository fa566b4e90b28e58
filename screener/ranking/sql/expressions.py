"""What a person typed as DuckDB's expression objects: they name a column or hold a value, whatever is in them."""

import operator
from collections.abc import Callable, Mapping, Sequence

from duckdb import ColumnExpression, ConstantExpression, Expression, FunctionExpression

from screener.ranking.conditions import Condition

COMPARISONS: Mapping[str, Callable[[Expression, Expression], Expression]] = {
    "=": operator.eq,
    "!=": lambda held, value: (held != value) | held.isnull(),
    "<": operator.lt,
    "<=": operator.le,
    ">": operator.gt,
    ">=": operator.ge,
    "~": lambda held, value: FunctionExpression("contains", held, value),
}


def holds(condition: Condition) -> Expression:
    """Whether the condition is met; texts are compared in lower case, and an empty cell differs from any value."""
    column, value = ColumnExpression(condition.column), condition.value
    if value is None:
        return column.isnull() if condition.operator == "=" else column.isnotnull()
    held = FunctionExpression("lower", column) if isinstance(value, str) else column
    return COMPARISONS[condition.operator](held, ConstantExpression(value))


def together(names: Sequence[str]) -> Expression:
    """Columns as one struct, which keeps their names."""
    return FunctionExpression("struct_pack", *(ColumnExpression(name).alias(name) for name in names))
