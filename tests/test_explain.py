"""An explained hour, worked again by an independent script with real-gas moist air; the year's account against the tables."""

import json
import re
from pathlib import Path

import polars as pl
import psychrolib
import pytest
from CoolProp.HumidAirProp import HAPropsSI
from typer.testing import CliRunner

from screener import explain, outputs, pipeline
from screener.commands import app
from screener.strategies import REGISTRY

SITES = """site_id,name,building_type,floor_area_m2,postal_code,tariff_id,current_strategy,supply_fan
A1,First,supermarket,4000,33101,T,overcool_electric_reheat,
A2,Second,office,2000,60601,T,temperature_only,cycling
A3,=Third,supermarket,3000,77002,T,overcool_condenser_reheat,
"""
TARIFFS = "tariff_id,electricity_price_per_kwh,demand_price_per_kw,fuel_price_per_kwh\nT,0.12,10,0.04\n"
STEAM_J_KG = 2.454e6  # heat of evaporation at 20 degC [steam tables, from memory]


@pytest.fixture(scope="module")
def run(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("explain")
    (folder / "portfolio").mkdir()
    (folder / "portfolio" / "sites.csv").write_text(SITES, encoding="utf-8")
    (folder / "portfolio" / "tariffs.csv").write_text(TARIFFS, encoding="utf-8")
    pipeline.run(folder / "portfolio", folder / "run")
    return folder / "run"


@pytest.fixture(scope="module")
def told(run) -> dict[str, dict]:
    """The dampest hour of the first site, by strategy that it can have."""
    rows = pl.read_parquet(run / "strategies.parquet").filter(pl.col("site_id") == "A1")
    can = rows.filter(pl.col("unavailable").is_null())["strategy"].to_list()
    assert len(can) > len(REGISTRY) / 2
    return {name: explain.of_folder(run, "A1", name) for name in can}


@pytest.fixture
def strategy(request, told) -> str:
    """A strategy of the registry; one that the site cannot have is for its own test."""
    if request.param not in told:
        pytest.skip(f"the first site cannot have {request.param}")
    return request.param


def real_gas(state: dict, pressure_pa: float) -> tuple[float, float]:
    """Enthalpy [J/kg dry air] and dew point [degC] of a printed state by CoolProp."""
    given = ("T", state["dry_bulb_c"] + 273.15, "P", pressure_pa, "W", state["humidity_ratio"])
    return HAPropsSI("H", *given), HAPropsSI("D", *given) - 273.15


@pytest.mark.parametrize("strategy", list(REGISTRY), indirect=True)
def test_states_are_those_of_a_real_gas(told, strategy):
    """Enthalpy within 1 % (of at least 20 kJ/kg), dew point within 0.15 K, as a chart would show."""
    hour = told[strategy]["hour"]
    for state in hour["states"]:
        if state["relative_humidity"] > 1 - 1e-6:  # CoolProp takes no state at or beyond saturation: a hair below it
            state = state | {"humidity_ratio": state["humidity_ratio"] * 0.9999}
        enthalpy, dew_point = real_gas(state, hour["weather"]["pressure_pa"])
        assert state["enthalpy_j_kg"] == pytest.approx(enthalpy, abs=0.01 * max(enthalpy, 20_000)), state["name"]
        assert state["dew_point_c"] == pytest.approx(dew_point, abs=0.15), state["name"]


@pytest.mark.parametrize("strategy", list(REGISTRY), indirect=True)
def test_duties_from_the_printed_states(told, strategy):
    """Flow times the difference of real-gas enthalpies is the printed duty within 1 %; water is flow times that of humidity
    ratio."""
    hour = told[strategy]["hour"]
    states = {state["name"]: state for state in hour["states"]}
    assert hour["processes"]
    for process in hour["processes"]:
        ends = []
        for end in ("from", "to"):
            state = states[process[end]]
            w = state["humidity_ratio"] * (0.9999 if state["relative_humidity"] > 1 - 1e-6 else 1)
            ends.append(real_gas(state | {"humidity_ratio": w}, hour["weather"]["pressure_pa"])[0])
        duty = process["flow_kg_s"] * (ends[0] - ends[1])
        assert process["heat_w"] == pytest.approx(duty, rel=0.01, abs=0.001 * process["flow_kg_s"] * 50_000), process
        water = states[process["from"]]["humidity_ratio"] - states[process["to"]]["humidity_ratio"]
        assert process["water_kg_s"] == pytest.approx(process["flow_kg_s"] * water, rel=1e-6, abs=1e-9)


@pytest.mark.parametrize("strategy", list(REGISTRY), indirect=True)
def test_coil_leaves_on_the_line_to_its_surface(told, strategy):
    """Bypass factor by hand: entering, leaving and a saturated surface lie on one line of the chart. Where that line is above
    saturation, as behind a heat pipe, what is too much falls out at the same enthalpy: the air leaves saturated.

    Outdoor-air units find the water they take in in a few steps, to the fifth figure.
    """
    document = told[strategy]
    states = {state["name"]: state for state in document["hour"]["states"]}
    entering, leaving = states["coil entering"], states["coil leaving"]
    surface = states["coil surface (apparatus dew point)"]
    bypass = (leaving["humidity_ratio"] - surface["humidity_ratio"]) / (
        entering["humidity_ratio"] - surface["humidity_ratio"]
    )
    expected = document["equipment"]["bypass"] ** (1 / 0.7 if strategy == "low_airflow_cooling" else 1)
    if bypass < expected * (1 - 1e-4) and strategy in ("wrapped_coil_heat_pipe", "low_airflow_cooling"):
        assert leaving["relative_humidity"] == pytest.approx(1, abs=1e-3)
    else:
        assert bypass == pytest.approx(expected, rel=2e-5 if strategy.startswith("outdoor_air") else 1e-6)
    straight = surface["enthalpy_j_kg"] + expected * (entering["enthalpy_j_kg"] - surface["enthalpy_j_kg"])
    assert leaving["enthalpy_j_kg"] == pytest.approx(straight, rel=1e-3)
    assert surface["relative_humidity"] == pytest.approx(1, abs=2e-4)


@pytest.mark.parametrize("strategy", list(REGISTRY), indirect=True)
def test_no_state_is_above_saturation(told, strategy):
    for state in told[strategy]["hour"]["states"]:
        assert state["relative_humidity"] <= 1 + 1e-9, state["name"]


@pytest.mark.parametrize("strategy", list(REGISTRY), indirect=True)
def test_balances_of_hour_and_year_close(told, strategy):
    for balance, size in ((told[strategy]["hour"], "heat_w"), (told[strategy]["year"], "heat_kwh")):
        largest = max(abs(value) for value in balance[size].values())
        unit = size.removeprefix("heat_")
        assert abs(balance[f"heat_residual_{unit}"]) < 1e-9 * largest
        name = "water_kg_s" if size == "heat_w" else "water_kg"
        largest = max(abs(value) for value in balance[name].values())
        assert abs(balance[f"water_residual_{name.removeprefix('water_')}"]) < 1e-9 * largest


@pytest.mark.parametrize("strategy", list(REGISTRY), indirect=True)
def test_the_year_is_the_strategy_table(run, told, strategy):
    """End uses add up to the carriers, the table's water is the balance's, and the engine comes to the same again."""
    row = pl.read_parquet(run / "strategies.parquet").row(
        by_predicate=(pl.col("site_id") == "A1") & (pl.col("strategy") == strategy), named=True
    )
    year = told[strategy]["year"]
    assert sum(year["energy_kwh"].values()) == pytest.approx(row["electricity_kwh"] + row["fuel_kwh"], rel=1e-8)
    more = sum(year["energy_kwh"].values()) - sum(year["reference_energy_kwh"].values())
    assert more == pytest.approx(row["dehumidification_kwh"], rel=1e-6, abs=1e-3)
    for use, value in told[strategy]["checks"]["added_up_less_table_kwh"].items():
        assert abs(value) < 1e-7 * max(row[use], 1), use
    removed = -year["water_kg"]["cooling coil"] - year["water_kg"].get("device", 0.0)
    assert removed == pytest.approx(row["water_removed_kg"], rel=1e-7)


def test_device_heat_of_a_standalone_unit_by_hand(told):
    """All it takes and all it draws ends in the space: water times heat of evaporation, and its electricity."""
    hour = told["standalone_dehumidifier"]["hour"]
    power = hour["power_w"]["dehumidifying device"]
    expected = -hour["water_kg_s"]["device"] * STEAM_J_KG + power
    assert hour["heat_w"]["device"] == pytest.approx(expected, rel=0.01)


def test_the_day_around_the_hour_is_told_hour_by_hour(told):
    """Its row of the hour is the hour; with no profile at night nobody is there; reheat is among what warms the space."""
    for document in told.values():
        day, hour = document["day"], document["hour"]
        assert [row["hour"] for row in day] == list(range(24))
        (mine,) = (row for row in day if row["hour"] == int(hour["at"][6:]))
        assert mine["people_w"] == pytest.approx(hour["heat_w"]["people"])
        assert mine["sun_w"] == pytest.approx(hour["heat_w"]["sun"])
        assert mine["reheat_w"] == pytest.approx(hour["heat_w"]["reheat"])
        assert mine["cooling_w"] == pytest.approx(-hour["heat_w"]["cooling coil"])
        electric = [power for use, power in hour["power_w"].items() if "fuel" not in use]
        assert mine["electricity_w"] == pytest.approx(sum(electric))
        waters = hour["water_kg_s"]
        assert mine["water_kg_h"] == pytest.approx(3600 * (waters["people"] + waters["processes"]))
        assert mine["dew_point_c"] == pytest.approx(hour["states"][1]["dew_point_c"], abs=0.01)
        assert all(row["people_w"] == 0 for row in day if not row["open"])


def test_the_hour_is_billed_at_its_prices(told):
    """0.12 per kWh of electricity and 0.04 of fuel, by hand."""
    hour = told["overcool_electric_reheat"]["hour"]
    kilowatts = sum(watts for name, watts in hour["power_w"].items() if "fuel" not in name) / 1000
    assert hour["bill"]["electricity_cost"] == pytest.approx(0.12 * kilowatts)
    assert hour["bill"]["fuel_price_per_kwh"] == 0.04


def screener(*arguments: object):
    return CliRunner().invoke(app, [str(a) for a in arguments])


def test_best_strategy_unless_named_and_json_is_one_document(run):
    ranking = pl.read_parquet(run / "ranking.parquet")
    result = screener("explain", run, "--site", "A3", "--json")
    assert result.exit_code == 0, result.output
    document = json.loads(result.stdout)
    assert document["strategy"] == ranking.filter(pl.col("site_id") == "A3")["best_strategy"].item()
    assert document["hour"]["steps"]


def test_text_walks_from_weather_to_money(run):
    result = screener("explain", run, "--site", "A1", "--strategy", "wrapped_coil_heat_pipe", "--at", "07-03T15")
    assert result.exit_code == 0, result.output
    for line in ("THE YEAR", "Heat of the space, kWh", "Water of the space, kg", "annual_cost", "THE HOUR 07-03T15"):
        assert line in result.stdout
    for state in ("outdoor air", "heat pipe entering", "coil entering", "coil leaving"):
        assert re.search(rf"^{state} +-?[\d.]+ +[\d.]+", result.stdout, flags=re.MULTILINE), state


def test_a_dry_hour_is_told_as_such(run):
    result = screener("explain", run, "--site", "A3", "--strategy", "outdoor_air_dehumidifier", "--at", "01-01T12")
    assert result.exit_code == 0, result.output
    assert "Temperature control alone keeps it below the limit" in result.stdout
    assert "dehumidifier_w" in result.stdout  # the unit's fans run all the same


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["--site", "A9"], "the run has no site A9; it has 3 sites, such as A"),
        (["--site", "A1", "--strategy", "magic"], "there is no strategy magic; use one of temperature_only, "),
        (["--site", "A2", "--strategy", "overcool_reclaimed_reheat"], "no refrigeration to reclaim heat from"),
        (["--site", "A1", "--at", "July"], "--at is MM-DDTHH, such as 07-12T15, not July"),
        (
            ["--site", "A1", "--at", "02-30T10"],
            "the year of this site has no hour 02-30T10; month 02 has days 01 to 28",
        ),
        (["--site", "A1", "--at", "13-01T10"], "months are 01 to 12"),
    ],
)
def test_what_there_is_not_is_told_in_words(run, arguments, message):
    result = screener("explain", run, *arguments)
    assert result.exit_code == 2
    assert message in result.stderr
    assert "Traceback" not in result.output


def test_a_folder_that_is_no_run(tmp_path):
    result = screener("explain", tmp_path, "--site", "A1")
    assert result.exit_code == 2
    assert "holds no run" in result.stderr


def test_own_weather_is_explained_from_the_run_alone(tmp_path):
    """The hourly file is kept in the run folder: the portfolio is not needed."""
    source = Path(__file__).parents[1] / "portfolios" / "ferrowmere_district"
    pipeline.run(source, tmp_path / "run")
    used = outputs.open_run(tmp_path / "run").table("sites_used").collect()
    own = used.filter(pl.col("weather_id").str.starts_with("file:"))["site_id"][0]
    document = explain.of_folder(tmp_path / "run", own, "standalone_dehumidifier", "07-31T15")
    assert document["hour"]["weight_h"] == 1
    for use, value in document["checks"]["added_up_less_table_kwh"].items():
        assert abs(value) < 1e-6 * max(document["year"][use], 1), use


@pytest.mark.parametrize("strategy", list(REGISTRY), indirect=True)
def test_printed_states_are_those_of_psychrolib(told, strategy):
    """Worked here once more with the library alone, wet-bulb by its definition: adiabatic saturation [ASHRAE 2017 ch. 1]."""
    checks, hour = told[strategy]["checks"], told[strategy]["hour"]
    assert checks["agree"]
    assert checks["states"] == len(hour["states"]) >= 4
    psychrolib.SetUnitSystem(psychrolib.SI)
    for state in hour["states"]:
        t, w, p = state["dry_bulb_c"], state["humidity_ratio"], hour["weather"]["pressure_pa"]
        assert state["volume_m3_kg"] == pytest.approx(287.042 * (t + 273.15) * (1 + 1.607858 * w) / p, rel=1e-6)
        if state["relative_humidity"] < 1:
            again = psychrolib.GetHumRatioFromTWetBulb(t, state["wet_bulb_c"], p)
            assert again == pytest.approx(w, abs=2e-6), state["name"]


def test_figures_that_do_not_agree_end_with_exit_code_4(run, monkeypatch):
    """A table that says more than the hours add up to, and a library that says another dew point."""
    results = pl.read_parquet(run / "strategies.parquet")
    changed = results.with_columns(pl.col("electricity_kwh") * 1.001)
    monkeypatch.setattr(
        outputs.RunFolder,
        "table",
        lambda self, name, real=outputs.RunFolder.table: changed.lazy() if name == "strategies" else real(self, name),
    )
    done = CliRunner().invoke(app, ["explain", str(run), "--site", "A1", "--strategy", "standalone_dehumidifier"])
    assert done.exit_code == 4
    assert "DO NOT AGREE" in done.output
    monkeypatch.undo()
    dew_point = psychrolib.GetTDewPointFromVapPres
    monkeypatch.setattr(psychrolib, "GetTDewPointFromVapPres", lambda t, vapour: dew_point(t, vapour) + 0.01)
    done = CliRunner().invoke(app, ["explain", str(run), "--site", "A1", "--strategy", "standalone_dehumidifier"])
    assert done.exit_code == 4
