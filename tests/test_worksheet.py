"""Named steps: order, sections, sharing."""

import polars as pl
import pytest

from screener.errors import UnknownNameError
from screener.formula import col
from screener.worksheet import Worksheet


def test_steps_become_columns_in_whatever_order_they_depend():
    sheet = Worksheet()
    a = sheet.let("a", col("x") + 1)
    b = sheet.section("machine").let("b", a * 2)
    sheet.let("c", a + b)
    frame = sheet.apply(pl.LazyFrame({"x": [1.0]})).collect()
    assert frame.row(0, named=True) == {"x": 1, "a": 2, "machine.b": 4, "c": 6}
    assert sheet.inputs() == {"x"}


def test_the_same_step_counts_once():
    sheet = Worksheet()
    sheet.let("a", col("x") + 1)
    sheet.let("a", col("x") + 1)
    assert sheet.names() == ["a"]


def test_a_name_has_one_meaning():
    sheet = Worksheet()
    sheet.let("a", col("x") + 1)
    with pytest.raises(ValueError, match="already has another step named 'a'"):
        sheet.let("a", col("x") + 2)


def test_a_name_that_nothing_has_is_refused_with_the_step():
    sheet = Worksheet()
    sheet.section("machine").let("b", col("outdoor_humidty_ratio") * 2)
    with pytest.raises(
        UnknownNameError, match=r"machine\.b reads outdoor_humidty_ratio.*did it mean outdoor_humidity_ratio"
    ):
        sheet.apply(pl.LazyFrame({"outdoor_humidity_ratio": [0.01]}))
