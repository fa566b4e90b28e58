"""New tariffs on an old run: the same as a whole run with them, to the last bit; and what is refused, in words."""

import json
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import polars as pl
import pytest
from hypothesis import HealthCheck, given, settings
from typer.testing import CliRunner

from screener import engine, ledger, outputs, pipeline, price, report
from screener.commands import app
from screener.engine import MONTHLY
from screener.errors import ContractError, UsageError
from screener.outputs import open_run
from screener.tables import read_tariffs
from tests import random_tariffs

SITES = """\
site_id,building_type,floor_area_m2,postal_code,tariff_id,current_strategy,heating_source,annual_electricity_kwh
A1,supermarket,4200,33101,t1,overcool_electric_reheat,electric,2200000
A2,school,5000,36580,t2,overcool_fuel_reheat,fuel,
A3,office,1900,80202,t2,temperature_only,heat_pump,300000
"""
TARIFFS = "tariff_id,electricity_price_per_kwh,demand_price_per_kw,fuel_price_per_kwh\nt1,0.12,9.5,0.04\nt2,0.1,,0.05\n"
PERIODS = """\
tariff_id,months,day_kind,from_hour,to_hour,electricity_price_per_kwh,demand_price_per_kw
t1,6-9,working,12,18,0.31,8
t2,,all,22,6,0.04,
"""
SAME = (
    "ranking.parquet",
    "ranking.csv",
    "strategies.parquet",
    "groups.csv",
    "sites_used.parquet",
    "rejects.csv",
    "rejects.parquet",
)


def portfolio(folder: Path, **tables: str) -> Path:
    folder.mkdir(parents=True)
    (folder / "portfolio.toml").write_text('name = "Three sites"\n')
    for name, text in ({"sites": SITES, "tariffs": TARIFFS} | tables).items():
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def work(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A run with flat tariffs, the same run with a monthly ledger, and one with windows and a monthly ledger."""
    work = tmp_path_factory.mktemp("reprice")
    flat = portfolio(work / "flat")
    timed = portfolio(work / "timed", tariff_periods=PERIODS)
    pipeline.run(flat, work / "run")
    pipeline.run(flat, work / "monthly", ledger_form=MONTHLY)
    pipeline.run(timed, work / "timed_monthly", ledger_form=MONTHLY)
    return work


@pytest.fixture(scope="module")
def worked_once(work: Path) -> Iterator[None]:
    """The engine's answer for these sites, kept: tariffs do not change it, and it takes longest."""
    simulate, kept = engine.simulate, []

    def remembered(*arguments: Any) -> list[ledger.Accounts]:
        if not kept:
            kept.extend(simulate(*arguments))
        return kept

    patch = pytest.MonkeyPatch()
    patch.setattr(engine, "simulate", remembered)
    yield
    patch.undo()


def assert_same(one: Path, other: Path) -> None:
    for name in SAME:
        assert (one / name).read_bytes() == (other / name).read_bytes(), name


def test_new_windows_give_what_a_whole_run_gives(work: Path, tmp_path: Path) -> None:
    """With the engine at work, not remembered."""
    pipeline.run(work / "timed", tmp_path / "whole")
    pipeline.reprice(work / "run", work / "timed", tmp_path / "priced")
    report.write(tmp_path / "priced")
    assert_same(tmp_path / "whole", tmp_path / "priced")
    for name in ("ledger.parquet", "report.html", *(f"inputs/{table}.parquet" for table in outputs.INPUT_NAMES)):
        assert (tmp_path / "whole" / name).read_bytes() == (tmp_path / "priced" / name).read_bytes(), name


@settings(max_examples=8, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(tables=random_tariffs.tables(("t1", "t2")))
def test_any_tariffs_give_what_a_whole_run_gives(
    tables: dict[str, str], work: Path, worked_once: None, tmp_path: Path
) -> None:
    for name in ("new", "whole", "priced"):
        shutil.rmtree(tmp_path / name, ignore_errors=True)
    new = portfolio(tmp_path / "new", **tables)
    pipeline.run(new, tmp_path / "whole")
    pipeline.reprice(work / "run", new, tmp_path / "priced")
    assert_same(tmp_path / "whole", tmp_path / "priced")


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(tables=random_tariffs.tables(("t1", "t2")))
def test_a_ledger_bills_the_same_however_finely_it_is_kept(tables: dict[str, str], work: Path, tmp_path: Path) -> None:
    run = open_run(work / "run")
    hourly, sites = run.table("ledger").collect(), run.table("sites_used").collect()
    shutil.rmtree(tmp_path / "new", ignore_errors=True)
    read = read_tariffs(portfolio(tmp_path / "new", **tables), "USD")
    rates = price.rates(read.tariffs, read.periods, read.tiers)
    monthly = price.by_class(hourly, rates, sites)
    costs = price.price(hourly, rates, sites)
    assert monthly.height < hourly.height
    assert price.price(monthly, rates, sites).equals(costs)
    assert price.by_class(monthly, rates, sites).equals(monthly)
    assert price.price(hourly.sample(fraction=1.0, shuffle=True, seed=1), rates, sites).equals(costs)


def test_pricing_with_the_runs_own_tariffs_changes_nothing_and_shares_no_file(work: Path, tmp_path: Path) -> None:
    pipeline.reprice(work / "run", work / "flat", tmp_path / "again")
    assert_same(work / "run", tmp_path / "again")
    assert not (tmp_path / "again" / "ledger.parquet").samefile(work / "run" / "ledger.parquet")
    description = json.loads((work / "run" / "datapackage.json").read_text())
    assert json.loads((tmp_path / "again" / "datapackage.json").read_text()) == description


def test_a_priced_run_can_be_priced_again_and_says_where_it_is_from(work: Path, tmp_path: Path) -> None:
    pipeline.reprice(work / "run", work / "timed", tmp_path / "timed")
    pipeline.reprice(tmp_path / "timed", work / "flat", tmp_path / "back")
    assert_same(work / "run", tmp_path / "back")
    info = open_run(tmp_path / "timed").info
    assert [file["file"] for file in info["inputs"]] == ["tariff_periods.csv", "tariffs.csv"]
    assert info["priced_from"] == {"run": "run", "info": open_run(work / "run").info}
    pipeline.reprice(tmp_path / "timed", work / "flat", tmp_path / "timed", force=True)  # in its own place
    assert_same(work / "run", tmp_path / "timed")


def test_a_monthly_ledger_is_small_and_takes_new_prices_in_its_own_windows(work: Path, tmp_path: Path) -> None:
    """12 rows a site on flat tariffs; summer afternoons and nights add one each to the months that have them."""
    rows = open_run(work / "timed_monthly").table("ledger").collect().group_by("site_id").len().sort("site_id")
    assert open_run(work / "monthly").info["rows"]["ledger"] == 3 * 12
    assert rows["len"].to_list() == [12 + 4, 24, 24]
    dearer = portfolio(tmp_path / "dearer", tariff_periods=PERIODS.replace("0.31", "0.47"), tariffs=TARIFFS)
    pipeline.run(dearer, tmp_path / "whole")
    pipeline.reprice(work / "timed_monthly", dearer, tmp_path / "priced")
    assert_same(tmp_path / "whole", tmp_path / "priced")


def test_the_command_takes_the_form_of_the_ledger(work: Path, tmp_path: Path) -> None:
    command = ["run", str(work / "flat"), "--out", str(tmp_path / "run"), "-q", "--ledger"]
    assert CliRunner().invoke(app, [*command, "weekly"]).exit_code == 2
    assert CliRunner().invoke(app, [*command, "monthly"]).exit_code == 0
    assert_same(tmp_path / "run", work / "monthly")
    assert open_run(tmp_path / "run").info["ledger"] == "monthly"


def test_a_monthly_ledger_cannot_tell_other_windows_apart(work: Path, tmp_path: Path) -> None:
    with pytest.raises(
        UsageError, match=r"cannot tell apart the hours in the windows of t1, t2; run the portfolio again"
    ):
        pipeline.reprice(work / "monthly", work / "timed", tmp_path / "out")
    assert not (tmp_path / "out").exists()


def test_a_site_that_burns_fuel_needs_a_price_for_it(work: Path, tmp_path: Path) -> None:
    new = portfolio(tmp_path / "new", tariffs=TARIFFS.replace("0.05", ""))
    with pytest.raises(ContractError, match=r"heated by fuel, which this tariff has no price for"):
        pipeline.reprice(work / "run", new, tmp_path / "out")


def damaged(work: Path, tmp_path: Path, damage: Callable[[Path], object]) -> Path:
    copy = shutil.copytree(work / "run", tmp_path / "run")
    damage(copy)
    return copy


def older(run: Path) -> None:
    info = json.loads((run / "run.json").read_text())
    info["versions"]["screener"] = "0.0.9"
    (run / "run.json").write_text(json.dumps(info))


BAD: dict[str, tuple[Callable[[Path], object], dict[str, str], int, str]] = {
    "unknown tariff": (
        lambda _: None,
        {"tariffs": TARIFFS.replace("t2", "t9")},
        3,
        "site A2 has no tariff of this name",
    ),
    "overlap": (lambda _: None, {"tariff_periods": PERIODS + "t1,7,,8,13,0.2,\n"}, 3, "windows overlap"),
    "gap": (
        lambda _: None,
        {"tariffs": TARIFFS.replace("t2,0.1", "t2,"), "tariff_periods": PERIODS},
        3,
        "no price at 384 of",
    ),
    "in cents": (lambda _: None, {"tariffs": TARIFFS.replace("0.12", "12")}, 3, "if it is in cents, divide it by 100"),
    "incomplete run": (
        lambda run: (run / "ledger.parquet").unlink(),
        {},
        2,
        "ledger.parquet missing; run the portfolio",
    ),
    "another version": (older, {}, 2, "was written by version 0.0.9"),
    "no run": (lambda run: (run / "run.json").unlink(), {}, 2, "holds no run (no run.json)"),
}


@pytest.mark.parametrize("case", BAD)
def test_bad_input_ends_in_words_and_writes_nothing(case: str, work: Path, tmp_path: Path) -> None:
    damage, tables, code, words = BAD[case]
    run, new = damaged(work, tmp_path, damage), portfolio(tmp_path / "new", **tables)
    before = {path.name for path in tmp_path.iterdir()}
    result = CliRunner().invoke(app, ["price", str(run), "--tariffs", str(new), "--out", str(tmp_path / "out")])
    assert result.exit_code == code, result.output
    assert words in result.stderr
    assert result.stdout == ""
    assert {path.name for path in tmp_path.iterdir()} == before


def test_an_earlier_run_is_not_overwritten_unasked(work: Path, tmp_path: Path) -> None:
    shutil.copytree(work / "run", tmp_path / "kept")
    before = (tmp_path / "kept" / "ranking.csv").read_bytes()
    command = ["price", str(work / "run"), "--tariffs", str(work / "timed"), "--out", str(tmp_path / "kept")]
    assert CliRunner().invoke(app, command).exit_code == 2
    assert (tmp_path / "kept" / "ranking.csv").read_bytes() == before
    assert CliRunner().invoke(app, [*command, "--force"]).exit_code == 0
    assert (tmp_path / "kept" / "ranking.csv").read_bytes() != before


def test_tiers_without_the_sites_own_use_are_told(work: Path, tmp_path: Path) -> None:
    tiers = "tariff_id,up_to_kwh,electricity_price_per_kwh\nt2,1000,0.2\nt2,,0.1\n"
    new = portfolio(tmp_path / "new", tariff_tiers=tiers)
    command = ["price", str(work / "run"), "--tariffs", str(new), "--out", str(tmp_path / "out"), "--json"]
    result = CliRunner().invoke(app, command)
    assert "1 site has a tariff in tiers and no annual_electricity_kwh" in result.stderr
    document = json.loads(result.stdout)
    assert document["totals"]["sites"] == 3
    assert pl.read_parquet(tmp_path / "out" / "ranking.parquet").height == 3
