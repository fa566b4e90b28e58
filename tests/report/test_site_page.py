"""The page of a site against the run's tables, against `explain`, and against psychrolib."""

import json
import re
from pathlib import Path

import polars as pl
import psychrolib
import pytest
from typer.testing import CliRunner

from screener import pipeline, report
from screener.commands import app
from screener.explain import origins_of_type, year
from screener.outputs import RunFolder, open_run
from screener.report.site import file_name
from tests.report.conftest import HARM
from tests.report.reading import Page, drawing, page, shapes

SITE = "S126"  # changes from overcooling to a device
UNCHANGED = "C303"  # controls nothing today, and nothing pays


@pytest.fixture(scope="module")
def run(example: Path) -> RunFolder:
    return open_run(example)


@pytest.fixture(scope="module")
def files(example: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    out = tmp_path_factory.mktemp("site")
    return {file.name: file for file in report.write_site(example, SITE, out, pictures=True)}


@pytest.fixture(scope="module")
def shown(files: dict[str, Path]) -> Page:
    return page(files[f"site-{SITE}.html"].read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def results(run: RunFolder) -> pl.DataFrame:
    return run.table("strategies").filter(pl.col("site_id") == SITE).collect()


def shapes_of(files: dict[str, Path], chart: str, attribute: str) -> list[dict[str, str]]:
    return shapes(drawing(files[f"site-{SITE}-{chart}.svg"].read_text(encoding="utf-8")), attribute)


def test_the_account_is_the_strategy_table(shown: Page, results: pl.DataFrame) -> None:
    rows = {row["strategy"].replace(" ", "_"): row for row in shown.tables["strategies"]}
    can = results.filter(pl.col("unavailable").is_null())
    assert set(rows) == set(can["strategy"])
    why = {row["strategy"].replace(" ", "_"): row["unavailable"] for row in shown.tables.get("cannot", [])}
    absent = results.filter(pl.col("unavailable").is_not_null())
    assert why == dict(zip(absent["strategy"], absent["unavailable"].str.replace_all("_", " "), strict=True))
    for due in can.iter_rows(named=True):
        row = rows[due["strategy"]]
        for name in ("electricity_kwh", "fuel_kwh", "annual_cost", "net_savings", "hours_above_limit", "peak_kw"):
            if due[name] is not None:
                assert float(row[name]) == pytest.approx(due[name], rel=1e-8), (due["strategy"], name)
    order = [row["strategy"] for row in shown.tables["strategies"]]
    assert order[0].replace(" ", "_") == results.filter("is_current")["strategy"].item()
    assert [row["holds_limit"] for row in shown.tables["strategies"]] == sorted(
        (row["holds_limit"] for row in shown.tables["strategies"]), key=["yes", "no", ""].index
    )


def test_end_uses_are_the_strategy_table(files: dict[str, Path], results: pl.DataFrame) -> None:
    parts = shapes_of(files, "end-uses", "data-end-use")
    for due in results.iter_rows(named=True):
        mine = [p for p in parts if p["data-label"].replace(" ", "_") == due["strategy"]]
        total = sum(float(p["data-value"]) for p in mine)
        assert total == pytest.approx((due["electricity_kwh"] or 0) + (due["fuel_kwh"] or 0), rel=1e-6)


def test_water_of_the_months_adds_up_to_the_strategy_table_and_to_nothing(
    files: dict[str, Path], results: pl.DataFrame
) -> None:
    parts = shapes_of(files, "moisture", "data-kg")
    strategies = {part["data-strategy"] for part in parts}
    assert len(strategies) == 2
    for strategy in strategies:
        mine = [part for part in parts if part["data-strategy"] == strategy]
        due = results.filter(strategy=strategy).row(0, named=True)
        for part, total in (("coil_kg", "water_by_coil_kg"), ("device_kg", "water_by_device_kg")):
            found = sum(float(each["data-kg"]) for each in mine if each["data-part"] == part)
            assert found == pytest.approx(due[total], rel=1e-6, abs=1e-3)
        for month in range(1, 13):
            come = {each["data-part"]: float(each["data-kg"]) for each in mine if int(each["data-month"]) == month}
            arrived = sum(come.pop(each, 0.0) for each in ("people_kg", "damp_air_kg", "given_back_kg"))
            assert arrived == pytest.approx(sum(come.values()), rel=1e-6)


def test_humidity_held_is_above_the_limit_for_the_hours_of_the_table(run: RunFolder, results: pl.DataFrame) -> None:
    """Above counts from half a percent of humidity ratio, brought to a dew point by psychrolib."""
    psychrolib.SetUnitSystem(psychrolib.SI)
    ranked = run.table("ranking").filter(pl.col("site_id") == SITE).collect().row(0, named=True)
    strategies = [ranked["current_strategy"], ranked["best_strategy"], "temperature_only"]
    found = year(run, SITE, strategies)
    limit = psychrolib.GetTDewPointFromHumRatio(40.0, 1.005 * found.limit_humidity_ratio, found.pressure_pa)
    for strategy in strategies:
        held = found.held.filter(strategy=strategy)
        assert held["weight_h"].sum() == pytest.approx(8760, abs=1)
        above = held.filter(pl.col("dew_point_c") > limit + 1e-3)["weight_h"].sum()
        assert above == pytest.approx(results.filter(strategy=strategy)["hours_above_limit"].item(), abs=3)


def test_states_are_those_of_explain_and_agree_with_psychrolib(
    files: dict[str, Path], shown: Page, example: Path, run: RunFolder
) -> None:
    psychrolib.SetUnitSystem(psychrolib.SI)
    ranked = run.table("ranking").filter(pl.col("site_id") == SITE).collect().row(0, named=True)
    at = re.search(r"Hour (\d\d-\d\dT\d\d)", shown.text)
    assert at
    dots = shapes_of(files, "psychrometric", "data-state")
    for strategy in (ranked["current_strategy"], ranked["best_strategy"]):
        arguments = ["explain", example, "--site", SITE, "--strategy", strategy, "--at", at[1], "--json"]
        hour = json.loads(CliRunner().invoke(app, [str(a) for a in arguments]).stdout)["hour"]
        drawn = {dot["data-state"]: dot for dot in dots if dot["data-strategy"] == strategy}
        told = {s["name"]: s for s in hour["states"] if not s["name"].startswith("limit")}
        assert set(drawn) == set(told)
        for name, state in told.items():
            t, w = float(drawn[name]["data-dry-bulb-c"]), float(drawn[name]["data-humidity-ratio"])
            assert (t, w) == pytest.approx((state["dry_bulb_c"], state["humidity_ratio"]), rel=1e-8)
            assert state["enthalpy_j_kg"] == pytest.approx(psychrolib.GetMoistAirEnthalpy(t, w), abs=1)
            saturated = psychrolib.GetSatHumRatio(t, hour["weather"]["pressure_pa"])
            assert w <= saturated * 1.01, name  # what is drawn is air, not fog, but for a coil's straight line


def test_the_hour_of_the_peak_is_the_ledgers(shown: Page, run: RunFolder) -> None:
    ledger = run.table("ledger").filter(pl.col("site_id") == SITE).collect()
    ranked = run.table("ranking").filter(pl.col("site_id") == SITE).collect().row(0, named=True)
    for strategy in (ranked["current_strategy"], ranked["best_strategy"]):
        powers = ledger[f"{strategy}.peak_kw"]
        told = re.search(rf"{strategy.replace('_', ' ')}: ([\d,.]+) kW in (\w+), on .*?, (\d+) to (\d+) o", shown.text)
        assert told
        assert float(told[1].replace(",", "")) == pytest.approx(max(powers), abs=0.05)
        hours = ledger.filter(pl.col(f"{strategy}.peak_kw") == max(powers))["hour"].to_list()
        assert int(told[3]) in hours
        assert int(told[4]) == int(told[3]) + 1


def test_figures_and_their_origins_are_those_used(shown: Page, run: RunFolder) -> None:
    used = run.table("sites_used").filter(pl.col("site_id") == SITE).collect().row(0, named=True)
    origins = [row["origin"] for row in shown.tables["figures"]]
    assumed = [name for name in used if name.endswith("_origin") and str(used[name]).startswith("assumed")]
    of_type = origins_of_type(used)
    assert sum(origin.startswith("assumed") for origin in origins) == len(assumed) + len(of_type)
    gains = next(row for row in shown.tables["figures"] if row["figure"].startswith("Heat of lights and equipment"))
    assert gains["origin"] == of_type["internal_gain_w_m2"]
    area = next(row for row in shown.tables["figures"] if row["figure"].startswith("Conditioned floor area"))
    assert float(area["value"].replace(",", "")) == pytest.approx(used["floor_area_m2"], rel=1e-5)
    assert f"({used['floor_area_m2'] / 0.3048**2:,.0f} ft²)" in shown.text  # international foot, exact


def test_a_site_where_nothing_pays_shows_todays_way_alone(example: Path, tmp_path: Path) -> None:
    (file,) = report.write_site(example, UNCHANGED, tmp_path)
    html = file.read_text(encoding="utf-8")
    assert "No change pays here" in html
    dots = re.findall(r'data-strategy="(\w+)" data-state', html)
    assert set(dots) == {"temperature_only"}


def test_a_site_with_its_own_weather_is_shown_from_the_run_alone(tmp_path: Path) -> None:
    portfolio = Path(__file__).parents[2] / "portfolios" / "ferrowmere_district"
    pipeline.run(portfolio, tmp_path / "run")
    (file,) = report.write_site(tmp_path / "run", "SC-04", tmp_path)
    assert "weather of its own file" in page(file.read_text(encoding="utf-8")).text


def test_names_that_are_markup_stay_text(hostile: Path, tmp_path: Path) -> None:
    site = open_run(hostile).table("ranking").collect()["site_id"][0]
    (file,) = report.write_site(hostile, site, tmp_path)
    shown = page(file.read_text(encoding="utf-8"))
    assert shown.tags.count("script") == 1
    assert "img" not in shown.tags
    assert HARM in shown.text


@pytest.mark.parametrize("site", ["../../etc/passwd", "a/b", "..", "S 1", "=1+1", "Größe", "x" * 60, "C:\\x", "a%2Fb"])
def test_file_names_stay_in_the_folder_and_apart(site: str, tmp_path: Path) -> None:
    name = file_name(site)
    assert (tmp_path / f"{name}.html").resolve().parent == tmp_path.resolve()
    assert re.fullmatch(r"[\w%~-]+", name, re.ASCII)
    assert name != file_name(site.replace("/", "%2F")) or "/" not in site


def test_an_unknown_site_is_told_in_words(example: Path) -> None:
    result = CliRunner().invoke(app, ["report", str(example), "--site", "S999"])
    assert result.exit_code == 2
    assert "the run has no site S999" in result.stderr


def test_the_command_writes_the_pages_of_several_sites(example: Path, tmp_path: Path) -> None:
    arguments = ["report", example, "--site", SITE, "--site", UNCHANGED, "--out", tmp_path, "--json"]
    result = CliRunner().invoke(app, [str(a) for a in arguments])
    assert json.loads(result.stdout)["files"] == [str(tmp_path / f"site-{s}.html") for s in (SITE, UNCHANGED)]
