"""Keeping a number within bounds, element by element. Several times faster than Polars' `clip` in an hourly plan."""

import polars as pl

Number = pl.Expr | float


def at_least(x: pl.Expr, low: Number) -> pl.Expr:
    """The larger of both."""
    return pl.max_horizontal(x, _expr(low))


def at_most(x: pl.Expr, high: Number) -> pl.Expr:
    """The smaller of both."""
    return pl.min_horizontal(x, _expr(high))


def between(x: pl.Expr, low: Number, high: Number) -> pl.Expr:
    """`x`, or the bound it passes."""
    return at_most(at_least(x, low), high)


def _expr(number: Number) -> pl.Expr:
    return number if isinstance(number, pl.Expr) else pl.lit(number)
