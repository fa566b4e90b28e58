"""The commands as a user meets them: what is printed where, exit codes, nothing lost, never a traceback."""

import ast
import json
import subprocess
import sys
from pathlib import Path

import polars as pl
import pytest
from typer.testing import CliRunner

from screener.commands import app
from screener.outputs import INPUTS
from screener.strategies import REGISTRY

ROOT = Path(__file__).parents[1]
SITES = """\
site_id,name,building_type,floor_area_ft2,postal_code,climate_zone,tariff_id,current_strategy,humidity_limit_dew_point_f
A1,Store A1,supermarket,45000,33101,,t1,overcool_electric_reheat,55
A2,Store A2,supermarket,45000,80202,,t1,overcool_electric_reheat,55
A3,"=cmd()",office,20000,,4A,t1,temperature_only,
"""
TARIFFS = """tariff_id,electricity_price_per_kwh,demand_price_per_kw,fuel_price_per_therm
t1,0.12,9.5,1.1
"""


@pytest.fixture
def portfolio(tmp_path: Path) -> Path:
    folder = tmp_path / "chain"
    folder.mkdir()
    (folder / "sites.csv").write_text(SITES, encoding="utf-8")
    (folder / "tariffs.csv").write_text(TARIFFS, encoding="utf-8")
    return folder


def screener(*arguments: object):
    return CliRunner().invoke(app, [str(a) for a in arguments])


def add_row(portfolio: Path, row: str) -> None:
    with (portfolio / "sites.csv").open("a", encoding="utf-8") as file:
        file.write(row + "\n")


def test_run_ranks_every_site_and_writes_the_folder(portfolio, tmp_path):
    out = tmp_path / "run"
    result = screener("run", portfolio, "--out", out)
    assert result.exit_code == 0, result.output
    ranking = pl.read_parquet(out / "ranking.parquet")
    assert sorted(ranking["site_id"]) == ["A1", "A2", "A3"]
    assert ranking["site_id"][0] == "A1"  # Miami before Denver
    strategies = pl.read_parquet(out / "strategies.parquet")
    assert strategies.height == 3 * len(REGISTRY)
    assert {p.name for p in out.iterdir()} == {
        "ranking.parquet",
        "files.json",
        "ranking.csv",
        "strategies.parquet",
        "ledger.parquet",
        "groups.csv",
        "sites_used.parquet",
        "rejects.csv",
        "rejects.parquet",
        "report.html",
        "run.json",
        "bills.parquet",
        "datapackage.json",
        "inputs",
    }
    assert "Screening estimates" in result.stderr
    assert "Screening estimates" not in result.stdout
    assert '"\'=cmd()"' in (out / "ranking.csv").read_text() or "'=cmd()" in (out / "ranking.csv").read_text()


def test_an_investment_that_nobody_quoted_is_called_a_placeholder(portfolio, tmp_path):
    printed = screener("run", portfolio, "--out", tmp_path / "run", "-q").stdout
    assert "The investment of 1 site is a placeholder: put quotations in the strategies table." in printed
    best = pl.read_parquet(tmp_path / "run" / "ranking.parquet").row(0, named=True)
    assert best["investment_basis"] == "placeholder"
    assert "investment is a placeholder, not a quotation" in best["notes"]
    table = "strategy,investment_fixed,investment_per_kw\n" + "".join(f"{name},4000,180\n" for name in REGISTRY)
    (portfolio / "strategies.csv").write_text(table, encoding="utf-8")
    quoted = screener("run", portfolio, "--out", tmp_path / "quoted", "-q")
    assert "placeholder" not in quoted.stdout
    assert set(pl.read_parquet(tmp_path / "quoted" / "ranking.parquet")["investment_basis"]) == {
        "strategies table",
        None,
    }


def test_same_input_same_bytes(portfolio, tmp_path):
    outs = [tmp_path / "one", tmp_path / "two"]
    for out in outs:
        assert screener("run", portfolio, "--out", out, "-q").exit_code == 0
    files = [file.relative_to(outs[0]) for file in outs[0].rglob("*.*")]
    assert len(files) == 13 + len(INPUTS)
    for file in files:
        if file.name != "run.json":
            assert (outs[0] / file).read_bytes() == (outs[1] / file).read_bytes(), file


def test_json_is_one_document(portfolio, tmp_path):
    result = screener("run", portfolio, "--out", tmp_path / "run", "--json", "-q")
    document = json.loads(result.stdout)
    assert result.stderr == ""
    assert [site["rank"] for site in document["ranking"]] == [1, 2, 3]
    assert document["totals"]["sites"] == 3


def test_bad_rows_are_left_out_and_kept(portfolio, tmp_path):
    add_row(portfolio, "B1,Bad type,superstore,1000,33101,,t1,,")
    add_row(portfolio, "B2,Nowhere,office,1000,00000,,t1,,")
    add_row(portfolio, "B3,Hot zone,office,1000,,0B,t1,,")
    add_row(portfolio, "B4,Text,office,big,33101,,t1,,")
    out = tmp_path / "run"
    result = screener("run", portfolio, "--out", out)
    assert result.exit_code == 0, result.output
    ranked = pl.read_parquet(out / "ranking.parquet")["site_id"]
    rejects = pl.read_parquet(out / "rejects.parquet")
    assert sorted(ranked) + sorted(rejects["site_id"]) == ["A1", "A2", "A3", "B1", "B2", "B3", "B4"]
    reasons = dict(rejects.select("site_id", "reasons").iter_rows())
    assert "postal code 00000 is not known; correct it, or give coordinates" in reasons["B2"]
    assert "climate zone 0B has no station; bring a weather file" in reasons["B3"]
    assert json.loads(rejects.filter(pl.col("site_id") == "B4")["record"][0])["floor_area_ft2"] == "big"
    assert "4 rows left out" in result.stderr


def test_strict_stops_at_the_same_faults(portfolio, tmp_path):
    add_row(portfolio, "B2,Nowhere,office,1000,00000,,t1,,")
    result = screener("run", portfolio, "--out", tmp_path / "run", "--strict")
    assert result.exit_code == 3
    assert "postal code 00000 is not known" in result.stderr
    assert not (tmp_path / "run").exists()


def test_check_says_all_and_exits_3(portfolio):
    assert screener("check", portfolio).exit_code == 0
    add_row(portfolio, "A1,Twice,office,1000,33101,,t1,,")
    add_row(portfolio, "B1,Unknown tariff,office,1000,33101,,t9,,")
    result = screener("check", portfolio)
    assert result.exit_code == 3
    for words in ("A1", "t9", "row 2", "row 5"):
        assert words in result.stdout, result.stdout
    document = json.loads(screener("check", portfolio, "--json").stdout)
    assert document["sites"] == 2
    assert {fault["site_id"] for fault in document["faults"]} == {"A1", "B1"}


@pytest.mark.parametrize(
    ("break_it", "code", "words"),
    [
        (lambda p: (p / "sites.csv").unlink(), 3, "add sites.csv"),
        (lambda p: (p / "sites.csv").write_text(SITES.replace("building_type", "kind")), 3, "building_type"),
        (lambda p: (p / "sites.csv").write_text(SITES.splitlines()[0] + "\n"), 3, "sites"),
        (lambda p: (p / "sites.csv").write_bytes(SITES.encode("utf-16-le")), 3, "UTF-8"),
        (lambda p: (p / "tariffs.csv").write_text(TARIFFS.replace("0.12", "-1")), 3, "-1"),
    ],
    ids=["no sites", "missing column", "empty table", "wrong encoding", "no good tariff"],
)
def test_broken_portfolios_end_in_words(portfolio, tmp_path, break_it, code, words):
    break_it(portfolio)
    for command in (["check", portfolio], ["run", portfolio, "--out", tmp_path / "run"]):
        result = screener(*command)
        assert result.exit_code == code, result.output
        assert words in result.output
        assert "Traceback" not in result.output
    assert not (tmp_path / "run").exists()


def test_missing_folder(tmp_path):
    result = screener("run", tmp_path / "none", "--out", tmp_path / "run")
    assert result.exit_code == 3
    assert "is not a folder" in result.stderr


def test_results_are_not_overwritten_unasked(portfolio, tmp_path):
    out = tmp_path / "run"
    out.mkdir()
    (out / "thesis.txt").write_text("years of work")
    for force in ([], ["--force"]):
        result = screener("run", portfolio, "--out", out, *force)
        assert result.exit_code == 2
        assert (out / "thesis.txt").read_text() == "years of work"
    assert screener("run", portfolio, "--out", tmp_path / "fresh", "-q").exit_code == 0
    assert screener("run", portfolio, "--out", tmp_path / "fresh").exit_code == 2
    assert screener("run", portfolio, "--out", tmp_path / "fresh", "--force").exit_code == 0
    assert [p.name for p in tmp_path.iterdir() if p.name.startswith(".")] == []  # no half-written folders


def test_usage_errors_exit_2():
    assert screener("run").exit_code == 2
    assert screener("climate", "show", "999999").exit_code == 2
    assert screener("climate", "show", "722020", "--units", "furlongs").exit_code == 2
    assert screener("climate", "find", "0B").exit_code == 2
    assert screener("climate", "find", "north,south").exit_code == 2


def test_climate_commands():
    listed = json.loads(screener("climate", "list", "--json").stdout)
    assert len(listed) == 1011
    florida = json.loads(screener("climate", "list", "--state", "fl", "--zone", "1A", "--json").stdout)
    assert {s["state"] for s in florida} == {"FL"}
    assert any("MIAMI" in s["name"] for s in florida)
    figures = json.loads(screener("climate", "show", "722020", "--json").stdout)
    assert [f["month"] for f in figures] == [*(str(m) for m in range(1, 13)), "year"]
    us = json.loads(screener("climate", "show", "722020", "--units", "us", "--json").stdout)
    assert us[0]["dry_bulb_mean_f"] == pytest.approx(figures[0]["dry_bulb_mean_c"] * 1.8 + 32)
    found = json.loads(screener("climate", "find", "25.8,-80.3", "--json").stdout)[0]
    assert found["station"] == "722020"
    assert found["station_distance_km"] < 10
    assert "MIAMI INTL AP" in screener("climate", "find", "33101").stdout


def loaded_by(*arguments: str | Path) -> set[str]:
    """What a process of its own has loaded besides the standard library when the command is done."""
    code = """
import sys
from screener.commands import main
try:
    main()
finally:
    print(sorted({name.split(".")[0] for name in sys.modules} - set(sys.stdlib_module_names)), file=sys.stderr)
"""
    command = [sys.executable, "-c", code, *map(str, arguments)]
    ran = subprocess.run(command, capture_output=True, text=True, cwd=ROOT, check=True)
    assert ran.stdout
    return {name for name in ast.literal_eval(ran.stderr.splitlines()[-1]) if not name.startswith("_")}


@pytest.mark.parametrize("option", ["--help", "--version"])
def test_nothing_heavy_is_imported_for_help(option):
    """Start-up stays quick because commands import what they need themselves."""
    loaded = loaded_by(option)
    assert "screener" in loaded
    assert loaded <= {"screener", "typer", "click", "shellingham", "annotated_doc", "typing_extensions"}


def test_a_run_imports_nothing_that_it_does_not_use(portfolio, tmp_path):
    """Arrow tables are for `estimate`, workbooks for `--xlsx`, Dask for `--cluster`, the solver for `choose`."""
    loaded = loaded_by("run", portfolio, "--out", tmp_path / "run", "-q")
    assert {"polars", "duckdb", "jinja2"} <= loaded
    assert loaded.isdisjoint({"pyarrow", "xlsxwriter", "distributed", "highspy"})


@pytest.fixture
def finished(portfolio, tmp_path):
    assert screener("run", portfolio, "--out", tmp_path / "run", "-q").exit_code == 0
    return tmp_path / "run"


def test_rank_orders_and_groups_a_run(finished):
    ranked = screener(
        "rank", finished, "--by", "floor_area_m2", "--where", "climate_zone!=4A", "--ascending", "--top", 1
    )
    assert ranked.exit_code == 0, ranked.output
    assert "Store A1" in ranked.stdout
    assert "... and 1 more row; see --top" in ranked.stdout
    rows = json.loads(screener("rank", finished, "--group-by", "building_type", "--json").stdout)["rows"]
    assert [(row["building_type"], row["sites"]) for row in rows] == [("supermarket", 2), ("office", 1)]
    assert screener("rank", finished, "--where", "site_id=nobody").stdout == "no site meets all conditions\n"


def test_choose_keeps_to_the_budget_and_says_what_is_proven(finished):
    everything = json.loads(screener("choose", finished, "--budget", "1e9", "--json", "-q").stdout)
    assert everything["sites"] == len(everything["changes"]) > 0
    budget = everything["investment"] / 2
    chosen = screener("choose", finished, "--budget", budget, "--phases", 2)
    assert chosen.exit_code == 0, chosen.output
    assert "Proven: within these limits no other choice has higher net savings." in chosen.stdout
    assert "is a placeholder" in chosen.stdout
    assert "Screening estimates" in chosen.stderr
    document = json.loads(screener("choose", finished, "--budget", budget, "--json", "-q").stdout)
    assert document["investment"] <= budget
    assert document["gap"] == 0.0
    assert (
        screener("choose", finished, "--budget", 0).stdout == "no change within these limits saves more than it costs\n"
    )


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["rank", "--by", "nothing"], 'no column is called "nothing"'),
        (["rank", "--where", "1=1; drop table ranking"], 'no column is called "1"'),
        (["choose", "--budget", "-5"], "a budget of -5 buys nothing; give an amount of zero or more"),
        (["choose", "--budget", "1", "--require", "some"], '"some" is no requirement'),
    ],
)
def test_questions_that_make_no_sense_end_in_words(finished, arguments, words):
    command, *rest = arguments
    result = screener(command, finished, *rest)
    assert result.exit_code == 2
    assert words in result.stderr
    assert result.stdout == ""


def test_the_solver_library_leaves_stdout_to_the_answer(finished):
    pytest.importorskip("highspy")
    command = ["choose", finished, "--budget", "1e9", "--max-sites", "1", "--json", "-q"]
    done = subprocess.run([sys.executable, "-m", "screener", *map(str, command)], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["sites"] == 1


@pytest.mark.parametrize("command", [[], ["rank"], ["climate", "find"]])
def test_help_has_a_short_name_everywhere(command: list[str]) -> None:
    short, long = (CliRunner().invoke(app, [*command, name]) for name in ("-h", "--help"))
    assert short.exit_code == long.exit_code == 0
    assert short.output == long.output
