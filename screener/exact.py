"""Sums and roundings that come out the same on every run, whatever order the rows arrive in.

Floating-point addition depends on its order, and an engine that works on several rows at a time does not keep one.
Whole numbers add exactly, so amounts are added in whole small units; and what leaves the engine is rounded, so that the
last bits of a float never show in a file.
"""

from collections.abc import Iterable
from functools import reduce
from operator import add

import polars as pl

SIGNIFICANT_FIGURES = 9
CENT_DECIMALS = 2
GRAIN = 2.0**-16
UNITS = 1e6


def exact_sum(amount: pl.Expr, units: float = UNITS) -> pl.Expr:
    """Sum of `amount` counted in whole 1/`units`; nulls count nothing.

    With the default a sum may reach 9e12 (a signed 64-bit number of millionths); each term is off by 5e-7 at most.
    """
    return whole(amount, units).sum() / units


def whole(amount: pl.Expr, units: float = UNITS) -> pl.Expr:
    """`amount` as a whole number of 1/`units`, to be added up."""
    return (amount.cast(pl.Float64) * units).round().cast(pl.Int64)


def added_up(terms: Iterable[pl.Expr]) -> pl.Expr:
    """Sum of several columns, from left to right; `pl.sum_horizontal` may take them in any order. Null where one is."""
    return reduce(add, terms)


def grained(amount: pl.Expr) -> pl.Expr:
    """`amount` in whole 1/65536. Binary fractions add exactly: 64-bit sums of such numbers, and of 32-bit floats made of
    them, are the same in any order up to 1e11, without the cost of `exact_sum`."""
    return (amount / GRAIN).round() * GRAIN


def significant(frame: pl.DataFrame, figures: int = SIGNIFICANT_FIGURES) -> pl.DataFrame:
    """`frame` with its 64-bit floats rounded to significant figures, never minus zero. Doing it twice changes nothing."""
    floats = [name for name, dtype in frame.schema.items() if dtype == pl.Float64]
    return frame.with_columns(_unsigned_zero(pl.col(name).round_sig_figs(figures)) for name in floats)


def money(amount: pl.Expr) -> pl.Expr:
    """An amount in whole hundredths of the currency, still the same after `significant`; never minus zero."""
    return _unsigned_zero(amount.round(CENT_DECIMALS).round_sig_figs(SIGNIFICANT_FIGURES))


def _unsigned_zero(amount: pl.Expr) -> pl.Expr:
    """Zero without a sign; adding 0.0 does not do it, as the engine leaves such a sum out."""
    return pl.when(amount == 0.0).then(amount.abs()).otherwise(amount)
