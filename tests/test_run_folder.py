"""A run folder opened again: what is in it is what the run knew, and what is not whole is refused in words."""

import datetime
import json
import shutil
from collections.abc import Callable
from pathlib import Path

import polars as pl
import pytest
from polars.testing import assert_frame_equal
from typer.testing import CliRunner

from screener import climate, contracts, outputs, pipeline
from screener.commands import app
from screener.errors import UsageError
from screener.outputs import INPUTS, OUTPUTS, RunFolder, open_run, verify
from screener.outputs.reading import digest_of

ROOT = Path(__file__).parents[1]


@pytest.fixture(scope="module")
def portfolio() -> Path:
    return ROOT / "portfolios" / "ferrowmere_district"  # one of its sites brings its own weather


@pytest.fixture(scope="module")
def folder(portfolio: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("runs") / "run"
    pipeline.run(portfolio, out)
    return out


@pytest.fixture(scope="module")
def run(folder: Path) -> RunFolder:
    return open_run(folder)


def test_every_table_comes_back_with_the_columns_of_its_contract(run: RunFolder) -> None:
    for output in OUTPUTS:
        frame, contract = run.table(output.table).collect(), contracts.load(output.contract)
        assert frame.height == run.info["rows"][output.table]
        assert set(contract.columns) <= set(frame.columns), output.table
    for output in INPUTS:
        assert run.input(output.table).schema == pl.Schema(contracts.load(output.contract).polars_schema())


def test_inputs_are_those_that_were_checked_to_the_last_bit(run: RunFolder, portfolio: Path) -> None:
    checked, _ = pipeline.check(portfolio)
    for name in ("tariffs", "strategies", "equipment"):
        assert_frame_equal(run.input(name), getattr(checked, name), check_row_order=False, check_exact=True)
    assert run.settings["study_years"] == checked.settings.study_years == 20


def test_weather_of_the_portfolios_own_is_kept_and_no_other(run: RunFolder, portfolio: Path) -> None:
    kept = run.input("weather")
    (own,) = kept["weather_id"].unique()
    assert own in run.table("sites_used").collect()["weather_id"].to_list()
    hours = climate.hours([own], portfolio)
    assert kept.height == 8760
    assert_frame_equal(kept, hours, check_dtypes=False, check_exact=True)


def test_a_name_no_run_has_is_a_mistake_of_the_program(run: RunFolder) -> None:
    with pytest.raises(KeyError, match="no table sums"):
        run.table("sums")
    with pytest.raises(KeyError, match="no table ledger"):
        run.input("ledger")


def edit(folder: Path, name: str, change: Callable[[dict], object]) -> None:
    content = json.loads((folder / name).read_text())
    change(content)
    (folder / name).write_text(json.dumps(content))


BROKEN: dict[str, tuple[Callable[[Path], object], str]] = {
    "nothing there": (shutil.rmtree, r"holds no run \(no run.json\); give the --out folder of an earlier run"),
    "a portfolio": (lambda f: (f / "run.json").unlink(), r"holds no run"),
    "no description": (
        lambda f: (f / "datapackage.json").unlink(),
        r"is incomplete: datapackage.json missing; run the portfolio again",
    ),
    "a table lost": (
        lambda f: (f / "ledger.parquet").unlink(),
        r"is incomplete: ledger.parquet missing; run the portfolio again",
    ),
    "inputs lost": (
        lambda f: shutil.rmtree(f / "inputs"),
        r"is incomplete: inputs/equipment.parquet, inputs/offers.parquet, inputs/own_columns.parquet, inputs/profiles.parquet, ",
    ),
    "not listed": (
        lambda f: edit(f, "datapackage.json", lambda p: p["resources"].pop()),
        r"is incomplete: inputs/weather.parquet missing",
    ),
    "lists nothing": (lambda f: edit(f, "datapackage.json", dict.clear), r"datapackage.json lists no files"),
    "cut off": (
        lambda f: (f / "ledger.parquet").write_bytes((f / "ledger.parquet").read_bytes()[:-1]),
        r"ledger.parquet is not as the run left it; run the portfolio again",
    ),
    "another version": (
        lambda f: edit(f, "run.json", lambda info: info["versions"].update(screener="0.0.9")),
        r"was written by version 0\.0\.9, this is \d+\.\d+\.\d+; run the portfolio again",
    ),
    "no version": (
        lambda f: edit(f, "run.json", lambda info: info.pop("versions")),
        r"run.json does not tell version and settings",
    ),
    "another setting": (
        lambda f: edit(f, "run.json", lambda info: info["settings"].update(discount_rate=0.06)),
        r"run.json is not as the run left it",
    ),
    "no digest": (
        lambda f: edit(f, "run.json", lambda info: info.pop("digest")),
        r"was written before runs held digests of themselves; run the portfolio again",
    ),
    "another description": (
        lambda f: edit(f, "datapackage.json", lambda p: p.update(title="another")),
        r"datapackage.json is not as the run left it",
    ),
    "not JSON": (lambda f: (f / "run.json").write_text("{"), r"run.json cannot be read \(.*\); run the portfolio"),
    "a list": (lambda f: (f / "run.json").write_text("[]"), r"run.json is not what a run writes"),
}


@pytest.mark.parametrize("case", BROKEN)
def test_what_is_not_a_whole_run_of_this_version_is_refused(case: str, folder: Path, tmp_path: Path) -> None:
    damage, words = BROKEN[case]
    copy = shutil.copytree(folder, tmp_path / "copy")
    damage(copy)
    with pytest.raises(UsageError, match=words):
        open_run(copy)


def test_a_table_saved_again_by_a_spreadsheet_does_no_harm(folder: Path, tmp_path: Path) -> None:
    copy = shutil.copytree(folder, tmp_path / "copy")
    with (copy / "ranking.csv").open("a") as file:
        file.write("\n")
    assert open_run(copy).info["settings"]["currency"] == "USD"


@pytest.mark.parametrize("table", [output.table for output in OUTPUTS if "parquet" in output.formats])
def test_one_bit_of_a_table_is_noticed_before_it_is_read(table: str, folder: Path, tmp_path: Path) -> None:
    copy = shutil.copytree(folder, tmp_path / "copy")
    file = open_run(copy).file(table)
    content = bytearray(file.read_bytes())
    content[len(content) // 3] ^= 4
    file.write_bytes(content)
    for read in (lambda run: run.table(table), lambda run: run.file(table)):
        with pytest.raises(UsageError, match=rf"{file.name} is not as the run left it; run the portfolio again"):
            read(open_run(copy))
    assert verify(copy).changed == [file.name]


def test_verify_names_what_changed_since(folder: Path, tmp_path: Path) -> None:
    copy = shutil.copytree(folder, tmp_path / "copy")
    sound = CliRunner().invoke(app, ["verify", str(copy)])
    assert sound.exit_code == 0
    assert "files are as the run left them" in sound.stdout
    with (copy / "ranking.csv").open("a") as file:
        file.write("\n")
    found = CliRunner().invoke(app, ["verify", str(copy), "--json"])
    assert found.exit_code == 4
    assert json.loads(found.stdout)["changed"] == ["ranking.csv"]
    assert "ranking.csv missing or changed since" in found.stderr


def test_verify_lists_all_that_is_wrong_at_once(folder: Path, tmp_path: Path) -> None:
    copy = shutil.copytree(folder, tmp_path / "copy")
    edit(copy, "run.json", lambda info: info["settings"].update(study_years=30))
    edit(copy, "datapackage.json", lambda package: package.update(title="another"))
    (copy / "ledger.parquet").write_bytes((copy / "ledger.parquet").read_bytes()[:-1])
    (copy / "groups.csv").unlink()
    (copy / "inputs" / "tariffs.parquet").unlink()
    (copy / "report.html").write_text("another")
    done = CliRunner().invoke(app, ["verify", str(copy), "--json"])
    assert done.exit_code == 4
    wrong = ["datapackage.json", "groups.csv", "inputs/tariffs.parquet", "ledger.parquet", "report.html", "run.json"]
    assert json.loads(done.stdout)["changed"] == wrong
    (copy / "datapackage.json").write_text("[" * 100_000)
    assert "ranking.parquet" in verify(copy).changed


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("study_years", 0),
        ("study_years", 1e6),
        ("discount_rate", "high"),
        ("rates", "other"),
        ("colour", 1),
        ("currency", 3),
    ],
)
def test_settings_that_none_can_have_are_refused_though_the_digest_fits(
    name: str, value: object, folder: Path, tmp_path: Path
) -> None:
    copy = shutil.copytree(folder, tmp_path / "copy")
    edit(copy, "run.json", lambda info: info["settings"].update({name: value}))
    edit(copy, "run.json", lambda info: info.update(digest=digest_of(info)))
    with pytest.raises(
        UsageError, match=rf"has settings that none can have \({name} {value}\); run the portfolio again"
    ):
        open_run(copy)


def test_a_run_and_its_report_know_their_day(portfolio: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """In UTC, and as SOURCE_DATE_EPOCH has it where it is set: 86 400 s after its zero is 2 January 1970."""
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "86400")
    pipeline.run(portfolio, tmp_path / "run")
    assert open_run(tmp_path / "run").info["date"] == "1970-01-02"
    assert "Run of 1970-01-02" in (tmp_path / "run" / "report.html").read_text()
    monkeypatch.delenv("SOURCE_DATE_EPOCH")
    assert outputs.today() == f"{datetime.datetime.now(datetime.UTC):%Y-%m-%d}"


LIKE_PATTERNS = ("run[1]", "run?", "ru*", "[!a]un1", "Acme [2026] {a,b}")


@pytest.mark.parametrize("name", LIKE_PATTERNS)
def test_a_folder_named_like_a_pattern_is_read_and_no_other(name: str, tmp_path: Path) -> None:
    """Readers of tables take names for patterns: beside `run[1]` stands `run1`, a run of another portfolio."""
    portfolios = ROOT / "portfolios"
    mine = shutil.copytree(portfolios / "ferrowmere_district", tmp_path / f"of {name}")
    other = tmp_path / "run1"
    command = CliRunner().invoke
    for portfolio, out in ((portfolios / "oddlebrook_foods", other), (mine, tmp_path / name)):
        made = command(app, ["run", str(portfolio), "--out", str(out), "--quiet"])
        assert made.exit_code == 0, made.output
    first, second = (open_run(out).table("ranking").collect() for out in (tmp_path / name, other))
    assert set(first["site_id"]).isdisjoint(second["site_id"])
    asked = command(app, ["rank", str(tmp_path / name), "--json"])
    assert asked.exit_code == 0, asked.output
    assert {row["site_id"] for row in json.loads(asked.stdout)["rows"]} == set(first["site_id"])
    again = tmp_path / f"{name} again"
    for more in (
        ["price", str(tmp_path / name), "--tariffs", str(mine), "--out", str(again)],
        ["report", str(again), "--xlsx"],
        ["compare", str(tmp_path / name), str(again)],
        ["choose", str(again), "--budget", "100000"],
        ["explain", str(again), "--site", first["site_id"][0]],
    ):
        done = command(app, more)
        assert done.exit_code == 0, f"{more}: {done.output}"
    assert_frame_equal(open_run(again).table("ranking").collect(), first)
