"""Sums and roundings that do not depend on the order of rows."""

import math

import polars as pl
from hypothesis import given, settings
from hypothesis import strategies as st

from screener.exact import exact_sum, grained, money, significant

amounts = st.lists(st.floats(-1e6, 1e6, allow_subnormal=False), min_size=1, max_size=200)


@settings(deadline=None)
@given(amounts, st.randoms())
def test_the_order_of_rows_does_not_change_a_sum(values: list[float], random: object) -> None:
    shuffled = list(values)
    random.shuffle(shuffled)  # type: ignore[attr-defined]
    one, other = (pl.DataFrame({"x": rows}).select(exact_sum(pl.col("x"))).item() for rows in (values, shuffled))
    assert one == other


@settings(deadline=None)
@given(amounts)
def test_a_sum_is_that_of_exact_arithmetic_to_a_millionth_a_term(values: list[float]) -> None:
    """Against `math.fsum`, which adds without error."""
    total = pl.DataFrame({"x": values}).select(exact_sum(pl.col("x"))).item()
    assert abs(total - math.fsum(values)) <= 5.1e-7 * len(values) + 1e-12 * abs(total)


@settings(deadline=None)
@given(st.lists(st.floats(0, 1e6, allow_subnormal=False), min_size=1, max_size=200), st.randoms())
def test_grained_amounts_add_exactly_also_as_32_bit_floats(values: list[float], random: object) -> None:
    """Against `math.fsum`, which adds without error."""
    kept = pl.DataFrame({"x": values}).select(grained(pl.col("x")).cast(pl.Float32))
    terms = kept["x"].cast(pl.Float64).to_list()
    assert all(abs(term - value) <= 2**-17 + value * 2**-24 for term, value in zip(terms, values, strict=True))
    random.shuffle(terms)  # type: ignore[attr-defined]
    assert pl.Series(terms).sum() == math.fsum(terms)


@settings(deadline=None)
@given(st.floats(-1e12, 1e12, allow_subnormal=False))
def test_rounding_twice_changes_nothing_and_keeps_nine_figures(value: float) -> None:
    """Nine significant figures as Python's own decimal formatting rounds them, to a unit in the ninth place."""
    once = significant(pl.DataFrame({"x": [value]}))
    assert significant(once).equals(once)
    assert math.isclose(once.item(), float(f"{value:.9g}"), rel_tol=1.1e-8, abs_tol=1e-300)


@settings(deadline=None)
@given(st.floats(-1e7, 1e7))
def test_money_survives_the_rounding_of_files(value: float) -> None:
    paid = pl.DataFrame({"x": [value]}).select(money(pl.col("x")))
    assert significant(paid).equals(paid)
    assert math.copysign(1.0, paid.item()) == 1.0 or paid.item() < 0.0
    assert abs(paid.item() - value) <= 0.00500001 if abs(value) < 9_999_999 else True


def test_zero_has_no_sign():
    frame = pl.DataFrame({"x": [-0.0, 1e-12, -2.0, None]})
    for out in (significant(frame)["x"], frame.select(money(pl.col("x")))["x"]):
        assert [math.copysign(1, value) for value in out.drop_nulls()] == [1, 1, -1]
