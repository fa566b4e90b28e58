"""What people get wrong, and the very words they are told.

Expected texts are the project's own promise to its users: what, where, which value, the way out.
"""

from pathlib import Path
from typing import Any

import polars as pl
import pytest

from screener.errors import ContractError
from screener.tables import read_portfolio
from tests.tables.portfolios import SITE, TARIFFS, sites, table, write

TYPES = (
    "commissary, convenience_store, fitness_centre, library_archive, manufacturing, office, restaurant, retail, "
    "school, supermarket, warehouse"
)
ZONES = "0A, 0B, 1A, 1B, 2A, 2B, 3A, 3B, 3C, 4A, 4B, 4C, 5A, 5B, 5C, 6A, 6B, 7, 8"
NUMBER = "not a plain number; write it like 1234.5, without unit or thousands marks, or leave it empty"
PLACE = "nothing says where it is; give postal_code, latitude and longitude, climate_zone or weather_file"

# rows of the sites table after a good one: the change of row 3, then column, rule, value and message of its fault
ROWS = {
    "unknown building type": (
        {"building_type": "supermrket"},
        ("building_type", "unknown building_type", "supermrket"),
        'not among the building_types; did you mean "supermarket"?',
    ),
    "synonyms are not guessed": (
        {"building_type": "Church"},
        ("building_type", "unknown building_type", "Church"),
        f"not among the building_types; it has {TYPES}",
    ),
    "unknown zone": (
        {"climate_zone": "9A"},
        ("climate_zone", "unknown value", "9A"),
        f"not known; use one of {ZONES}",
    ),
    "unknown tariff": (
        {"tariff_id": "T9"},
        ("tariff_id", "unknown tariff_id", "T9"),
        "not among the tariffs; it has T1",
    ),
    "unknown strategy": (
        {"current_strategy": "standalone dehumidifier"},
        ("current_strategy", "unknown current_strategy", "standalone dehumidifier"),
        'not among the strategies; did you mean "standalone_dehumidifier"?',
    ),
    "unknown heating": (
        {"heating_source": "coal"},
        ("heating_source", "unknown value", "coal"),
        "not known; use one of fuel, electric, heat_pump, none",
    ),
    "text in numbers": ({"floor_area_m2": "big"}, ("floor_area_m2", "not a number", "big"), NUMBER),
    "a unit in the cell": ({"floor_area_m2": "900 m2"}, ("floor_area_m2", "not a number", "900 m2"), NUMBER),
    "comma of unclear meaning": ({"floor_area_m2": "1,234"}, ("floor_area_m2", "not a number", "1,234"), NUMBER),
    "not a number of floating point": ({"floor_area_m2": "nan"}, ("floor_area_m2", "not a number", "nan"), NUMBER),
    "beyond floating point": ({"floor_area_m2": "1e400"}, ("floor_area_m2", "not a number", "1e400"), NUMBER),
    "part of a day a week": (
        {"open_days_per_week": "5.5"},
        ("open_days_per_week", "not a whole number", "5.5"),
        "not a whole number; write it like 7, or leave it empty",
    ),
    "negative area": (
        {"floor_area_m2": "-5"},
        ("floor_area_m2", "too small", "-5"),
        "floor_area_m2 takes 0 to 2 000 000; check the figure and its unit",
    ),
    "bounds in the unit of the cell": (
        {"cooling_setpoint_f": "24"},
        ("cooling_setpoint_f", "too small", "24"),
        "cooling_setpoint_f takes 41 to 104; check the figure and its unit",
    ),
    "hour past midnight": (
        {"closes_hour": "26"},
        ("closes_hour", "too large", "26"),
        "closes_hour takes 0 to 24; check the figure and its unit",
    ),
    "efficiency in the wrong unit": (
        {"cooling_cop": "11"},
        ("cooling_cop", "too large", "11"),
        "cooling_cop takes 1.5 to 8; check the figure and its unit",
    ),
    "humidity in the wrong unit": (
        {"humidity_limit_rh_pct": "0.55"},
        ("humidity_limit_rh_pct", "too small", "0.55"),
        "humidity_limit_rh_pct takes 5 to 95; check the figure and its unit",
    ),
    "two units at once": (
        {"floor_area_ft2": "10764"},
        ("floor_area_m2, floor_area_ft2", "two units at once", "1000 and 10764"),
        "given in two units at once; keep one of them",
    ),
    "both humidity limits": (
        {"humidity_limit_dew_point_f": "55", "humidity_limit_rh_pct": "50"},
        ("humidity_limit_dew_point_f, humidity_limit_rh_pct", "two humidity limits", "55 and 50"),
        "one limit is enough; keep one of them",
    ),
    "heating above cooling": (
        {"heating_setpoint_f": "76", "cooling_setpoint_f": "75"},
        ("heating_setpoint_f", "set points", "76"),
        "heating above cooling_setpoint_f 75; lower the one or raise the other",
    ),
    "cooling below the heating of the type": (
        {"cooling_setpoint_c": "18"},
        ("heating_setpoint_c", "set points", "21.1 (building type)"),
        "heating above cooling_setpoint_c 18; lower the one or raise the other",
    ),
    "humidity limit above the set point": (
        {"humidity_limit_dew_point_c": "24", "cooling_setpoint_c": "23"},
        ("humidity_limit_dew_point_c", "humidity limit", "24"),
        "dew point not below cooling_setpoint_c 23; it must lie below",
    ),
    "humidity limit above the set point of the type": (
        {"humidity_limit_dew_point_f": "76"},
        ("humidity_limit_dew_point_f", "humidity limit", "76"),
        "dew point not below cooling_setpoint_c 23.9 (building type); it must lie below",
    ),
    "no place at all": ({"climate_zone": ""}, ("postal_code", "no place", None), PLACE),
    "half a place": (
        {"latitude": "40.1"},
        ("longitude", "no place", None),
        "latitude or longitude stands alone; give longitude too",
    ),
    "no postal code": (
        {"postal_code": "ABCDE"},
        ("postal_code", "wrong form", "ABCDE"),
        "not of the form [0-9]{5}; write it like 00601",
    ),
    "required cell empty": (
        {"floor_area_m2": " "},
        ("floor_area_m2", "missing value", None),
        "empty; every row of sites needs floor_area_m2 or floor_area_ft2",
    ),
    "unknown equipment": (
        {"equipment_id": "E7"},
        ("equipment_id", "unknown equipment_id", "E7"),
        "not among the equipment; that table has no good rows",
    ),
}


@pytest.mark.parametrize("case", ROWS)
def test_faulty_row(case: str, tmp_path: Path) -> None:
    change, (column, rule, value), message = ROWS[case]
    portfolio = read_portfolio(write(tmp_path, sites=sites(change)))
    expected = {"table": "sites", "row": 3, "site_id": "B", "column": column, "rule": rule, "value": value}
    assert portfolio.faults.to_dicts() == [expected | {"message": message}]
    assert portfolio.sites["site_id"].to_list() == ["A"]
    assert portfolio.rejects.select("row", "columns", "rules", "reasons").rows() == [(3, column, rule, message)]


TABLES: dict[str, tuple[dict[str, Any], tuple[str | None, ...], str]] = {
    "missing column": (
        {"sites": table({"site_id": "A", "building_type": "office", "climate_zone": "4A", "tariff_id": "T1"})},
        ("sites", "floor_area_m2", "missing column", None),
        "sites has no column floor_area_m2 or floor_area_ft2; add it, every row needs it",
    ),
    "misspelt header": (
        {"sites": sites({"heating_setpiont_c": "20"})},
        ("sites", "heating_setpiont_c", "misspelt column", None),
        'not a column of sites; did you mean "heating_setpoint_c"?',
    ),
    "header twice": (
        {"tariffs": "tariff_id,tariff_id,electricity_price_per_kwh,fuel_price_per_kwh\nT1,T1,0.1,0.04\n"},
        ("tariffs", "tariff_id", "column given twice", None),
        "stands in the header twice; keep one",
    ),
    "empty file": (
        {"sites": ""},
        ("sites", None, "empty table", None),
        "sites.csv is empty; it needs a header and at least one row",
    ),
    "header alone": (
        {"sites": table(SITE).split("\n")[0] + "\n"},
        ("sites", None, "empty table", None),
        "sites.csv has no rows below its header; add at least one",
    ),
    "Latin-1": (
        {"sites": sites({"name": "Café"}).encode("latin-1")},
        ("sites", None, "wrong encoding", None),
        'sites.csv is not UTF-8 text (line 3 has the byte 0xE9); save it as "CSV UTF-8"',
    ),
    "UTF-16": (
        {"sites": sites().encode("utf-16")},
        ("sites", None, "wrong encoding", None),
        'sites.csv is UTF-16 text, not UTF-8; save it as "CSV UTF-8"',
    ),
    "UTF-16 without a mark": (
        {"sites": sites().encode("utf-16-le")},
        ("sites", None, "wrong encoding", None),
        'sites.csv is UTF-16 text, not UTF-8; save it as "CSV UTF-8"',
    ),
    "semicolons": (
        {"tariffs": TARIFFS.replace(",", ";")},
        ("tariffs", None, "wrong separator", None),
        "columns are separated by semicolons; separate them by commas",
    ),
    "quote left open": (
        {"tariffs": TARIFFS + '"T2,0.1,0.04\n'},
        ("tariffs", None, "unreadable file", None),
        'tariffs.csv, line 3: unexpected end of data; close every " and double those inside a text',
    ),
    "setting unknown": (
        {"toml": "discont_rate = 0.03\n"},
        ("portfolio.toml", "discont_rate", "unknown setting", "0.03"),
        'not a setting; did you mean "discount_rate"?',
    ),
    "setting of the wrong kind": (
        {"toml": 'study_years = "ten"\n'},
        ("portfolio.toml", "study_years", "bad setting", "ten"),
        "not possible here; give a whole number from 1 to 60",
    ),
    "setting in per cent": (
        {"toml": "discount_rate = 3\n"},
        ("portfolio.toml", "discount_rate", "bad setting", "3"),
        "not possible here; give a number from 0 to 0.5, such as 0.03 for 3 %",
    ),
    "nominal rates without inflation": (
        {"toml": 'rates = "nominal"\n'},
        ("portfolio.toml", "inflation", "missing setting", None),
        'nominal rates hold general inflation; give it, such as inflation = 0.02, or write rates = "real"',
    ),
    "inflation in real rates": (
        {"toml": "inflation = 0.02\n"},
        ("portfolio.toml", "inflation", "two settings at odds", "0.02"),
        'real rates leave general inflation out; remove it, or write rates = "nominal"',
    ),
    "settings not TOML": (
        {"toml": "name = My stores\n"},
        ("portfolio.toml", None, "unreadable file", None),
        'not valid TOML: Invalid value (at line 1, column 8); write one key = value a line, texts in "quotes"',
    ),
}


@pytest.mark.parametrize("case", TABLES)
def test_faulty_table(case: str, tmp_path: Path) -> None:
    tables, (name, column, rule, value), message = TABLES[case]
    folder = write(tmp_path, **{key: text for key, text in tables.items() if key != "toml"})
    if "toml" in tables:
        (folder / "portfolio.toml").write_text(tables["toml"])
    faults = faults_of(folder).filter(pl.col("row").is_null()).drop("row", "site_id").row(0, named=True)
    assert faults == {"table": name, "column": column, "rule": rule, "value": value, "message": message}


def faults_of(folder: Path) -> pl.DataFrame:
    with pytest.raises(ContractError) as caught:
        read_portfolio(folder)
    assert caught.value.exit_code == 3
    return caught.value.faults


def test_missing_folder(tmp_path: Path) -> None:
    with pytest.raises(ContractError, match=r"nowhere is not a folder; give the folder that holds sites\.csv"):
        read_portfolio(tmp_path / "nowhere")


def test_missing_tables_are_told_together(tmp_path: Path) -> None:
    (tmp_path / "site.csv").write_text(sites())
    messages = faults_of(tmp_path)["message"].to_list()
    assert messages == [
        f"{tmp_path.name} has site.csv; add sites.csv: the buildings, one row each",
        f"{tmp_path.name} has site.csv; add tariffs.csv: what energy costs",
    ]


def test_table_given_twice(tmp_path: Path) -> None:
    folder = write(tmp_path)
    pl.DataFrame([SITE]).write_parquet(folder / "sites.parquet")
    assert faults_of(folder)["message"].to_list()[0] == "there are sites.csv, sites.parquet; keep one of them"


def test_not_what_its_ending_says(tmp_path: Path) -> None:
    folder = write(tmp_path)
    (folder / "sites.csv").rename(folder / "sites.xlsx")
    fault = faults_of(folder).row(0, named=True)
    assert fault["rule"] == "unreadable file"
    assert fault["message"].startswith("sites.xlsx cannot be read as XLSX (")
    assert fault["message"].endswith("); save it again or as CSV UTF-8")


def test_duplicated_site_rejects_every_copy(tmp_path: Path) -> None:
    portfolio = read_portfolio(write(tmp_path, sites=sites({}, {"site_id": "B"})))
    told = portfolio.faults.select("row", "column", "rule", "value", "message").rows()
    message = "stands in rows 3, 4; give every row its own site_id"
    assert told == [(row, "site_id", "duplicate", "B", message) for row in (3, 4)]
    assert portfolio.sites["site_id"].to_list() == ["A"]


def test_site_of_a_rejected_tariff_is_rejected_with_that_reason(tmp_path: Path) -> None:
    tariffs = TARIFFS + "T2,12.9,0.04\nT3,0.1,\nT4,-0.1,0.04\n"
    changes = [{"tariff_id": name} for name in ("T2", "T3", "T4")]
    portfolio = read_portfolio(write(tmp_path, sites=sites(*changes), tariffs=tariffs))
    told = portfolio.faults.select("table", "row", "column", "value", "message").rows()
    rejected = "its row of the tariffs table is rejected; correct that row first"
    no_fuel = "heated by fuel, which this tariff has no price for; add fuel_price_per_kwh or give heating_source"
    assert told == [
        ("sites", 3, "tariff_id", "T2", rejected),
        ("sites", 4, "tariff_id", "T3", no_fuel),
        ("sites", 5, "tariff_id", "T4", rejected),
        ("tariffs", 3, "electricity_price_per_kwh", "12.9", CENTS),
        ("tariffs", 5, "electricity_price_per_kwh", "-0.1", NEGATIVE_PRICE),
    ]


CENTS = "too dear for a price in USD; if it is in cents, divide it by 100"
NEGATIVE_PRICE = "electricity_price_per_kwh takes 0 or more; check the figure and its unit"


def test_comma_inside_a_text_without_quotes(tmp_path: Path) -> None:
    header = "site_id,building_type,climate_zone,floor_area_m2,tariff_id,name\n"
    text = header + "A,office,4A,10,T1,Main\nB,office,4A,10,T1,Elm, west\n"
    portfolio = read_portfolio(write(tmp_path, sites=text))
    told = portfolio.faults.select("row", "site_id", "rule", "value", "message").rows()
    message = "cells beyond the header; put texts that contain commas in double quotes"
    assert told == [(3, "B", "too many cells", "west", message)]


def test_all_faults_of_a_portfolio_come_at_once(tmp_path: Path) -> None:
    changes = [ROWS[case][0] for case in ROWS]
    tables = {"sites": sites(*changes), "tariffs": TARIFFS + "T2,-1,0.1\n", "strategies": "strategy\nmagic\n"}
    faults = read_portfolio_faults(write(tmp_path, **tables))
    assert set(faults["table"]) == {"sites", "tariffs", "strategies"}
    assert set(faults.filter(pl.col("table") == "sites")["row"]) == set(range(3, len(changes) + 3))


def read_portfolio_faults(folder: Path) -> pl.DataFrame:
    try:
        return read_portfolio(folder).faults
    except ContractError as error:
        return error.faults


def test_no_good_site_left(tmp_path: Path) -> None:
    folder = write(tmp_path, sites=table(SITE | {"floor_area_m2": "-1"}, SITE | {"site_id": "B", "tariff_id": "T2"}))
    assert faults_of(folder)["message"].to_list()[-1] == "every site is at fault; correct at least one"


def test_strategies_and_building_types_of_the_portfolio(tmp_path: Path) -> None:
    tables = {
        "strategies": "strategy,candidate\nmagic,yes\nstandalone_dehumidifier,maybe\n",
        "building_types": "building_type,based_on,opens_hour\nchapel,,8\nhall,retial,9\noffice,,25\n",
    }
    faults = read_portfolio_faults(write(tmp_path, **tables))
    told = faults.select("table", "row", "column", "value", "message").rows()
    assert told == [
        ("building_types", 2, "building_type", "chapel", BASED.format("a new building type")),
        ("building_types", 3, "based_on", "retial", 'not among the shipped building types; did you mean "retail"?'),
        ("building_types", 4, "opens_hour", "25", "opens_hour takes 0 to 24; check the figure and its unit"),
        ("sites", 2, "building_type", "office", REJECTED_TYPE),
        ("strategies", 2, "strategy", "magic", f"not among the strategies; it has {STRATEGIES}"),
        ("strategies", 3, "candidate", "maybe", "neither true nor false; write one of the two"),
        ("sites", None, None, None, "every site is at fault; correct at least one"),
    ]


REJECTED_TYPE = "its row of the building_types table is rejected; correct that row first"
BASED = "{}; name the type it starts from in based_on: " + TYPES
STRATEGIES = (
    "desiccant_condenser_regenerated, desiccant_fuel_regenerated, low_airflow_cooling, outdoor_air_dehumidifier, "
    "outdoor_air_dehumidifier_with_recovery, overcool_condenser_reheat, overcool_electric_reheat, overcool_fuel_reheat, "
    "overcool_reclaimed_reheat, standalone_dehumidifier, temperature_only, wrapped_coil_heat_pipe"
)
