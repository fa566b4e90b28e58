"""Parts add up: end uses, carriers, ledger, bills, year and portfolio, in kWh and in money."""

import shutil
from pathlib import Path

import polars as pl
import pytest
from polars.testing import assert_frame_equal

from screener import pipeline, price
from screener.contracts.end_uses import energies_of
from screener.outputs import RunFolder, open_run
from screener.strategies import REGISTRY

DISTRICT = Path(__file__).parents[1] / "portfolios" / "ferrowmere_district"
PERIODS = """\
tariff_id,months,day_kind,from_hour,to_hour,electricity_price_per_kwh,demand_price_per_kw
municipal_demand,6-9,working,12,18,0.19,6
municipal_small,,,22,6,0.07,
"""
TIERS = """\
tariff_id,months,up_to_kwh,electricity_price_per_kwh
municipal_demand,11-2,50000,0.11
municipal_demand,11-2,,0.07
"""
SITE = ["site_id", "strategy"]
FLOAT = 2e-7  # the ledger keeps 32-bit floats: 6e-8 of each amount
ROUNDED_KWH = 576 / 2**17  # each of a year's slots is rounded to a 65536th of a kilowatt-hour


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> RunFolder:
    """The district on tariffs with everything that can be billed."""
    work = tmp_path_factory.mktemp("adds_up")
    shutil.copytree(DISTRICT, work / "district")
    (work / "district" / "tariff_periods.csv").write_text(PERIODS)
    (work / "district" / "tariff_tiers.csv").write_text(TIERS)
    pipeline.run(work / "district", work / "run")
    return open_run(work / "run")


@pytest.fixture(scope="module")
def results(run: RunFolder) -> pl.DataFrame:
    there = run.table("strategies").filter(pl.col("unavailable").is_null()).collect()
    assert there["strategy"].n_unique() > len(REGISTRY) / 2  # some need what no site of the district has
    return there


@pytest.fixture(scope="module")
def bills(run: RunFolder) -> pl.DataFrame:
    tariffs, periods, tiers = (run.input(name) for name in ("tariffs", "tariff_periods", "tariff_tiers"))
    settings = run.settings
    rates = price.rates(
        tariffs, periods, tiers, settings["electricity_kg_co2_per_kwh"], settings["fuel_kg_co2_per_kwh"]
    )
    bills = price.bills(run.table("ledger").collect(), rates, run.table("sites_used").collect())
    return bills.filter(pl.col("peak_kw").is_not_null())


def test_end_uses_are_carriers(results: pl.DataFrame) -> None:
    for carrier, uses in (("electricity_kwh", energies_of("electricity")), ("fuel_kwh", energies_of("fuel"))):
        assert results.select(pl.sum_horizontal(uses)).to_series().to_list() == pytest.approx(
            results[carrier].to_list()
        )


def test_carriers_are_the_ledger(run: RunFolder, results: pl.DataFrame) -> None:
    ledger = run.table("ledger").collect()
    for strategy in REGISTRY:
        mine = results.filter(strategy=strategy).sort("site_id")
        for carrier in ("electricity_kwh", "fuel_kwh"):
            kept = ledger.group_by("site_id").agg(pl.col(f"{strategy}.{carrier}").cast(pl.Float64).sum())
            kept = kept.join(mine, on="site_id").sort("site_id")[f"{strategy}.{carrier}"]
            assert kept.to_list() == pytest.approx(mine[carrier].to_list(), rel=FLOAT, abs=ROUNDED_KWH)
        peak = (
            ledger.group_by("site_id").agg(pl.col(f"{strategy}.peak_kw").max()).join(mine, on="site_id").sort("site_id")
        )
        assert peak[f"{strategy}.peak_kw"].to_list() == pytest.approx(mine["peak_kw"].to_list(), rel=FLOAT)


def test_every_month_is_billed_and_the_bills_are_the_energy(bills: pl.DataFrame, results: pl.DataFrame) -> None:
    assert bills.group_by(SITE).len()["len"].unique().to_list() == [12]
    year = bills.group_by(SITE).agg(pl.col("electricity_kwh", "fuel_kwh").sum()).sort(SITE)
    assert_frame_equal(year, results.select(year.columns).sort(SITE), rel_tol=FLOAT, abs_tol=1e-3)


def test_bills_are_the_costs_of_the_year_to_the_cent(bills: pl.DataFrame, results: pl.DataFrame) -> None:
    parts = ["energy_cost", "demand_cost", "fuel_cost"]
    year = bills.group_by(SITE).agg(pl.col(parts).sum()).sort(SITE)
    assert_frame_equal(year, results.select(year.columns).sort(SITE), rel_tol=0, abs_tol=0.00501)
    whole = results.select(pl.sum_horizontal(parts).round(2), "annual_cost")
    assert whole["energy_cost"].to_list() == pytest.approx(whole["annual_cost"].to_list(), abs=1e-9)
    assert (results["energy_cost"] > 0).all()
    assert (results.filter(strategy="overcool_fuel_reheat")["fuel_cost"] > 0).any()


def test_savings_are_the_difference_of_costs_and_the_ranking_their_sum(run: RunFolder, results: pl.DataFrame) -> None:
    now = results.filter("is_current").select("site_id", now="annual_cost")
    saved = results.join(now, on="site_id").select(pl.col("now") - pl.col("annual_cost"), "cost_saved")
    assert saved["now"].to_list() == pytest.approx(saved["cost_saved"].to_list(), abs=1e-6)
    ranking, groups = run.table("ranking").collect(), run.table("groups").collect()
    assert ranking["cost_saved"].sum() == pytest.approx(groups["cost_saved"].sum(), abs=0.01)
    best = results.join(ranking.select("site_id", strategy="best_strategy"), on=SITE)
    assert best["cost_saved"].sum() == pytest.approx(ranking["cost_saved"].sum(), abs=0.01)
    assert ranking["cost_saved"].sum() > 0
