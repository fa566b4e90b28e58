"""What water costs in energy, as `explain` tells it: the trade's ratios, and the arithmetic against the run's tables."""

import json
import re
from pathlib import Path

import polars as pl
import pytest
from typer.testing import CliRunner

from screener import explain, pipeline
from screener.commands import app
from screener.explain.account import worked_again
from screener.outputs import open_run
from screener.physics.cooling_coil import carnot_cop
from screener.strategies import MACHINES
from tests.physics.coils import converged

# A grocery store is kept near 21 degC and 50 %; an office is drier in water and warmer in gains.
KINDS = ("supermarket", "office")
ZONES = {"2A": "humid", "4A": "mixed", "5A": "cold", "2B": "dry", "4C": "marine"}
HEAD = "site_id,building_type,floor_area_m2,climate_zone,tariff_id,cooling_setpoint_c,heating_setpoint_c,humidity_limit_rh_pct"
TARIFFS = "tariff_id,electricity_price_per_kwh,demand_price_per_kw,fuel_price_per_kwh\nT,0.12,10,0.04\n"
SITES = [f"{kind} {climate}" for kind in KINDS for climate in ZONES.values()]
UNIT, ELECTRIC, CONDENSER = "standalone_dehumidifier", "overcool_electric_reheat", "overcool_condenser_reheat"


@pytest.fixture(scope="module")
def run(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("water")
    rows = [f"{kind} {climate},{kind},4000,{zone},T,21.1,20,50" for kind in KINDS for zone, climate in ZONES.items()]
    (folder / "portfolio").mkdir()
    (folder / "portfolio" / "sites.csv").write_text("\n".join([HEAD, *rows, ""]), encoding="utf-8")
    (folder / "portfolio" / "tariffs.csv").write_text(TARIFFS, encoding="utf-8")
    pipeline.run(folder / "portfolio", folder / "run")
    return folder / "run"


def test_no_ratio_without_damp_hours_or_floor(tmp_path):
    """Sites that have a unit today: none would be offered where there is next to nothing to take."""
    rows = [f"cold,warehouse,4000,8,T,26,15,80,{UNIT}", f"none,office,0,2A,T,24,20,50,{UNIT}", ""]
    (tmp_path / "portfolio").mkdir()
    (tmp_path / "portfolio" / "sites.csv").write_text("\n".join([f"{HEAD},current_strategy", *rows]), encoding="utf-8")
    (tmp_path / "portfolio" / "tariffs.csv").write_text(TARIFFS, encoding="utf-8")
    pipeline.run(tmp_path / "portfolio", tmp_path / "run")
    for site in ("cold", "none"):
        for name in (UNIT, ELECTRIC):
            found = explain.of_folder(tmp_path / "run", site, name)["year"]["energy_for_water"]
            assert found["kwh_per_kg"] is None
            assert found["litres_per_kwh"] is None or found["is_coil"]  # a coil of next to nothing, but a coil
            assert all(row["times_alone"] is row["times_in_building"] is None for row in found["beside"])
        assert "No water is removed" in printed(tmp_path / "run", "--site", site, "--strategy", UNIT)


@pytest.fixture(scope="module")
def told(run) -> dict[str, dict]:
    """By site, the figures of the standalone unit and what stands beside it."""
    return {site: explain.of_folder(run, site, UNIT)["year"]["energy_for_water"] for site in SITES}


def beside(figures: dict) -> dict[str, dict]:
    return {row["strategy"]: row for row in figures["beside"]}


@pytest.mark.parametrize("site", SITES)
def test_a_unit_alone_removes_near_six_pints_per_kwh(told, site):
    """Common practice, no source: close to six at 21 degC and 50 %, 2.8 L/kWh. Measured here 5.7 to 5.9; the unit
    also runs at the heating set point, where the same air is a little damper in relative humidity."""
    assert 5.5 <= told[site]["pints_per_kwh"] <= 6.1
    assert told[site]["litres_per_kwh"] == pytest.approx(told[site]["pints_per_kwh"] * 0.473176473)


@pytest.mark.parametrize("site", SITES)
def test_cooling_that_reheats_alone_takes_two_to_five_times_as_much(told, site):
    """Common practice, no source: two to five times. With condenser heat 2.3 to 2.7 here; with resistance heat, which
    the saying may not mean, 7.6 to 8.9: all of the coil's sensible cooling is put back at one kilowatt-hour each."""
    rows = beside(told[site])
    assert rows[UNIT]["times_alone"] == 1
    assert 2 <= rows[CONDENSER]["times_alone"] <= 5
    assert 2.25 <= rows[CONDENSER]["times_alone"] <= 2.75  # what README.md says
    assert 5 <= rows[ELECTRIC]["times_alone"] <= 10


@pytest.mark.parametrize("site", [site for site in SITES if "marine" not in site and site != "office dry"])
def test_in_the_building_electric_reheat_takes_four_to_six_times_as_much(told, site):
    """Two to five times (common practice, no source), up to 6 allowed: measured 4.2 to 5.6, most where measured envelopes let
    much water in. With condenser heat the building shows 1.6 to 2.2 times: the heat of a unit has to be cooled away in
    the season when overcooling drifts for nothing, and only surplus cooling is put back."""
    rows = beside(told[site])
    assert 2 <= rows[ELECTRIC]["times_in_building"] <= 6
    assert 1.5 <= rows[CONDENSER]["times_in_building"] <= 2.25  # what README.md says
    assert rows[UNIT]["kwh_per_kg"] > 1 / rows[UNIT]["litres_per_kwh"]  # its heat is cooled away


def test_a_few_damp_hours_that_the_building_rides_through_need_hardly_any_reheat(told):
    """An office in the desert stores what an hour overcools: measured 2.6 times with electric and 1.1 with condenser reheat."""
    rows = beside(told["office dry"])
    assert 2 <= rows[ELECTRIC]["times_in_building"] <= 3
    assert 0.8 <= rows[CONDENSER]["times_in_building"] <= 1.2


def test_in_a_marine_climate_the_heat_of_a_unit_is_worth_more_than_it_takes(told):
    """Damp hours are cool there: what the unit leaves replaces heating in a store with cold cases, so that no ratio can be
    told."""
    rows = beside(told["supermarket marine"])
    assert rows[UNIT]["kwh_per_kg"] < 0
    assert rows[CONDENSER]["times_in_building"] is rows[ELECTRIC]["times_in_building"] is None
    assert rows[ELECTRIC]["kwh_per_kg"] > rows[CONDENSER]["kwh_per_kg"] > 0


def test_the_arithmetic_is_that_of_the_table(run):
    """Every strategy of a site: water of the device over its own energy; energy over water, both beyond the reference."""
    rows = pl.read_parquet(run / "strategies.parquet").filter(pl.col("site_id") == "supermarket mixed")
    by_name = {row["strategy"]: row for row in rows.to_dicts() if row["unavailable"] is None}
    reference = by_name["temperature_only"]
    assert set(by_name) >= set(MACHINES)
    for name, row in by_name.items():
        found = explain.of_folder(run, "supermarket mixed", name)["year"]["energy_for_water"]
        all_kwh, reference_kwh = (r["electricity_kwh"] + r["fuel_kwh"] for r in (row, reference))
        more_kg = row["water_removed_kg"] - reference["water_removed_kg"]
        if name == "temperature_only":
            assert found["kwh_per_kg"] is found["litres_per_kwh"] is None
            continue
        assert found["more_water_kg"] == pytest.approx(more_kg)
        assert found["kwh_per_kg"] == pytest.approx((all_kwh - reference_kwh) / more_kg, rel=1e-6), name
        own_kwh = row["dehumidifier_kwh"] + row["regeneration_fuel_kwh"]
        if row["water_by_device_kg"]:
            assert found["litres_per_kwh"] == pytest.approx(row["water_by_device_kg"] / own_kwh), name
        elif not found["is_coil"]:
            assert found["litres_per_kwh"] is None, name
        assert [each["strategy"] for each in found["beside"]] == [UNIT, ELECTRIC, CONDENSER]


def test_times_are_those_of_the_figures(told):
    for figures in told.values():
        rows = beside(figures)
        for row in rows.values():
            assert row["times_alone"] == pytest.approx(rows[UNIT]["litres_per_kwh"] / row["litres_per_kwh"])
            if row["times_in_building"] is not None:
                assert row["times_in_building"] == pytest.approx(row["kwh_per_kg"] / rows[UNIT]["kwh_per_kg"])


def test_the_coil_alone_by_bisection(run, told):
    """The damp hours of the dry climate once more in plain Python, the coil's two laws by bisection: within 1 %."""
    site = worked_again(open_run(run), "supermarket dry", UNIT).damp
    kg, electric, condenser = 0.0, 0.0, 0.0
    for hour in site.iter_rows(named=True):
        space_c = hour["heating_setpoint_c" if hour["sensible_at_heating_w"] <= 0 else "cooling_setpoint_c"]
        adp, duty, water = converged(hour, space_c, hour["limit_humidity_ratio"], hour["outdoor_c"])
        total_w = hour["supply_kg_s"] * duty
        latent_w = hour["supply_kg_s"] * water * (2.501e6 + 1860 * space_c)  # vapour at the entering temperature
        laws = (hour["carnot_fraction"], adp, hour["outdoor_c"], duty / hour["duty_j_kg"])
        weight, fan = hour["weight_h"] / 1000, hour["fan_w"]
        kg += hour["supply_kg_s"] * water * 3600 * hour["weight_h"]
        electric += weight * (total_w / carnot_cop(*laws) + fan + (total_w - latent_w - fan))
        condenser += weight * (total_w / carnot_cop(*laws, 38.0) + fan)
    rows = beside(told["supermarket dry"])
    assert rows[ELECTRIC]["machine_water_kg"] == pytest.approx(kg, rel=0.01)
    assert rows[ELECTRIC]["machine_kwh"] == pytest.approx(electric, rel=0.01)
    assert rows[CONDENSER]["machine_kwh"] == pytest.approx(condenser, rel=0.01)


def printed(*arguments: object) -> str:
    done = CliRunner().invoke(app, ["explain", *map(str, arguments)])
    assert done.exit_code == 0, done.output
    return done.stdout


def test_both_lines_and_the_table_are_printed(run, told):
    text = printed(run, "--site", "supermarket humid", "--strategy", UNIT)
    figures = told["supermarket humid"]
    assert f"The machine alone removes {figures['litres_per_kwh']:.2f} L/kWh" in text
    assert f"In the building a kilogram beyond temperature only takes {figures['kwh_per_kg']:.3f} kWh:" in text
    times = {name: row["times_alone"] for name, row in beside(figures).items()}
    for name in (UNIT, ELECTRIC, CONDENSER):
        words = name.replace("_", " ")
        assert re.search(rf"^{words} +[\d.]+ +[\d.]+ +{times[name]:.1f} ", text, flags=re.MULTILINE), name
    coil = printed(run, "--site", "supermarket humid", "--strategy", CONDENSER)
    assert "The machine alone, run for nothing but water and all its cooling put back, removes" in coil


def test_what_removes_no_water_is_told_as_such(run):
    text = printed(run, "--site", "office marine", "--strategy", "temperature_only")
    assert "No water is removed by a machine of its own." in text
    assert "In the building not a kilogram more is removed than with temperature only." in text


def test_json_has_the_same_figures(run, told):
    document = json.loads(printed(run, "--site", "office dry", "--strategy", UNIT, "--json"))
    assert document["year"]["energy_for_water"] == told["office dry"]
