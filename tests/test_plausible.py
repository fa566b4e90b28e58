"""Notes on figures that are possible but unlikely: which, in which words, and none for what ships."""

import csv
from pathlib import Path

import polars as pl
import pytest
from typer.testing import CliRunner

from screener import pipeline
from screener.assumptions import plausible
from screener.commands import app
from screener.contracts import load
from screener.physics import cooling_coil
from screener.tables import shipped
from screener.worksheet import Worksheet
from tests.tables.portfolios import SITE, sites, table, write

PORTFOLIOS = Path(__file__).parents[1] / "portfolios"
CODE_OFFICE_L_S = 1000 * (
    0.05382 * 2.35974 + 0.3048
)  # 5 cfm/person at 5 per 1000 ft2, 0.06 cfm/ft2 [ASHRAE 62.1 table 6-1]

# An office of 1000 m2: what is given, and the whole note. Ranges: screener/assumptions/plausible_ranges.csv, sources there.
UNLIKELY = {
    "bill of a month": (
        {"annual_electricity_kwh": "9000"},
        "electricity bill 9 kWh/m2 a year, usually 13.6 to 555 (CBECS 2012 table C14, all buildings)",
    ),
    "a year's load tenfold": (
        {"other_load_kwh": "900000"},
        "electricity beside the air system 900 kWh/m2 a year, usually at most 555 (CBECS 2012 table C14, all buildings)",
    ),
    "capacity in tons": (
        {"cooling_capacity_kw": "25"},
        "cooling capacity 25 W/m2, usually 30 to 400 (common practice, no source)",
    ),
    "five times the code's air": (
        {"outdoor_air_l_s": f"{5 * CODE_OFFICE_L_S}", "peak_occupants": "53.82"},
        "outdoor air 5 times the code's rate, usually 0.5 to 4 (ASHRAE 62.1 eq. 6-1)",
    ),
    "a stadium": (
        {"peak_occupants": "538.2", "outdoor_air_l_s": "1500"},
        "peak occupants 10 times the code's density, usually 0.1 to 3 (ASHRAE 62.1 table 6-1)",
    ),
    "an open barn": (
        {"infiltration_l_s_m2": "5"},
        "infiltration 5 L/(s m2), usually 0.01 to 3 (common practice, no source)",
    ),
    "one morning a week": (
        {"opens_hour": "8", "closes_hour": "12", "open_days_per_week": "1"},
        "opening hours 4 h a week, usually 20 to 168 (common practice, no source)",
    ),
    "a cold room": (
        {"cooling_setpoint_c": "12", "heating_setpoint_c": "10", "humidity_limit_dew_point_c": "5"},
        "cooling set point 12 degC, usually 16 to 28 (ASHRAE 55 (from memory))",
    ),
    "a damp limit": (
        {"humidity_limit_dew_point_f": "62"},
        "dew point limit 16.7 degC, usually at most 15 (ASHRAE 62.1-2019 section 5.10)",
    ),
    "a dry limit": (
        {"humidity_limit_rh_pct": "20"},
        "relative humidity limit 20 %, usually 30 to 65 (ASHRAE 62.1-2016 section 5.9)",
    ),
    "a worn machine": (
        {"cooling_eer": "6"},
        "cooling efficiency 1.76 kW/kW, usually 2.2 to 5.5 (common practice, no source)",
    ),
}


@pytest.mark.parametrize("case", UNLIKELY)
def test_note(case: str, tmp_path: Path) -> None:
    change, note = UNLIKELY[case]
    _, checked = pipeline.check(write(tmp_path, sites=sites(change)))
    assert plausible.of_inputs(checked).select("site_id", "note").rows() == [("B", note)]


def test_no_note_for_what_ships_or_is_left_empty(tmp_path: Path) -> None:
    types = pl.read_csv(shipped.DEFAULTS / "building_types.csv")["building_type"].unique().to_list()
    rows = [SITE | {"site_id": name, "building_type": name} for name in types if name != "*"]
    _, checked = pipeline.check(write(tmp_path, sites=table(*rows)))
    assert plausible.of_inputs(checked).is_empty()
    origins = [pl.lit("given").alias(name) for name in checked.columns if name.endswith("_origin")]
    assert plausible.of_inputs(checked.with_columns(origins)).is_empty()


def test_every_range_has_a_source_and_an_order() -> None:
    with plausible.RANGES.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert {row["figure"] for row in rows} == {*plausible.INPUTS, "air_system"}
    assert {row["figure"] for row in rows if row["building_type"] == "*"} == {*plausible.INPUTS, "air_system"}
    for row in rows:
        assert len(row["source"]) > 15
        assert row["high"] == "" or float(row["low"]) < float(row["high"])


def test_electricity_above_the_bill_is_noted_in_the_ranking(tmp_path: Path) -> None:
    store = {"building_type": "supermarket", "climate_zone": "1A", "current_strategy": "overcool_electric_reheat"}
    changes = [{**store, "annual_electricity_kwh": bill} for bill in ("80000", "900000")]
    changes[1]["other_load_kwh"] = "950000"
    changes.append({**store, "outdoor_air_l_s": "3000"})
    out = tmp_path / "run"
    pipeline.run(write(tmp_path / "portfolio", sites=sites(*changes)), out)
    notes = dict(pl.read_parquet(out / "ranking.parquet").select("site_id", "notes").rows())
    used = pl.read_parquet(out / "strategies.parquet").filter(pl.col("is_current") & (pl.col("site_id") == "B"))
    kwh = used["electricity_kwh"][0]
    assert kwh > 80_000
    told = f"the air system alone would use {kwh:.0f} kWh a year, more than the whole bill of 80000: check loads, hours"
    assert told in notes["B"]
    assert "the air system alone would use" not in notes["C"]
    assert "other_load_kwh of 950000 is more than the whole bill of 900000: demand takes the first" in notes["C"]
    assert "electricity for cooling with reheat and fans " in notes["D"]
    assert ", usually at most 152 (CBECS 2003 table E6A, food sales)" in notes["D"]


def test_check_prints_notes_and_keeps_them_few(tmp_path: Path) -> None:
    many = sites(*[{"site_id": f"S{i:02}", "cooling_eer": "6"} for i in range(15)])
    result = CliRunner().invoke(app, ["check", str(write(tmp_path, sites=many))])
    assert result.exit_code == 0
    assert result.stderr.count("cooling efficiency 1.76") == 10
    assert "5 more notes like these; a run has all of them in ranking.csv" in result.stderr


def test_stated_zone_against_the_place(tmp_path: Path) -> None:
    folder = write(tmp_path, sites=sites({"postal_code": "33101", "climate_zone": "5A"}))
    result = CliRunner().invoke(app, ["check", str(folder)])
    assert "site B: states climate zone 5A but the place lies in 1A" in result.stderr


def test_a_coil_rating_that_does_not_come_back_is_said(tmp_path: Path) -> None:
    """A sensible heat ratio of 0.85 at 50 L/s per kW asks for more air on saturation than there is; 0.72 is ordinary."""
    frame = pl.DataFrame(
        {
            "site_id": ["A", "B"],
            "cooling_cop": [3.2, 3.2],
            "rated_sensible_heat_ratio": [0.85, 0.72],
            "supply_air_l_s_kw": [50.0, 50.0],
            "fan_power_w_l_s": [0.773, 0.773],
        }
    )
    (note,) = plausible.of_ratings(frame).to_dicts()
    assert (note["site_id"], note["figure"]) == ("A", "coil_rating")
    assert note["note"] == (
        "the rating of the cooling coil, a sensible heat ratio of 0.85 at 50 L/s per kW, leaves a bypass factor of 0, where no "
        "coil has less than 0.02: at its own rating point it comes back as 0.77 with 97 % of the capacity; "
        "check ratio and air flow"
    )
    own = "building_type,based_on,rated_sensible_heat_ratio\nB,retail,0.85\n"
    folder = write(tmp_path, sites=sites({"building_type": "B"}), building_types=own)
    told = CliRunner().invoke(app, ["check", str(folder)]).stderr
    assert "a sensible heat ratio of 0.85 at 50 L/s per kW" in told


def test_no_efficiency_beyond_carnot_is_taken() -> None:
    """At the highest that the sites table takes the compressor still needs a machine better than any, but not than Carnot's."""
    sheet = Worksheet()
    highest = load("sites").field("cooling_cop").constraints["maximum"]
    cooling_coil.rate(sheet, 10_000.0, highest, 0.72, 0.5, 387.0, 101_325.0)
    assert 0.9 < sheet.of_one()["carnot_fraction"] < 1.0
