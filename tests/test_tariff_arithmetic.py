"""Bills of the cases in `tariff_cases.toml`, worked by hand there, from tables read as a portfolio's are."""

import io
import tomllib
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from screener import price, tables
from screener.tables import read_tariffs
from tests.money_cases import DAY_KIND, sites

CASES = tomllib.loads(Path(__file__).with_name("tariff_cases.toml").read_text(encoding="utf-8"))["case"]
TABLES = ("tariffs", "tariff_periods", "tariff_tiers", "tariff_charges")


def ledger(text: str) -> pl.DataFrame:
    """A ledger from CSV; what a case does not name is zero."""
    frame = pl.read_csv(io.StringIO(text.strip())).with_columns(site_id=pl.lit("A"))
    frame = frame.cast({"month": pl.Int8, "day_kind": DAY_KIND, "hour": pl.Int8})
    if "hours" not in frame.columns:
        frame = frame.with_columns(hours=1.0)
    strategies = {name.partition(".")[0] for name in frame.columns if "." in name}
    needed = [f"{s}.{name}" for s in sorted(strategies) for name in ("electricity_kwh", "fuel_kwh", "peak_kw")]
    zero = [pl.lit(0.0).alias(name) for name in needed if name not in frame.columns]
    floats = [name for name in ("hours", *needed, "other_kw") if name in (*frame.columns, *needed)]
    return frame.with_columns(zero).cast(dict.fromkeys(floats, pl.Float32))


@pytest.mark.parametrize("case", CASES, ids=lambda case: case["name"])
@pytest.mark.parametrize("kept", ["hourly", "by class"])
def test_a_bill_worked_by_hand(case: dict[str, Any], kept: str, tmp_path: Path) -> None:
    for name in TABLES:
        if name in case:
            (tmp_path / f"{name}.csv").write_text(case[name].strip() + "\n", encoding="utf-8")
    read = read_tariffs(tmp_path, "USD")
    rates = price.rates(**tables.of_rates(read.tables.__getitem__))
    site = sites({"site_id": "A", "tariff_id": "T", "annual_electricity_kwh": None} | case.get("site", {}))
    energy = ledger(case["ledger"])
    if kept == "by class":
        energy = price.by_class(energy, rates, site)
    bill = price.price(energy, rates, site).filter(strategy="a").row(0, named=True)
    assert {name: bill[name] for name in case["expected"]} == case["expected"]
