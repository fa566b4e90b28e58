"""The schema files are valid Table Schema, and the loader finds them in a checkout and in a wheel.

Rules of a descriptor: Table Schema, version 2.0, https://datapackage.org/standard/table-schema/ .
"""

import json
import re
import tomllib
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from screener import contracts, units
from screener.contracts import schema

ROOT = Path(contracts.__file__).parents[2]
INPUTS = ["sites", "tariffs", "strategies", "equipment", "building_types"]
SCHEMAS = {file.stem: json.loads(file.read_text("utf-8")) for file in sorted((ROOT / "schemas").glob("*.json"))}
FIELDS = [(name, field) for name, schema in SCHEMAS.items() for field in schema["fields"]]
FIELD_IDS = [f"{name}.{field['name']}" for name, field in FIELDS]

TYPES = {"array", "string", "number", "integer", "boolean"}  # those of the standard that the program uses
CONSTRAINTS = {
    "string": {"required", "unique", "enum", "pattern", "minLength", "maxLength"},
    "number": {"required", "unique", "enum", "minimum", "maximum", "exclusiveMinimum", "exclusiveMaximum"},
    "integer": {"required", "unique", "enum", "minimum", "maximum", "exclusiveMinimum", "exclusiveMaximum"},
    "boolean": {"required", "enum"},
    "array": {"required"},
}
PYTHON: dict[str, Any] = {"string": str, "number": (int, float), "integer": int, "boolean": bool, "array": list}


@pytest.mark.parametrize(("table", "field"), FIELDS, ids=FIELD_IDS)
def test_field_descriptor(table: str, field: dict[str, Any]) -> None:
    assert re.fullmatch(r"[a-z][a-z0-9_.<>]*", field["name"])
    assert field["type"] in TYPES
    assert set(field.get("constraints", {})) <= CONSTRAINTS[field["type"]]
    assert len(field["description"]) >= 10
    if "example" in field:
        assert isinstance(field["example"], PYTHON[field["type"]])
    if field["type"] != "boolean":
        assert "trueValues" not in field


@pytest.mark.parametrize("table", SCHEMAS)
def test_table_descriptor(table: str) -> None:
    schema = SCHEMAS[table]
    names = [field["name"] for field in schema["fields"]]
    assert len(set(names)) == len(names)
    key = schema.get("primaryKey", [])
    assert set([key] if isinstance(key, str) else key) <= set(names)
    for link in schema.get("foreignKeys", []):
        assert set(link["fields"]) <= set(names)
        referred = {field["name"] for field in SCHEMAS[link["reference"]["resource"]]["fields"]}
        assert set(link["reference"]["fields"]) <= referred


@pytest.mark.parametrize("table", INPUTS)
def test_alternatives_are_the_same_quantity(table: str) -> None:
    for field in contracts.load(table).fields:
        assert {units.si_name(name) for name in field.names} == {field.name}
        assert field.source


@pytest.mark.parametrize("table", INPUTS)
def test_examples_keep_their_own_rules(table: str) -> None:
    contract = contracts.load(table)
    frame = pl.DataFrame({f.name: [f.example] for f in contract.fields}, schema=contract.polars_schema())
    for rule in contract.rules():
        assert frame.filter(rule.broken).is_empty(), (rule.column, rule.rule)


@pytest.mark.parametrize(
    "table", [*INPUTS, "offers", "tariff_periods", "tariff_tiers", "tariff_charges", "profiles", "spreads"]
)
def test_every_figure_that_is_typed_has_bounds(table: str) -> None:
    """An amount of 1e300 is a slip of the keyboard, and sums of it would overflow."""
    open_ended = [
        field.name
        for field in contracts.load(table).fields
        if field.kind in ("number", "integer") and not {"maximum", "exclusiveMaximum"} & {*(field.constraints or {})}
    ]
    assert open_ended == []


def test_package_folder_comes_first(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    wheel, checkout = tmp_path / "screener" / "schemas", tmp_path / "schemas"
    monkeypatch.setattr(schema, "FOLDERS", (wheel, checkout))
    checkout.mkdir()
    (checkout / "ferns.json").write_text("{}")
    assert contracts.path("ferns") == checkout / "ferns.json"
    wheel.mkdir(parents=True)
    (wheel / "ferns.json").write_text("{}")
    assert contracts.path("ferns") == wheel / "ferns.json"
    with pytest.raises(FileNotFoundError, match=r"no schema mosses\.json in "):
        contracts.path("mosses")


def test_wheel_takes_the_schemas_where_the_loader_looks() -> None:
    build = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["tool"]["hatch"]["build"]["targets"]["wheel"]
    assert build["force-include"] == {"schemas": "screener/schemas"}
    assert contracts.FOLDERS[0] == ROOT / "screener" / "schemas"


def test_conform_selects_orders_and_casts() -> None:
    contract = contracts.load("equipment")
    frame = pl.DataFrame({name: [None] for name in reversed(contract.columns)}).with_columns(surplus=pl.lit(1))
    assert contracts.conform(frame, "equipment").schema == pl.Schema(contract.polars_schema())
    with pytest.raises(KeyError, match="equipment lacks litres_per_kwh, which its contract promises"):
        contracts.conform(frame.drop("litres_per_kwh"), "equipment")
