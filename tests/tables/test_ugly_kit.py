"""Spreadsheets as chains keep them are read cell by cell as a careful person would; nothing is read with a wrong meaning."""

import re
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from screener import units
from screener.contracts.rejects import KINDS
from screener.tables import adopting, read_portfolio
from tests.tables.ugly_kit import HEADINGS, KIT, STORES, Habit, write

SHARE = 0.95  # of the rows that are stores to rank, usable as they come


def number(site_id: str) -> str:
    """The digits of a store's number, whatever stands around them."""
    return re.sub(r"^\D*0*|\.0$|\D+$", "", site_id)


def due(habit: Habit) -> dict[str, dict[str, Any]]:
    """Every store and what is to be read of it, in SI."""
    stores = {}
    for store in STORES:
        own = {**store, **habit.expected.get(store["site_id"], {})}
        own = {name: value for name, value in own.items() if name not in habit.lacks}
        stores[store["site_id"]] = {units.si_name(name): _in_si(value, name) for name, value in own.items()}
    return stores


def _in_si(value: Any, name: str) -> Any:
    rule = units.conversion(name)
    return value * rule.factor + rule.offset if rule and value is not None else value


def read(habit: Habit, folder: Path) -> tuple[dict[str, dict[str, Any]], dict[str, str], int]:
    """What a portfolio says once the file was adopted with what is proposed: its stores, those set aside, rows in all."""
    file = write(habit, folder)
    found = adopting.adopt([file], folder / "p", lambda question: question.proposed)
    portfolio = read_portfolio(folder / "p")
    stores = {number(row["site_id"]): row for row in portfolio.sites.to_dicts()}
    kind = pl.when(pl.col("rules").is_in(list(KINDS))).then("rules").otherwise(pl.lit("with faults"))
    aside = portfolio.rejects.select("site_id", kind.alias("kind")).drop_nulls("site_id")
    told = {number(site): kind for site, kind in aside.iter_rows() if kind not in ("duplicate", "total", "remark")}
    assert portfolio.sites.height + portfolio.rejects.height == found.rows + found.aside.height
    return stores, told, portfolio.rejects.height


def differences(read: dict[str, dict[str, Any]], due: dict[str, dict[str, Any]]) -> list[str]:
    return [
        f"{store} {name}: {read[store][name]!r}, not {value!r}"
        for store, figures in due.items()
        if store in read
        for name, value in figures.items()
        if name != "site_id" and not _same(read[store][name], value)
    ]


def _same(one: Any, two: Any) -> bool:
    if isinstance(one, str) and isinstance(two, str):
        return re.sub(r"\s+", " ", one.strip().lower()) == two.lower()
    return one == two if one is None or two is None else bool(one == pytest.approx(two, rel=1e-5))


@pytest.fixture(scope="module")
def readings(
    tmp_path_factory: pytest.TempPathFactory,
) -> dict[str, tuple[dict[str, dict[str, Any]], dict[str, str], int]]:
    found = {}
    for at, (name, habit) in enumerate(KIT.items()):
        folder = tmp_path_factory.mktemp(f"kit{at}")
        found[name] = read(habit, folder)
    return found


@pytest.mark.parametrize("name", KIT)
def test_cell_by_cell(name: str, readings: dict[str, Any]) -> None:
    habit, (stores, aside, _) = KIT[name], readings[name]
    assert differences(stores, due(habit)) == []
    assert aside == habit.aside
    assert {*stores} | {*aside} == {store["site_id"] for store in STORES}
    lacking = {units.si_name(name) for name in HEADINGS} - {units.si_name(name) for name in habit.lacks}
    assert lacking <= {*next(iter(stores.values()))}


def test_nearly_all_rows_are_usable_as_they_come(readings: dict[str, Any]) -> None:
    usable = sum(len(stores) for stores, _, _ in readings.values())
    stores = sum(
        len(STORES) - sum(kind != "with faults" for kind in aside.values()) for _, aside, _ in readings.values()
    )
    assert usable / stores >= SHARE, f"{usable} of {stores}"
    assert len(KIT) >= 30
