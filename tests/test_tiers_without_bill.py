"""A tariff in blocks and a site that gives no bill: the blocks begin where a typical building of its type puts them.

Typical: medians of whole buildings of the survey of 2003 beside the checkout (CBECS, public domain); its README tells the codes.
"""

from pathlib import Path

import polars as pl
import pytest

from screener import pipeline
from screener.tables import shipped
from tests.tables.portfolios import sites, write

TIERS = "tariff_id,up_to_kwh,electricity_price_per_kwh\nT1,13500,0.16\nT1,,0.09\n"
TARIFFS = "tariff_id,fuel_price_per_kwh\nT1,0.04\n"
SURVEY = Path(__file__).parents[2] / "shared" / "stock" / "cbecs2003_electricity_end_uses_kbtu.csv"
USES = ("heat", "cooling", "ventilat", "waterheat", "lighting", "cooking", "refrig", "office", "computer", "misc")
KWH_M2 = 1 / 3.412142 / 0.09290304  # of a kBtu per square foot


def test_the_typical_bill_stands_in_and_is_told(tmp_path: Path) -> None:
    """An office of 1,000 m2: as if it had given 156 kWh/m2."""
    folder = write(
        tmp_path / "p",
        sites=sites(
            {"site_id": "B", "annual_electricity_kwh": "156000"}, {"site_id": "C", "annual_electricity_kwh": "9000000"}
        ),
        tariffs=TARIFFS,
        tariff_tiers=TIERS,
    )
    run = pipeline.run(folder, tmp_path / "run")
    results = pl.read_parquet(tmp_path / "run" / "strategies.parquet")
    cost = {site: results.filter(site_id=site)["energy_cost"].to_list() for site in "ABC"}
    assert cost["A"] == cost["B"]
    assert cost["A"] != cost["C"]
    told = {row["site_id"]: row["notes"] or "" for row in run.ranking.iter_rows(named=True)}
    assert "blocks of its tariff begin at an assumed bill" in told["A"]
    assert not [site for site in "BC" if "assumed bill" in told[site]]
    assert any(note.startswith("1 site has a tariff in tiers and no annual_electricity_kwh") for note in run.notes)


@pytest.mark.skipif(not SURVEY.is_file(), reason="the survey is not beside the checkout")
@pytest.mark.parametrize(
    ("building_type", "activity", "least_ft2", "most_ft2"),
    [
        ("office", 2, 0, 1e9),
        ("warehouse", 5, 0, 1e9),
        ("supermarket", 6, 10_000, 1e9),
        ("convenience_store", 6, 0, 9_999),
        ("fitness_centre", 13, 0, 1e9),
        ("school", 14, 0, 1e9),
        ("restaurant", 15, 0, 1e9),
        ("retail", 25, 0, 1e9),
    ],
)
def test_typical_bills_are_medians_of_the_survey(
    building_type: str, activity: int, least_ft2: float, most_ft2: float
) -> None:
    kwh_m2 = pl.sum_horizontal(USES) / pl.col("area") * KWH_M2
    mine = pl.read_csv(SURVEY).filter(
        pl.col("activity") == activity, pl.col("area").is_between(least_ft2, most_ft2), kwh_m2 > 0
    )
    types = shipped.building_types().values
    typical = types.filter(building_type=building_type)["typical_electricity_kwh_m2"].item()
    assert typical == pytest.approx(mine.select(kwh_m2.median()).item(), abs=1.0)
