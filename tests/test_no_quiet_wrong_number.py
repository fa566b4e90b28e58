"""A faulty strategy never ends in a ranking: what is not a number, out of a domain, or slipped in a name ends with exit
code 4, the site or the strategy and the step named. And without machine code the same figures come out."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pytest
from polars.testing import assert_frame_equal
from typer.testing import CliRunner

from screener import engine
from screener.commands import app
from screener.engine import weather_cache, year
from screener.formula import Number, col, exp, log
from screener.strategies import REGISTRY, Outcome, standalone_dehumidifier
from screener.worksheet import Worksheet
from screener.worksheet.hours import Hours

NAME = standalone_dehumidifier.NAME
SITES = (
    "site_id,building_type,floor_area_m2,postal_code,tariff_id\nA1,supermarket,4000,33101,T\nA2,office,2000,60601,T\n"
)
TARIFFS = "tariff_id,electricity_price_per_kwh,demand_price_per_kw,fuel_price_per_kwh\nT,0.12,10,0.04\n"
DAYS = np.arange(8760) // 24 % 23 == 0  # every 23rd day: some of each month and of every day of the week


@pytest.fixture(scope="module")
def portfolio(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("faulty")
    (folder / "sites.csv").write_text(SITES, encoding="utf-8")
    (folder / "tariffs.csv").write_text(TARIFFS, encoding="utf-8")
    return folder


@pytest.fixture(autouse=True)
def nothing_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    """Years are compiled anew, and what was compiled of a faulty strategy is forgotten."""
    monkeypatch.setattr(year, "_YEARS", {})
    year._check_reads.cache_clear()
    reasons: list[str] = []
    for module in (year, engine):
        monkeypatch.setattr(module, "NO_CODE", reasons)


def told(portfolio: Path, out: Path) -> str:
    """What the command says of a run that must end with exit code 4 and leave nothing behind."""
    done = CliRunner().invoke(app, ["run", str(portfolio), "--out", str(out)])
    assert done.exit_code == 4, done.output
    assert not out.exists()
    return done.output


def drawing(monkeypatch: pytest.MonkeyPatch, power: Number) -> None:
    """The standalone unit with an energy that says something else in damp hours."""

    def damp_hour(sheet: Worksheet) -> Outcome:
        outcome = standalone_dehumidifier.damp_hour(sheet)
        wrong = sheet.section(f"{NAME}.damp").let("wrong_w", power, "a fault put in on purpose")
        return replace(outcome, dehumidifier_w=wrong)

    monkeypatch.setitem(REGISTRY, NAME, replace(REGISTRY[NAME], damp_hour=damp_hour))


@pytest.mark.parametrize(
    "power",
    [
        col("fan_w") * float("nan"),
        log(col("outdoor_humidity_ratio") - 1.0),
        exp(col("fan_w") + 800.0),
        col("fan_w") / (col("open") * 0.0),
    ],
    ids=["not a number", "logarithm of a negative number", "beyond the largest number", "divided by nothing"],
)
def test_what_is_no_finite_number_names_site_and_step(portfolio, tmp_path, monkeypatch, power) -> None:
    drawing(monkeypatch, power)
    words = told(portfolio, tmp_path / "run")
    assert f"site A1: the step {NAME}.damp.wrong_w (a fault put in on purpose) is no finite number" in words
    assert "first in hour" in words


def test_a_slip_in_the_name_of_a_column_names_the_step(portfolio, tmp_path, monkeypatch) -> None:
    drawing(monkeypatch, col("limit_humidty_ratio") * 1000)
    words = told(portfolio, tmp_path / "run")
    assert f"the step {NAME}.damp.wrong_w reads limit_humidty_ratio" in words
    assert "did it mean limit_humidity_ratio?" in words


def test_a_slip_in_a_power_is_refused_not_counted_as_zero(portfolio, tmp_path, monkeypatch) -> None:
    slipped = replace(REGISTRY[NAME], standby=lambda own: {"dehumdifier_w": col("fan_w")})
    monkeypatch.setitem(REGISTRY, NAME, slipped)
    words = told(portfolio, tmp_path / "run")
    assert f"the strategy {NAME} cannot be laid out" in words
    assert "dehumdifier_w" in words
    assert "did it mean dehumidifier_w?" in words


def test_a_slip_in_a_field_of_the_outcome_is_refused(portfolio, tmp_path, monkeypatch) -> None:
    def damp_hour(sheet: Worksheet) -> Outcome:
        return replace(standalone_dehumidifier.damp_hour(sheet), reheat_w2=col("fan_w"))

    monkeypatch.setitem(REGISTRY, NAME, replace(REGISTRY[NAME], damp_hour=damp_hour))
    assert f"the strategy {NAME} cannot be laid out: " in told(portfolio, tmp_path / "run")


def test_a_limit_that_the_hour_does_not_read_is_refused(portfolio, tmp_path, monkeypatch) -> None:
    strategy = REGISTRY[NAME]
    device = replace(strategy.device, limits={"most_kg_s": 1.0})
    monkeypatch.setitem(REGISTRY, NAME, replace(strategy, device=device))
    words = told(portfolio, tmp_path / "run")
    assert "most_kg_s" in words
    assert NAME in words


def test_a_column_that_equipment_does_not_have_is_refused(portfolio, tmp_path, monkeypatch) -> None:
    strategy = replace(REGISTRY[NAME], rate=lambda own, machine: own.let("x", machine.figure("litre_per_kwh")))
    monkeypatch.setitem(REGISTRY, NAME, strategy)
    assert "equipment has no field litre_per_kwh" in told(portfolio, tmp_path / "run")


def test_a_strategy_that_forgets_a_part_cannot_be_made() -> None:
    with pytest.raises(TypeError, match="device"):
        type(REGISTRY[NAME])(
            name=NAME,
            summary="a unit without a word on its capacity",
            rate=standalone_dehumidifier.rate,
            damp_hour=standalone_dehumidifier.damp_hour,
            standby=lambda own: {},
            unavailable=None,
            note=None,
        )


def some_days(monkeypatch: pytest.MonkeyPatch) -> None:
    """A year of DAYS, after a day to warm up."""
    whole = weather_cache.years

    def years(*arguments: Any) -> dict[str, Hours]:
        found = whole(*arguments)
        return {key: Hours(hours.columns[:, DAYS], hours.slots[DAYS]) for key, hours in found.items()}

    monkeypatch.setattr(weather_cache, "years", years)
    monkeypatch.setattr(year, "WARM_UP_H", 24)


def test_without_machine_code_the_same_figures_come_out_with_a_note(portfolio, tmp_path, monkeypatch) -> None:
    """Of some days of the year: hours in arrays take a hundred times as long."""
    some_days(monkeypatch)
    compiled = CliRunner().invoke(app, ["run", str(portfolio), "--out", str(tmp_path / "compiled")])
    assert compiled.exit_code == 0, compiled.output

    def no_llvm(*_: object) -> None:
        raise RuntimeError("no such processor")

    monkeypatch.setattr(year, "_YEARS", {})
    monkeypatch.setattr(year, "compiled_year", no_llvm)
    columns = CliRunner().invoke(app, ["run", str(portfolio), "--out", str(tmp_path / "columns")])
    assert columns.exit_code == 0, columns.output
    assert "no machine code can be made here (no such processor)" in columns.output
    one, other = (pl.read_parquet(tmp_path / name / "strategies.parquet") for name in ("compiled", "columns"))
    assert_frame_equal(one, other, rel_tol=1e-9, abs_tol=1e-6)
