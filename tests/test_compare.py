"""Two runs side by side. The expected changes and reasons are worked out by hand from the made-up costs."""

import json
from pathlib import Path
from typing import Any

import polars as pl
import pytest
from typer.testing import CliRunner

from screener.commands import app
from screener.outputs import INPUTS, open_run, provenance, write_run
from screener.ranking import rank
from screener.ranking.compare import compare
from tests.money_cases import contract_table, ledger, life_cycle, prices, sites, totals

NOW, REHEAT, DEVICE = "overcool_electric_reheat", "overcool_condenser_reheat", "standalone_dehumidifier"
TARIFF = {"tariff_id": "T1", "electricity_price_per_kwh": 0.1}
COSTS = {  # energy and demand charges a year of today's strategy, condenser reheat and a device
    "A": ((9_000.0, 1_000.0), (4_000.0, 1_000.0), (7_000.0, 1_000.0)),
    "B": ((5_000.0, 0.0), (4_000.0, 0.0), (4_500.0, 0.0)),
    "C": ((3_000.0, 0.0), (3_000.0, 0.0), (3_000.0, 0.0)),
    "D": ((2_000.0, 0.0), (1_500.0, 0.0), (1_900.0, 0.0)),
}


def run(
    folder: Path,
    costs: dict[str, Any],
    kwh: float = 50_000.0,
    unavailable: tuple[str, str] | None = None,
    **given: Any,
) -> Path:
    """A run folder of these costs at a discount rate of zero over ten years: net savings are ten years' savings."""
    rows = [
        {"site_id": site, "strategy": strategy, "energy_cost": energy, "demand_cost": demand}
        | {"annual_cost": energy + demand, "electricity_kwh": kwh}
        | ({"unavailable": "no room"} if (site, strategy) == unavailable else {})
        for site, each in costs.items()
        for strategy, (energy, demand) in zip((NOW, REHEAT, DEVICE), each, strict=True)
    ]
    where = sites(*({"site_id": site, "name": f"Store {site}"} for site in costs))
    prices_of = prices(
        *({"strategy": s, "investment_fixed": given.get("investment", 0.0)} for s in (NOW, REHEAT, DEVICE))
    )
    results = life_cycle(totals(*rows), where, prices_of, 0.0, 10)
    ranking = rank.ranking(results, where, "USD")
    tables = {
        "ranking": ranking,
        "strategies": results,
        "ledger": ledger([NOW], ("A", 1, "working", 0, 1.0, 1.0, 0.0, 1.0)),
        "groups": rank.groups(ranking),
        "sites_used": where,
        "rejects": contract_table("rejects"),
    }
    inputs = {each.table: contract_table(each.contract) for each in INPUTS}
    inputs["tariffs"] = contract_table("tariffs", TARIFF | given.get("tariff", {}))
    info = provenance([], {"currency": "USD", "discount_rate": given.get("rate", 0.0)}, {})
    write_run(folder, tables, info | {"ledger": "hourly"}, inputs=inputs)
    return folder


@pytest.fixture
def first(tmp_path: Path) -> Path:
    return run(tmp_path / "first", COSTS)


def reasons(first: Path, second: Path) -> dict[str, str]:
    sites = compare(open_run(first), open_run(second)).sites
    return dict(sites.filter(pl.col("reason").is_not_null()).select("site_id", "reason").iter_rows())


def test_a_run_does_not_differ_from_itself(first: Path) -> None:
    result = compare(open_run(first), open_run(first))
    assert result.changed == []
    assert result.moved.is_empty()
    assert result.sites["site_id"].to_list() == ["A", "B", "D", "C"]
    assert result.totals["change"].to_list() == [0.0] * 5


def test_what_charges_changed_is_told_largest_first(first: Path, tmp_path: Path) -> None:
    """A: today's energy charge 1 000 dearer and its demand charge 200 lower, the best strategy as before."""
    second = run(
        tmp_path / "second", COSTS | {"A": ((10_000.0, 800.0), *COSTS["A"][1:])}, tariff={"demand_price_per_kw": 3}
    )
    result = compare(open_run(first), open_run(second))
    row = result.moved.row(0, named=True)
    assert row["reason"] == "energy charges saved 1,000 more a year, demand charges saved 200 less a year"
    assert (row["net_savings_before"], row["net_savings_after"], row["net_savings_change"]) == (
        50_000.0,
        58_000.0,
        8_000.0,
    )
    assert result.moved.height == 1
    assert result.changed == ["tariffs: T1"]
    net = result.totals.filter(figure="net_savings").row(0)
    assert net == ("net_savings", 65_000.0, 73_000.0, 8_000.0)


def test_another_best_strategy_comes_first_and_says_how_both_stood(first: Path, tmp_path: Path) -> None:
    """B: the device now costs 2 000 a year, so ten years save 30 000 instead of 5 000, more than reheat's 10 000."""
    costs = COSTS | {"A": (*COSTS["A"][:2], (3_900.0, 1_000.0)), "B": (*COSTS["B"][:2], (2_000.0, 0.0))}
    result = compare(open_run(first), open_run(run(tmp_path / "second", costs)))
    assert result.moved.select("site_id", "best_before", "best_after", "reason").rows() == [
        (
            site,
            REHEAT,
            DEVICE,
            f"{REHEAT}: net savings {a}, now {a}; {DEVICE}: net savings {b}, now {c}",
        )
        for site, a, b, c in (("B", "10,000", "5,000", "30,000"), ("A", "50,000", "20,000", "51,000"))
    ]


def test_a_strategy_that_cannot_work_any_more(first: Path, tmp_path: Path) -> None:
    told = reasons(first, run(tmp_path / "second", COSTS, unavailable=("D", REHEAT)))
    assert told["D"] == (
        f"{REHEAT}: net savings 5,000, now cannot work there (no room); {DEVICE}: net savings 1,000, now 1,000"
    )


def test_a_change_that_no_longer_pays(first: Path, tmp_path: Path) -> None:
    told = reasons(first, run(tmp_path / "second", COSTS | {"D": ((1_000.0, 0.0), *COSTS["D"][1:])}))
    assert told["D"] == f"{REHEAT}: net savings 5,000, now -5,000"


def test_dearer_equipment_and_other_settings(first: Path, tmp_path: Path) -> None:
    second = run(tmp_path / "second", COSTS, investment=600.0, rate=0.02)
    assert reasons(first, second) == dict.fromkeys("ABD", "investment 600 more")
    assert compare(open_run(first), open_run(second)).changed == ["discount_rate: 0.0, now 0.02"]


def test_other_energy_is_named_before_its_money(first: Path, tmp_path: Path) -> None:
    second = run(tmp_path / "second", COSTS | {"B": ((6_000.0, 0.0), *COSTS["B"][1:])}, kwh=60_000.0)
    assert reasons(first, second)["B"] == "its energy differs: energy charges saved 1,000 more a year"
    assert reasons(first, second)["C"] == "its energy differs"


def test_a_site_whose_neighbours_moved(first: Path, tmp_path: Path) -> None:
    """B's savings rise above A's: A falls to the second rank though nothing of its own changed."""
    told = reasons(first, run(tmp_path / "second", COSTS | {"B": ((50_000.0, 0.0), *COSTS["B"][1:])}))
    assert told == {"A": "other sites moved", "B": "energy charges saved 45,000 more a year"}


def test_a_site_that_gains_and_falls_all_the_same(first: Path, tmp_path: Path) -> None:
    """A gains 500 a year but falls behind B, which gains 45 000."""
    costs = COSTS | {"A": ((9_500.0, 1_000.0), *COSTS["A"][1:]), "B": ((50_000.0, 0.0), *COSTS["B"][1:])}
    told = reasons(first, run(tmp_path / "second", costs))
    assert told == {
        "A": "energy charges saved 500 more a year; others moved more",
        "B": "energy charges saved 45,000 more a year",
    }


def test_sites_of_one_run_only(first: Path, tmp_path: Path) -> None:
    second = run(tmp_path / "second", {"B": COSTS["B"], "E": COSTS["D"]})
    told = reasons(first, second)
    assert {site: told[site] for site in "ACE"} == {
        "A": "not in the second run",
        "C": "not in the second run",
        "E": "not in the first run",
    }


def test_the_command_prints_a_table_or_one_document(first: Path, tmp_path: Path) -> None:
    second = run(
        tmp_path / "second", COSTS | {"A": ((10_000.0, 800.0), *COSTS["A"][1:])}, tariff={"demand_price_per_kw": 3}
    )
    shown = CliRunner().invoke(app, ["compare", str(first), str(second)])
    assert shown.exit_code == 0, shown.output
    assert shown.stdout.splitlines()[0] == "differs in tariffs: T1"
    assert "energy charges saved 1,000 more a year" in shown.stdout
    assert shown.stdout.splitlines()[-1] == "4 sites, of which 1 moved, 0 to another best strategy."
    document = json.loads(CliRunner().invoke(app, ["compare", str(first), str(second), "--json"]).stdout)
    assert document["differs_in"] == ["tariffs: T1"]
    assert [site["site_id"] for site in document["sites"]] == ["A"]
    assert {row["figure"]: row["change"] for row in document["totals"]}["cost_saved"] == 800.0


def test_what_is_no_run_cannot_be_compared(first: Path, tmp_path: Path) -> None:
    result = CliRunner().invoke(app, ["compare", str(first), str(tmp_path)])
    assert result.exit_code == 2
    assert "holds no run" in result.stderr
