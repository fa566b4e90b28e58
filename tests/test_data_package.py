"""The description of a run's tables: every column with words, unit and a source that exists, and valid for the standard's
own library."""

import json
import re
import warnings
from pathlib import Path

import polars as pl
import pytest

from screener import contracts, outputs, pipeline
from screener.contracts import schema as contract_files
from screener.engine import MONTHLY
from screener.errors import UsageError

ROOT = Path(__file__).parents[1]
FILE_NAME = re.compile(r"[\w/]+\.(?:py|csv|json|sql|parquet)\b")
SITES = """site_id,name,building_type,floor_area_m2,postal_code,tariff_id,current_strategy,annual_electricity_kwh
A1,First,supermarket,4000,33101,T,overcool_electric_reheat,2000000
A2,Second,office,2000,60601,T,temperature_only,
"""
TARIFFS = "tariff_id,electricity_price_per_kwh,demand_price_per_kw,fuel_price_per_kwh\nT,0.12,10,0.04\n"


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("package")
    (folder / "sites.csv").write_text(SITES, encoding="utf-8")
    (folder / "tariffs.csv").write_text(TARIFFS, encoding="utf-8")
    (folder / "portfolio.toml").write_text('currency = "EUR"\n', encoding="utf-8")
    pipeline.run(folder, folder / "run", ledger_form=MONTHLY)
    return folder / "run"


@pytest.fixture(scope="module")
def package(run: Path) -> dict:
    return json.loads((run / "datapackage.json").read_text(encoding="utf-8"))


def test_every_column_of_every_file_is_described(run: Path, package: dict) -> None:
    files = {str(file.relative_to(run)) for file in run.rglob("*") if file.suffix in (".csv", ".parquet")}
    files.remove("rejects.csv")  # in the columns of the input, whatever they are; rejects.parquet is its table
    assert {resource["path"] for resource in package["resources"]} == files
    for resource in package["resources"]:
        path = run / resource["path"]
        read = pl.read_parquet_schema(path) if path.suffix == ".parquet" else pl.read_csv(path, n_rows=0).schema
        fields = resource["schema"]["fields"]
        assert [field["name"] for field in fields] == list(read), resource["name"]
        for field in fields:
            where = f"{resource['name']}.{field['name']}"
            assert field.get("description"), where
            assert field.get("source"), where
            assert field["type"] not in ("number", "integer") or field.get("unit"), where
            for named in FILE_NAME.findall(field["source"]):
                assert (ROOT / named).is_file() or list((ROOT / "schemas").glob(named)), f"{where}: {named}"


def test_settings_and_currency_are_described(run: Path, package: dict) -> None:
    assert package["currency"] == "EUR"
    settings = {field["name"]: field for field in package["settings"]}
    kept = json.loads((run / "run.json").read_text(encoding="utf-8"))["settings"]
    assert {name: field["value"] for name, field in settings.items()} == kept
    assert all(field["description"] and field["source"] for field in settings.values())
    fields = {f["name"]: f for r in package["resources"] if r["name"] == "strategies" for f in r["schema"]["fields"]}
    assert (fields["annual_cost"]["unit"], fields["investment"]["unit"]) == ("EUR/a", "EUR")


def test_the_standards_own_library_finds_no_fault(run: Path) -> None:
    """Rows, types, bounds, bytes of CSV files and links between tables, by frictionless."""
    import frictionless

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        report = frictionless.validate(str(run / "datapackage.json"))
    faults = [(task.name, error.message) for task in report.tasks for error in task.errors[:3]]
    assert report.valid, [*report.errors[:3], *faults]
    assert report.stats["tasks"] == 19


def test_a_run_of_other_contracts_gets_a_sentence(run: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    info = json.loads((run / "run.json").read_text(encoding="utf-8"))
    assert info["contracts"] == contracts.digest()
    for digest in ({"contracts": "0" * 64}, {}):
        older = {key: value for key, value in info.items() if key != "contracts"} | digest
        (tmp_path / "run.json").write_text(json.dumps(older), encoding="utf-8")
        with pytest.raises(UsageError, match=r"was written with other contracts: .*; run the portfolio again"):
            outputs.open_run(tmp_path)
    for file in contracts.path("sites").parent.glob("*.json"):
        (tmp_path / file.name).write_bytes(file.read_bytes())
    known = contracts.digest()
    (tmp_path / "ranking.json").write_text(contracts.path("ranking").read_text().replace("rank", "order"))
    monkeypatch.setattr(contract_files, "FOLDERS", (tmp_path,))
    contracts.digest.cache_clear()
    assert contracts.digest() != known
    monkeypatch.undo()
    contracts.digest.cache_clear()
