"""What sites cannot have: as their row says it, and by rules that say it themselves (common practice, no source)."""

from pathlib import Path
from typing import Any

import polars as pl
import pytest
from typer.testing import CliRunner

from screener.commands import app
from screener.contracts.needs import WORDS
from screener.strategies import MACHINES, REGISTRY
from screener.tables import hindrances

HEAD = "site_id,building_type,postal_code,floor_area_m2,current_strategy,heating_source,tariff_id,cannot_have\n"
TARIFF = "tariff_id,electricity_price_per_kwh,fuel_price_per_kwh\nt,0.14,0.04\n"
BURNING = {"overcool_fuel_reheat", "desiccant_fuel_regenerated"}


def run(folder: Path, rows: str, **tables: str) -> tuple[Any, dict[str, dict[str, str | None]]]:
    """The answer of `run` and, by site, why it cannot have which strategy."""
    portfolio = folder / "p"
    portfolio.mkdir()
    for name, text in {"sites": HEAD + rows, "tariffs": TARIFF, **tables}.items():
        (portfolio / f"{name}.csv").write_text(text, encoding="utf-8")
    made = CliRunner().invoke(app, ["run", str(portfolio), "--out", str(folder / "r")])
    if not (folder / "r").exists():
        return made, {}
    results = pl.read_parquet(folder / "r" / "strategies.parquet").filter(
        pl.col("unavailable").is_not_null() & pl.col("strategy").is_in(MACHINES)
    )
    found: dict[str, dict[str, str | None]] = {}
    for row in results.iter_rows(named=True):
        found.setdefault(row["site_id"], {})[row["strategy"]] = row["unavailable"]
    return made, found


def test_words_and_names_rule_strategies_out(tmp_path: Path) -> None:
    rows = (
        "A,supermarket,33101,4000,overcool_electric_reheat,fuel,t,No Gas; low_airflow_cooling\n"
        "B,supermarket,33101,4000,overcool_electric_reheat,fuel,t,landlord\n"
        "C,supermarket,33101,4000,overcool_electric_reheat,fuel,t,\n"
        "D,supermarket,33101,4000,overcool_electric_reheat,fuel,t,self-contained cases;no clean exhaust\n"
    )
    made, found = run(tmp_path, rows)
    assert made.exit_code == 0, made.output
    assert {*found["A"]} == BURNING | {"low_airflow_cooling"}
    assert found["A"]["overcool_fuel_reheat"] == "ruled out by its row: no fuel"
    assert {*REGISTRY} - {*found["B"]} >= {"standalone_dehumidifier", "temperature_only", "overcool_electric_reheat"}
    assert "wrapped_coil_heat_pipe" in found["B"]
    assert "C" not in found
    assert {"overcool_reclaimed_reheat", "outdoor_air_dehumidifier_with_recovery"} <= {*found["D"]}
    assert "outdoor_air_dehumidifier" not in found["D"]


def test_nothing_burns_fuel_at_an_all_electric_site_unless_an_offer_prices_it(tmp_path: Path) -> None:
    rows = (
        "A,retail,33101,2000,overcool_electric_reheat,electric,t,\n"
        "B,retail,33101,2000,overcool_fuel_reheat,electric,t,\n"
        "C,retail,33101,2000,overcool_electric_reheat,electric,t,\n"
    )
    offers = "offer_id,strategy,site_id,investment_fixed\nG,overcool_fuel_reheat,C,48000\n"
    made, found = run(tmp_path, rows, offers=offers)
    assert made.exit_code == 0, made.output
    assert {*found["A"]} >= BURNING
    assert "the site has no fuel" in str(found["A"]["overcool_fuel_reheat"])
    assert not BURNING & {*found.get("B", {})}
    assert BURNING & {*found["C"]} == {"desiccant_fuel_regenerated"}


def test_what_is_not_understood_is_told_with_the_way_out(tmp_path: Path) -> None:
    rows = "A,retail,33101,2000,,,t,no pond\nB,retail,33101,2000,,,t,\n"
    rows += "C,retail,33101,2000,overcool_fuel_reheat,,t,overcool fuel reheat\n"
    made, _ = run(tmp_path, rows)
    rejects = (tmp_path / "r" / "rejects.csv").read_text(encoding="utf-8")
    assert "nothing is called no pond; write no fuel, no gas" in rejects
    assert "is how the site works today; correct cannot_have or current_strategy" in rejects
    assert "1 site ranked" in made.output


@pytest.mark.parametrize("word", WORDS)
def test_every_word_rules_something_out(word: str) -> None:
    _, lacking, unknown = hindrances.read(f" {word.upper()} ", REGISTRY)
    assert not unknown
    assert any(lacking[0] in strategy.needs for strategy in REGISTRY.values())
