"""Figures that may mean something else are notes at the row of the site, and so in the ranking (estimate.ranked joins them)."""

from pathlib import Path

import polars as pl
import pytest

from screener.assumptions import fill, plausible
from screener.tables import TARIFF_TABLES, doubtful, read_portfolio
from tests.tables.portfolios import TARIFFS, table, write

SITE = {"site_id": "A", "building_type": "supermarket", "postal_code": "33101", "tariff_id": "T1"}


def notes(folder: Path, **cells: str) -> list[str]:
    """What is noted at the row of a site, as it is given and as its figures are."""
    portfolio = read_portfolio(write(folder, sites=table(SITE | cells), tariffs=TARIFFS + "T2,0.7,0.04\n"))
    of_row = [note for note in portfolio.sites["row_note"] if note]
    prices = doubtful({name: portfolio.inputs[name] for name in TARIFF_TABLES}, "USD")
    of_row += prices.filter(pl.col("tariff_id") == portfolio.sites["tariff_id"].item())["note"].to_list()
    return [*of_row, *plausible.of_inputs(fill(portfolio))["note"]]


@pytest.mark.parametrize(
    ("cells", "told"),
    [
        ({"floor_area_m2": "4000"}, []),
        ({"floor_area_ft2": "43000"}, []),
        (
            {"floor_area_m2": "43000"},  # ten times the usual, and usual in square feet
            [
                "floor area 43000 m2, usually 400 to 20000 (common practice, no source)",
                "floor area in square metres would be usual in square feet: check the unit of its column",
            ],
        ),
        (
            {"floor_area_ft2": "4000"},
            [
                "floor area 372 m2, usually 400 to 20000 (common practice, no source)",
                "floor area in square feet would be usual in square metres: check the unit of its column",
            ],
        ),
        (
            {"floor_area_m2": "4000", "tariff_id": "T2"},
            [
                "a price of its tariff is unusual, electricity_price_per_kwh 0.7 where 0.03 to 0.5 USD/kWh is usual: "
                "check its unit"
            ],
        ),
    ],
    ids=["usual", "usual in feet", "feet as metres", "metres as feet", "dear"],
)
def test_doubtful_meanings_are_noted_at_the_row(cells: dict[str, str], told: list[str], tmp_path: Path) -> None:
    assert notes(tmp_path, **cells) == told
