"""The table of bills: it adds up to the strategy table, its charges to its totals, its peaks are those of the ledger."""

import re
from pathlib import Path

import polars as pl
import pytest

from screener import explain, outputs, pipeline, price, tables
from screener.tables import read_tariffs
from tests.tables.portfolios import sites, write

HEAD = "tariff_id,charge,months,days,from_hour,to_hour,above,up_to"
CHARGES = f"""{HEAD},electricity_price_per_kwh,demand_price_per_kw,electricity_percent,demand_assessed
T1,energy,,,,,,3000,0.12,,,
T1,energy,,,,,3000,,0.09,,,
T1,peak,Jun-Sep,Mon-Fri,12,18,,,0.07,,,
T1,maximum,,,,,,,,4.35,,
T1,on peak,Jun-Sep,Mon-Fri,12,18,,,,9.15,,
T1,tax,,,,,,,,,6.25,
"""
TARIFFS = "tariff_id,fuel_price_per_kwh\nT1,0.0413\nT2,0.05\n"
T2 = "T2,energy,,,,,,,0.1117,,,\nT2,fridays,,Fri,12,18,,,0.05,,,\nT2,day,,Mon-Fri,8,20,,,,0.2,,daily\n"
ROWS = (
    {
        "site_id": "D",
        "tariff_id": "T1",
        "climate_zone": "2A",
        "heating_source": "fuel",
        "annual_electricity_kwh": "400000",
    },
    {"site_id": "B", "tariff_id": "T1", "climate_zone": "5A", "heating_source": "electric"},
    {"site_id": "C", "tariff_id": "T2", "climate_zone": "3A", "heating_source": "fuel"},
)


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> Path:
    work = tmp_path_factory.mktemp("bills")
    folder = write(work / "portfolio", sites=sites(*ROWS), tariffs=TARIFFS, tariff_charges=CHARGES + T2)
    pipeline.run(folder, work / "run")
    return work / "run"


def test_the_year_is_the_strategy_table_to_the_cent(run: Path) -> None:
    bills = pl.read_parquet(run / "bills.parquet")
    results = pl.read_parquet(run / "strategies.parquet")
    parts = bills.group_by("site_id", "strategy").agg(
        electric=pl.col("energy_cost").filter(pl.col("carrier") == "electricity").sum().round(2),
        demand=pl.col("demand_cost").sum().round(2),
        fuel=pl.col("energy_cost").filter(pl.col("carrier") == "fuel").sum().round(2),
        total=pl.col("total").sum().round(2),
    )
    both = parts.join(results, on=["site_id", "strategy"])
    assert both.height == parts.height >= 3
    for mine, theirs in (
        ("electric", "energy_cost"),
        ("demand", "demand_cost"),
        ("fuel", "fuel_cost"),
        ("total", "annual_cost"),
    ):
        assert both[mine].to_list() == both[theirs].to_list()


def test_every_bill_is_in_whole_cents_and_the_sum_of_its_charges(run: Path) -> None:
    bills = pl.read_parquet(run / "bills.parquet")
    assert (bills["total"] == bills["total"].round(2)).all()
    for row in bills.iter_rows(named=True):
        amounts = [float(each) for each in re.findall(r": (-?[\d.]+)(?:;|$)", row["charges"] or "")]
        assert sum(amounts) == pytest.approx(row["total"], abs=0.005 * len(amounts) + 0.011)
    july = bills.filter(pl.col("site_id") == "D", pl.col("month") == 7, pl.col("carrier") == "electricity")
    assert "energy 0 to 3000 kWh: " in july["charges"][0] or "energy above 3000 kWh: " in july["charges"][0]
    assert "on peak: " in july["charges"][0]
    assert "per cent of the charges: " in july["charges"][0]


def test_peaks_are_those_of_the_ledger(run: Path) -> None:
    bills = pl.read_parquet(run / "bills.parquet").filter(pl.col("carrier") == "electricity")
    ledger = pl.read_parquet(run / "ledger.parquet")
    for row in bills.iter_rows(named=True):
        mine = ledger.filter(pl.col("site_id") == row["site_id"], pl.col("month") == row["month"])
        at = mine.filter(pl.col("day_kind") == row["peak_day_kind"], pl.col("hour") == row["peak_hour"])
        column = f"{row['strategy']}.peak_kw"
        assert at[column].item() == mine[column].max() == pytest.approx(row["peak_kw"], rel=1e-6)


def test_a_bill_of_a_ledger_without_hours_keeps_the_hours_of_its_peaks(run: Path, tmp_path: Path) -> None:
    folder = run.parent / "portfolio"
    pipeline.run(folder, tmp_path / "monthly", ledger_form="monthly")
    pipeline.reprice(tmp_path / "monthly", folder, tmp_path / "again")
    whole, monthly, again = (
        pl.read_parquet(each / "bills.parquet") for each in (run, tmp_path / "monthly", tmp_path / "again")
    )
    assert whole.equals(monthly)
    assert whole.equals(again)


def test_explain_tells_the_bills_of_any_strategy(run: Path) -> None:
    opened = outputs.open_run(run)
    results = pl.read_parquet(run / "strategies.parquet").filter(pl.col("site_id") == "D")
    for row in results.filter(pl.col("unavailable").is_null()).iter_rows(named=True):
        months = explain.bills(opened, "D", row["strategy"])
        assert months["month"].to_list() == list(range(1, 13))
        assert months["total"].sum() == pytest.approx(row["annual_cost"], abs=0.001)
    text = explain.printed(explain.explain(opened, "D"))
    lines = text.partition("THE BILLS")[2].partition("THE DAY")[0].strip().splitlines()
    assert len(lines) == 1 + 2 + 12 + 1
    assert "air system's peak" in lines[1]


def test_demand_is_what_the_air_system_adds_to_the_meter(run: Path) -> None:
    """Of D, whose bill is known, July by hand from the ledger: a maximum and the highest of 12 to 18 h, both with the tax."""
    ledger = pl.read_parquet(run / "ledger.parquet")
    of_others = ledger.filter(pl.col("site_id") != "D")["other_kw"]
    assert of_others.null_count() == of_others.len()
    mine = ledger.filter(pl.col("site_id") == "D")
    today = pl.read_parquet(run / "ranking.parquet").filter(pl.col("site_id") == "D")["current_strategy"].item()
    whole = (mine["other_kw"] * mine["hours"]).sum() + mine[f"{today}.electricity_kwh"].sum()
    assert whole == pytest.approx(400_000, rel=1e-5)
    bills = pl.read_parquet(run / "bills.parquet").filter(carrier="electricity", month=7)
    [bill] = bills.filter(site_id="D", strategy=today).to_dicts()
    july = mine.filter(pl.col("month") == 7).with_columns(meter=pl.col("other_kw") + pl.col(f"{today}.peak_kw"))
    on_peak = july.filter(pl.col("day_kind") == "working", pl.col("hour").is_between(12, 17))
    added = [each["meter"].max() - each["other_kw"].max() for each in (july, on_peak)]  # type: ignore[operator]
    assert bill["demand_cost"] == pytest.approx(1.0625 * (4.35 * added[0] + 9.15 * added[1]), abs=0.02)
    assert bill["meter_kw"] == pytest.approx(july["meter"].max(), rel=1e-6)
    assert bill["peak_kw"] < bill["meter_kw"]
    assert bills.filter(site_id="C")["meter_kw"].null_count() == bills.filter(site_id="C").height


def test_a_site_whose_tariff_names_single_days_says_that_they_are_apportioned(run: Path) -> None:
    notes = pl.read_parquet(run / "ranking.parquet").select("site_id", pl.col("notes").str.contains("count of days"))
    assert dict(notes.iter_rows()) == {"A": False, "D": False, "B": False, "C": True}
    [told] = pl.read_parquet(run / "ranking.parquet").filter(site_id="C")["notes"]
    assert "demand by the day" in told
    told = read_tariffs(run.parent / "portfolio", "USD").notes
    assert [note for note in told if "row 9 (Fri)" in note and "an approximation" in note]
    site = pl.DataFrame({"tariff_id": ["T2"], "annual_electricity_kwh": [1.0]})
    rates = price.rates(**tables.of_rates(outputs.open_run(run).input))
    assert "1 site has a tariff with charges on single days" in price.notes(site, rates)[0]


def test_the_ranking_has_energy_demand_and_fuel_apart(run: Path) -> None:
    ranking = pl.read_parquet(run / "ranking.parquet")
    parts = ranking["energy_charges_saved"] + ranking["demand_charges_saved"] + ranking["fuel_charges_saved"]
    assert (parts - ranking["cost_saved"]).abs().max() < 0.01  # type: ignore[operator]
