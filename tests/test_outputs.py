"""The run folder: whole or absent, the same bytes from the same tables, described file by file."""

import csv
import hashlib
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import duckdb
import polars as pl
import pyarrow.parquet as pq
import pytest

from screener import outputs
from screener.errors import UsageError
from screener.outputs import check_free, neutralised, provenance, staged, write_run
from screener.ranking import rank
from tests.money_cases import ledger, life_cycle, prices, sites, totals

NOW, DEVICE = "overcool_electric_reheat", "standalone_dehumidifier"
HOURS = [("working", 9), ("working", 10), ("other", 9)]


def a_run() -> dict[str, Any]:
    """The tables of a run of two sites, of which one has a name that a spreadsheet would calculate."""
    where = sites({"site_id": "B", "name": "=1+1"}, {"site_id": "A", "name": "Harbour Street"}).with_columns(
        elevation_m=12.0, elevation_m_origin=pl.lit("given"), occupancy_fraction=0.5, row=7
    )
    rows = [
        {"site_id": site, "strategy": strategy, "annual_cost": cost, "electricity_kwh": cost / 3.0}
        for site, cost_now in (("B", 900.0), ("A", 700.0))
        for strategy, cost in ((NOW, cost_now), (DEVICE, 300.0))
    ]
    table = prices({"strategy": NOW}, {"strategy": DEVICE, "investment_fixed": 1_000.0})
    results = life_cycle(totals(*rows), where, table, 0.03, 15)
    ranking = rank.ranking(results, where, "USD")
    lines = [
        (site, month, kind, hour, 20.0, 1.5, 0.0, 0.2, 0.5, 0.0, 0.1)
        for site in "AB"
        for month in range(1, 13)
        for kind, hour in HOURS
    ]
    reject = {"table": "sites", "row": 4, "site_id": "C", "columns": "floor_area_m2", "rules": "too small"}
    return {
        "ranking": ranking,
        "strategies": results,
        "ledger": ledger([NOW, DEVICE], *lines),
        "groups": rank.groups(ranking),
        "sites_used": where,
        "rejects": pl.DataFrame([reject | {"reasons": "-5 is too small", "record": '{"floor_area_m2": "-5"}'}]),
    }


def contents(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


@pytest.fixture
def run(tmp_path: Path) -> Iterator[Path]:
    write_run(tmp_path / "run", a_run(), {"settings": {"currency": "USD"}}, files={"note.txt": "naïve\n"})
    yield tmp_path / "run"
    assert [path.name for path in tmp_path.iterdir() if path.name.startswith(".")] == []  # nothing is left behind


def test_a_run_holds_every_table_and_nothing_else(run: Path) -> None:
    tables = {"ranking.parquet", "ranking.csv", "strategies.parquet", "ledger.parquet", "groups.csv"}
    assert set(contents(run)) == tables | {
        "sites_used.parquet",
        "rejects.parquet",
        "run.json",
        "datapackage.json",
        "files.json",
        "note.txt",
    }
    assert (run / "note.txt").read_text(encoding="utf-8") == "naïve\n"


def test_the_same_tables_give_the_same_bytes_whatever_their_row_order(run: Path, tmp_path: Path) -> None:
    shuffled = {name: table.sample(fraction=1.0, shuffle=True, seed=3) for name, table in a_run().items()}
    write_run(tmp_path / "again", shuffled, {"settings": {"currency": "USD"}}, files={"note.txt": "naïve\n"})
    assert contents(tmp_path / "again") == contents(run)


def test_a_difference_in_the_last_bits_of_a_sum_does_not_show(run: Path, tmp_path: Path) -> None:
    """Sums in another order differ by some 1e-16 of themselves."""
    tables = a_run()
    tables["strategies"] = tables["strategies"].with_columns(pl.col("electricity_kwh") * (1 + 4e-16))
    write_run(tmp_path / "again", tables, {})
    assert (tmp_path / "again" / "strategies.parquet").read_bytes() == (run / "strategies.parquet").read_bytes()


@pytest.mark.parametrize("layout", ["lazy", "parts"])
def test_a_ledger_may_come_as_a_stream_or_in_parts(layout: str, run: Path, tmp_path: Path) -> None:
    tables = a_run()
    sorted_ledger = tables["ledger"].sort("site_id", "month", "day_kind", "hour")
    if layout == "lazy":
        tables["ledger"] = sorted_ledger.lazy()
    else:
        files = [tmp_path / f"{site}.arrow" for site in "AB"]
        for path in files:
            sorted_ledger.filter(site_id=path.stem).write_ipc(path)
        tables["ledger"] = pl.scan_ipc(files)
    write_run(tmp_path / "again", tables, {})
    assert (tmp_path / "again" / "ledger.parquet").read_bytes() == (run / "ledger.parquet").read_bytes()
    assert json.loads((tmp_path / "again" / "run.json").read_text())["rows"]["ledger"] == 2 * 12 * len(HOURS)


def test_other_programs_read_the_tables(run: Path) -> None:
    """Arrow's and DuckDB's Parquet readers, Python's csv."""
    arrow = pq.read_table(run / "strategies.parquet")
    assert arrow.num_rows == 4
    assert arrow.column("site_id").to_pylist() == ["A", "A", "B", "B"]
    read = duckdb.sql(f"select site_id, sum(\"{NOW}.electricity_kwh\") from '{run / 'ledger.parquet'}' group by all")
    assert sorted(read.fetchall()) == [("A", 54.0), ("B", 54.0)]
    with (run / "ranking.csv").open(encoding="utf-8", newline="") as file:
        lines = list(csv.DictReader(file))
    assert [(line["rank"], line["site_id"], line["name"]) for line in lines] == [
        ("1", "B", "'=1+1"),
        ("2", "A", "Harbour Street"),
    ]
    assert pl.read_parquet(run / "ranking.parquet")["name"][0] == "=1+1"  # only text meant for spreadsheets is changed


def test_text_that_looks_like_a_formula_is_neutralised_and_numbers_are_not() -> None:
    """The four signs that start a formula, also behind blanks, as common practice has it."""
    texts = ["=A1", "+1", "-1", "@x", " =A1", "\t=A1", "a=b", "", None]
    frame = neutralised(pl.DataFrame({"text": texts, "number": [-1.0] * len(texts)}))
    assert frame["text"].to_list() == ["'=A1", "'+1", "'-1", "'@x", "' =A1", "'\t=A1", "a=b", "", None]
    assert frame["number"].to_list() == [-1.0] * len(texts)


def test_the_data_package_describes_every_table_file_and_column(run: Path) -> None:
    """Keys of the Data Package standard, version 2; digests worked out here."""
    package = json.loads((run / "datapackage.json").read_text(encoding="utf-8"))
    resources = {resource["path"]: resource for resource in package["resources"]}
    assert set(resources) == {name for name in contents(run) if name.endswith((".csv", ".parquet"))}
    assert len({resource["name"] for resource in package["resources"]}) == len(resources)
    for path, resource in resources.items():
        data = (run / path).read_bytes()
        assert resource["bytes" if resource["format"] == "csv" else "size"] == len(data)
        assert resource["hash"] == "sha256:" + hashlib.sha256(data).hexdigest()
        frame = pl.read_parquet(run / path) if path.endswith(".parquet") else pl.read_csv(run / path)
        assert [field["name"] for field in resource["schema"]["fields"]] == frame.columns
        assert set(resource["schema"].get("primaryKey", [])) <= set(frame.columns)
    names = {resource["name"] for resource in package["resources"]}
    for resource in package["resources"]:
        for link in resource["schema"].get("foreignKeys", []):
            assert link["reference"]["resource"] in names


def test_columns_beyond_a_contract_are_described_too(run: Path) -> None:
    package = json.loads((run / "datapackage.json").read_text(encoding="utf-8"))
    fields = {
        resource["name"]: {field["name"]: field for field in resource["schema"]["fields"]}
        for resource in package["resources"]
    }
    assert fields["ledger"][f"{DEVICE}.peak_kw"]["unit"] == "kW"
    used = fields["sites_used"]
    assert used["elevation_m"]["unit"] == "m"
    assert used["elevation_m_origin"]["description"].startswith("Where elevation_m comes from: given, converted, or ")
    assert [used[name]["type"] for name in ("occupancy_fraction", "row", "elevation_m")] == [
        "number",
        "integer",
        "number",
    ]


def test_a_column_that_no_contract_describes_is_a_bug(tmp_path: Path) -> None:
    tables = a_run()
    tables["sites_used"] = tables["sites_used"].with_columns(visits=7)
    with pytest.raises(KeyError, match="no contract describes the column visits of sites_used"):
        write_run(tmp_path / "run", tables, {})


def test_run_json_counts_rows_and_says_how_it_came_about(tmp_path: Path) -> None:
    source = tmp_path / "sites.csv"
    source.write_bytes(b"abc")
    info = provenance([source], {"discount_rate": 0.03}, {"price": 1.23456})
    write_run(tmp_path / "run", a_run(), info)
    said = json.loads((tmp_path / "run" / "run.json").read_text(encoding="utf-8"))
    assert said["rows"] == {
        "ranking": 2,
        "strategies": 4,
        "ledger": 72,
        "groups": 1,
        "sites_used": 2,
        "rejects": 1,
    }
    # SHA-256 of "abc": FIPS 180-4, NIST's example
    digest = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert said["inputs"] == [{"file": "sites.csv", "sha256": digest}]
    assert said["timings_s"] == {"price": 1.235}
    assert said["settings"] == {"discount_rate": 0.03}
    assert set(said["versions"]) >= {"screener", "python", "polars", "duckdb"}


def test_a_folder_that_holds_something_is_refused(run: Path) -> None:
    before = contents(run)
    with pytest.raises(UsageError, match="is not empty; name another folder, or add --force"):
        write_run(run, a_run(), {})
    assert contents(run) == before


def test_force_replaces_all_that_a_run_wrote(run: Path) -> None:
    write_run(run, a_run(), {}, force=True)
    assert not (run / "note.txt").exists()
    assert json.loads((run / "run.json").read_text())["rows"]["ranking"] == 2


def test_force_never_replaces_a_folder_of_other_things(tmp_path: Path) -> None:
    (tmp_path / "photos").mkdir()
    (tmp_path / "photos" / "one.jpg").write_bytes(b"x")
    with pytest.raises(UsageError, match="holds no run"):
        write_run(tmp_path / "photos", a_run(), {}, force=True)
    assert contents(tmp_path / "photos") == {"one.jpg": b"x"}


def test_a_file_in_the_way_and_an_empty_folder(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(UsageError, match="is a file; name a folder"):
        check_free(tmp_path / "file", force=True)
    (tmp_path / "empty").mkdir()
    write_run(tmp_path / "empty", a_run(), {})
    assert (tmp_path / "empty" / "run.json").is_file()


def test_a_place_that_cannot_be_written_is_a_usage_error(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(UsageError, match="cannot write to"):
        write_run(tmp_path / "file" / "run", a_run(), {})


@pytest.mark.parametrize("earlier", [False, True])
def test_a_run_that_fails_on_the_way_leaves_everything_as_it_was(earlier: bool, tmp_path: Path) -> None:
    folder = tmp_path / "run"
    if earlier:
        write_run(folder, a_run(), {})
    before = contents(folder) if earlier else None
    tables = a_run() | {"rejects": pl.DataFrame({"table": ["sites"]})}
    with pytest.raises(KeyError, match="rejects lacks row"):
        write_run(folder, tables, {}, force=True)
    assert (contents(folder) if folder.exists() else None) == before
    assert [path.name for path in tmp_path.iterdir()] == (["run"] if earlier else [])


def test_an_earlier_run_comes_back_when_the_new_one_cannot_take_its_place(
    run: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before, rename = contents(run), Path.rename

    def refuse(self: Path, target: Path) -> Path:
        if ".part-" in self.name:
            raise OSError("no")
        return rename(self, target)

    monkeypatch.setattr(Path, "rename", refuse)
    with pytest.raises(OSError, match="no"), staged(run, force=True) as part:
        (part / "run.json").write_text("{}")
    assert contents(run) == before


def test_a_table_that_no_run_has_is_a_mistake_of_the_program(tmp_path: Path) -> None:
    with pytest.raises(KeyError, match="no table sums"):
        write_run(tmp_path / "run", {"sums": pl.DataFrame()}, {})


def test_every_output_has_its_contract() -> None:
    assert {output.contract for output in outputs.OUTPUTS} == {
        "bills",
        "ranking",
        "strategy_results",
        "ledger",
        "groups",
        "sites_used",
        "rejects",
    }
