"""What people get wrong, and the very words they are told: one fault a case, then several together."""

import re
from pathlib import Path

import polars as pl
import pytest

from screener import pipeline
from screener.errors import ContractError, ScreenerError
from screener.tables import read_portfolio
from tests.tables import broken
from tests.tables.broken import Case
from tests.tables.portfolios import SITE, TARIFFS, sites, table, write

BROKEN = broken.SITES | broken.OTHERS | broken.TABLES | broken.WEATHER


@pytest.mark.parametrize("case", BROKEN.values(), ids=BROKEN.keys())
def test_broken_portfolio(case: Case, tmp_path: Path) -> None:
    tables, (name, row, column, rule, value, message) = case
    folder = write(tmp_path / "chain", **tables)
    with pytest.raises(ContractError, match=re.escape(message)) as caught:
        pipeline.run(folder, tmp_path / "run", strict=True)
    assert caught.value.exit_code == 3
    expected = {"table": name, "row": row, "column": column, "rule": rule, "value": value, "message": message}
    assert expected in caught.value.faults.drop("site_id").to_dicts()
    assert not (tmp_path / "run").exists()


def test_there_are_eighty_of_them() -> None:
    assert len(BROKEN) == len(broken.SITES) + len(broken.OTHERS) + len(broken.TABLES) + len(broken.WEATHER) >= 80


@pytest.mark.parametrize("case", broken.SITES.values(), ids=broken.SITES.keys())
def test_other_rows_of_a_broken_table_are_used(case: Case, tmp_path: Path) -> None:
    tables, (_, row, column, rule, _, message) = case
    portfolio, sites_used = pipeline.check(write(tmp_path, **tables))
    assert sites_used["site_id"].to_list() == ["A"]
    assert portfolio.faults.height == 1
    assert portfolio.rejects.select("row", "columns", "rules", "reasons").rows() == [(row, column, rule, message)]


def faults_of(folder: Path) -> pl.DataFrame:
    try:
        return read_portfolio(folder).faults
    except ContractError as error:
        return error.faults


def test_missing_folder(tmp_path: Path) -> None:
    message = r"nowhere is not a folder; give the folder that holds sites\.csv and tariffs\.csv"
    with pytest.raises(ScreenerError, match=message) as caught:
        pipeline.run(tmp_path / "nowhere", tmp_path / "run")
    assert caught.value.exit_code == 3


def test_duplicated_site_rejects_every_copy(tmp_path: Path) -> None:
    """Of two rows that say different things of one site neither is right; the same row twice is one site."""
    again = read_portfolio(write(tmp_path / "again", sites=sites({}, {"site_id": "B"})))
    assert again.rejects.select("row", "rules", "reasons").rows() == [(4, "duplicate", "the same site as B in row 3")]
    portfolio = read_portfolio(write(tmp_path, sites=sites({}, {"site_id": "B", "floor_area_m2": "900"})))
    told = portfolio.faults.select("row", "column", "rule", "value", "message").rows()
    message = "stands in rows 3, 4; give every row its own site_id"
    assert told == [(row, "site_id", "duplicate", "B", message) for row in (3, 4)]
    assert portfolio.sites["site_id"].to_list() == ["A"]


def test_site_of_a_rejected_tariff_is_rejected_with_that_reason(tmp_path: Path) -> None:
    tariffs = TARIFFS + "T2,12.9,0.04\nT3,0.1,\n"
    portfolio = read_portfolio(write(tmp_path, sites=sites({"tariff_id": "T2"}, {"tariff_id": "T3"}), tariffs=tariffs))
    told = portfolio.faults.filter(table="sites").select("row", "column", "rule", "value", "message").rows()
    rejected = "its row of the tariffs table is rejected; correct that row first"
    no_fuel = "heated by fuel, which this tariff has no price for; add fuel_price_per_kwh or give heating_source"
    assert told == [
        (3, "tariff_id", "rejected reference", "T2", rejected),
        (4, "tariff_id", "no fuel price", "T3", no_fuel),
    ]


def test_site_of_a_rejected_building_type_is_rejected_with_that_reason(tmp_path: Path) -> None:
    types = "building_type,opens_hour\noffice,25\n"
    change = {"building_type": "retail"}
    portfolio = read_portfolio(write(tmp_path, sites=sites(change), building_types=types))
    told = portfolio.faults.filter(table="sites").select("row", "column", "value", "message").rows()
    message = "its row of the building_types table is rejected; correct that row first"
    assert told == [(2, "building_type", "office", message)]


def test_equipment_of_another_strategy(tmp_path: Path) -> None:
    machine = "equipment_id,strategy\nE1,standalone dehumidifier\n"
    good = {"equipment_id": "E1", "current_strategy": "Dehumidifier"}
    other = {"equipment_id": "E1", "current_strategy": "overcool_fuel_reheat"}
    portfolio = read_portfolio(write(tmp_path, sites=sites(good, other, {"equipment_id": "E1"}), equipment=machine))
    told = portfolio.faults.select("row", "column", "rule", "value", "message").rows()
    message = "serves standalone_dehumidifier, but the site's strategy is {}; correct equipment_id or current_strategy"
    assert told == [
        (row, "equipment_id", "equipment of another strategy", "E1", message.format(strategy))
        for row, strategy in ((4, "overcool_fuel_reheat"), (5, "temperature_only (building type)"))
    ]


def test_comma_inside_a_text_without_quotes(tmp_path: Path) -> None:
    header = "site_id,building_type,climate_zone,floor_area_m2,tariff_id,name\n"
    text = header + "A,office,4A,10,T1,Main\nB,office,4A,10,T1,Elm, west\n"
    portfolio = read_portfolio(write(tmp_path, sites=text))
    told = portfolio.faults.select("row", "site_id", "rule", "value", "message").rows()
    message = "cells beyond the header; put texts that contain commas in double quotes"
    assert told == [(3, "B", "too many cells", "west", message)]


def test_all_faults_of_a_portfolio_come_at_once(tmp_path: Path) -> None:
    cells = {"floor_area_m2": "big", "cooling_cop": "11", "tariff_id": "T9", "climate_zone": "9A"}
    changes = [{column: text} for column, text in cells.items()] + [cells]
    tables = {"sites": sites(*changes), "tariffs": TARIFFS + "T2,-1,0.1\n", "strategies": "strategy\nmagic\n"}
    faults = faults_of(write(tmp_path, **tables))
    assert set(faults["table"]) == {"sites", "tariffs", "strategies"}
    of_sites = faults.filter(pl.col("table") == "sites").select("row", "column").rows()
    assert sorted(of_sites) == sorted([*zip(range(3, 7), cells, strict=True), *((7, column) for column in cells)])


def test_faults_of_tables_and_of_files_are_told_together(tmp_path: Path) -> None:
    folder = write(tmp_path, sites=table(SITE | {"floor_area_m2": "big"}), tariffs="electricity_price_per_kwh\n0.1\n")
    assert {(f["table"], f["rule"]) for f in faults_of(folder).to_dicts()} >= {
        ("sites", "not a number"),
        ("tariffs", "missing column"),
    }
