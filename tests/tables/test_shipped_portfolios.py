"""The example portfolios, read and filled: nothing at fault, nothing rejected, nothing the engine needs left empty."""

import csv
from pathlib import Path

import polars as pl
import pytest

from screener.assumptions.filling import SAME, SCALED, fill
from screener.contracts.limits import LIMIT_COLUMNS
from screener.tables import read_portfolio

PORTFOLIOS = Path(__file__).parents[2] / "portfolios"
BOTH = pytest.mark.parametrize("name", ["oddlebrook_foods", "ferrowmere_district"])


def typed_sites(name: str) -> list[dict[str, str]]:
    """The sites as the standard library reads them."""
    with (PORTFOLIOS / name / "sites.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@BOTH
def test_no_faults_and_every_row_read(name: str) -> None:
    portfolio = read_portfolio(PORTFOLIOS / name)
    assert portfolio.faults.is_empty()
    assert portfolio.rejects.is_empty()
    assert portfolio.sites["site_id"].to_list() == [site["site_id"] for site in typed_sites(name)]


@BOTH
def test_every_input_file_is_listed(name: str) -> None:
    folder = PORTFOLIOS / name
    inputs = (file for file in folder.rglob("*") if file.suffix in (".csv", ".toml"))
    expected = {file for file in inputs if file.parent.name != "new_tariffs"}  # for another pricing of its run
    assert set(read_portfolio(folder).files) == expected


@BOTH
def test_everything_the_engine_needs_is_filled(name: str) -> None:
    portfolio = read_portfolio(PORTFOLIOS / name)
    filled = fill(portfolio)
    of_type = [c for c in portfolio.building_types.columns if c in filled.columns]
    needed = sorted({*SAME, *SCALED, *of_type} - {"based_on", *LIMIT_COLUMNS})
    empty = {column: count for column, count in filled.select(needed).null_count().row(0, named=True).items() if count}
    assert empty == {}
    assert (
        filled.select(pl.sum_horizontal(pl.col(LIMIT_COLUMNS).is_not_null())).to_series().to_list()
        == [1] * filled.height
    )


@BOTH
def test_areas_are_those_typed(name: str) -> None:
    def typed_m2(site: dict[str, str]) -> float:
        if area := site.get("floor_area_m2"):
            return float(area)
        return float(site["floor_area_ft2"]) * 0.09290304  # exact: the square of 0.3048 m

    areas = fill(read_portfolio(PORTFOLIOS / name))["floor_area_m2"].to_list()
    assert areas == pytest.approx([typed_m2(site) for site in typed_sites(name)])
