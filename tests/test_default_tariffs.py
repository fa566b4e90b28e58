"""Sites without a tariff: the average prices of their state stand in, and whoever reads the results is told."""

from pathlib import Path

import polars as pl
import pytest

from screener import pipeline
from screener.tables import default_tariffs
from tests.tables.portfolios import sites, write

ROWS = (
    {"site_id": "B", "tariff_id": "", "climate_zone": "", "postal_code": "77002"},
    {"site_id": "C", "tariff_id": "", "climate_zone": "", "postal_code": "33101", "heating_source": "fuel"},
)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = write(tmp_path_factory.mktemp("defaults") / "portfolio", sites=sites(*ROWS))
    pipeline.run(folder, folder.parent / "run")
    return folder.parent


def test_each_site_pays_the_prices_of_its_state(folder: Path) -> None:
    """Texas 8.9 and Florida 11.8 cents: the energy of today's strategy times the price."""
    used = pl.read_parquet(folder / "run" / "sites_used.parquet").sort("site_id")
    assert used["tariff_id"].to_list() == ["T1", "default_TX", "default_FL"]
    assert used["tariff_id_origin"].str.starts_with("assumed: average commercial prices").to_list() == [
        False,
        True,
        True,
    ]
    results = pl.read_parquet(folder / "run" / "strategies.parquet").filter("is_current").sort("site_id")
    for row, price in zip(results.iter_rows(named=True), (0.12, 0.089, 0.118), strict=True):
        assert row["energy_cost"] == pytest.approx(price * row["electricity_kwh"], abs=0.01)


def test_results_are_marked(folder: Path) -> None:
    ranking = pl.read_parquet(folder / "run" / "ranking.parquet")
    for row in ranking.iter_rows(named=True):
        assert ("is a placeholder, average prices of the state" in (row["notes"] or "")) == (row["site_id"] != "A")
    run = pipeline.run(folder / "portfolio", folder / "again")
    assert any(note.startswith("2 sites have no tariff: average prices of its state stand in") for note in run.notes)
    portfolio, _ = pipeline.check(folder / "portfolio")
    assert any("no tariff" in note for note in portfolio.notes)


def test_new_prices_leave_the_placeholders_where_they_are(folder: Path) -> None:
    pipeline.reprice(folder / "run", folder / "portfolio", folder / "priced")
    for file in ("strategies.parquet", "ranking.parquet", "bills.parquet"):
        assert (folder / "priced" / file).read_bytes() == (folder / "run" / file).read_bytes()


def test_every_state_has_prices_that_can_be() -> None:
    rows = default_tariffs.state_tariffs()
    assert rows.height == rows["state"].n_unique() == 52  # 50 states, the District of Columbia, all together
    assert rows["electricity_price_per_kwh"].is_between(0.05, 0.45).all()
    assert rows["fuel_price_per_kwh"].is_between(0.02, 0.13).all()
