"""The tables of a run folder in the words of their contracts (Data Package, an open standard)."""

import hashlib
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import polars as pl

from screener import __version__, contracts
from screener.outputs.layout import INPUTS, Output

CURRENCY = "currency"  # how units of money begin in contracts
SIZE = "size"  # bytes of a Parquet file; `bytes` is what readers of the standard count, and they count none of these
BOUNDS = ("minimum", "maximum", "exclusiveMinimum", "exclusiveMaximum")
ORIGINS = "the cell of the sites table, or what filled it"
DATA_PACKAGE = "https://datapackage.org/profiles/2.0/datapackage.json"


def schema_file(output: Output) -> dict[str, Any]:
    """The schema file of a table of the run folder, as it stands."""
    schema: dict[str, Any] = json.loads(contracts.path(output.contract).read_text(encoding="utf-8"))
    return schema


def resources(part: Path, output: Output, written: pl.LazyFrame, currency: str) -> list[dict[str, Any]]:
    """The description of each file of a table, by its contract; amounts of money in the `currency` of the run."""
    schema = schema_file(output)
    about = {key: schema.pop(key) for key in ("title", "description")}
    del schema["name"]
    known = [*schema["fields"], *schema.pop("further", [])]
    fields = _fields(known, schema.pop("perStrategy", []), written.collect_schema(), output)
    schema["fields"] = [_in_currency(field, currency) for field in fields]
    if output.is_input:
        _refer_to_inputs(schema)
    media = {"csv": "text/csv", "parquet": "application/vnd.apache.parquet"}
    empty = _with_empty_cells(written) if "parquet" in output.formats else set()
    return [
        {
            "name": output.resource if format == output.formats[0] else f"{output.resource}_{format}",
            **about,
            "path": str(output.path(format)),
            "format": format,
            "mediatype": media[format],
            "encoding": "utf-8",
            "bytes" if format == "csv" else SIZE: path.stat().st_size,
            "hash": f"sha256:{sha256(path)}",
            "schema": schema
            if format == "csv"
            else schema | {"fields": [_as_read(f, empty) for f in schema["fields"]]},
        }
        for format in output.formats
        for path in (part / output.path(format),)
    ]


def _with_empty_cells(written: pl.LazyFrame) -> set[str]:
    counts = written.select(pl.all().null_count()).collect().row(0, named=True)
    return {name for name, count in counts.items() if count}


def _as_read(field: dict[str, Any], empty: set[str]) -> dict[str, Any]:
    """A field of a Parquet file as readers of the standard see it: they take an empty number for none of the real ones,
    which is no whole number and lies within no bounds; so these are told in words where cells are empty."""
    if field["name"] not in empty or field["type"] not in ("number", "integer"):
        return field
    bounds = {key: value for key, value in field.get("constraints", {}).items() if key in BOUNDS}
    kept = {key: value for key, value in field.get("constraints", {}).items() if key not in BOUNDS}
    told = {"type": "number", "bounds": bounds} if bounds else {"type": "number"}
    return (
        {key: value for key, value in field.items() if key != "constraints"}
        | told
        | ({"constraints": kept} if kept else {})
    )


def _in_currency(field: dict[str, Any], currency: str) -> dict[str, Any]:
    unit = field.get("unit", "")
    return field | {"unit": currency + unit.removeprefix(CURRENCY)} if unit.startswith(CURRENCY) else field


def _refer_to_inputs(schema: dict[str, Any]) -> None:
    """Where an input refers to another, both go by the names of inputs; to what a run does not keep nothing refers."""
    names = {output.table: output.resource for output in INPUTS}
    links = [link for link in schema.get("foreignKeys", []) if link["reference"]["resource"] in names]
    for link in links:
        link["reference"]["resource"] = names[link["reference"]["resource"]]
    schema.pop("foreignKeys", None)
    if links:
        schema["foreignKeys"] = links


def _fields(
    own: list[dict[str, Any]], per_strategy: list[dict[str, Any]], columns: pl.Schema, output: Output
) -> list[dict[str, Any]]:
    """A field for every column, in the file's order: of the contract, of a strategy, or of the table it came from.

    KeyError for a column that no contract knows.
    """
    known = {field["name"]: field for field in own}
    by_suffix = {field["name"].rpartition("}")[2]: field for field in per_strategy}
    elsewhere = {f["name"]: f for table in ("building_types", "sites") for f in contracts.read(table)["fields"]}
    fields = []
    for name, dtype in columns.items():
        suffix = "." + name.rpartition(".")[2]
        if name in known:
            fields.append(known[name])
        elif suffix in by_suffix:
            fields.append({**by_suffix[suffix], "name": name})
        elif name in elsewhere:
            about = {key: elsewhere[name][key] for key in ("description", "unit", "source") if key in elsewhere[name]}
            fields.append({"name": name, "type": _type(dtype), **about})
        elif (column := name.removesuffix("_origin")) != name and column in known | elsewhere:
            told = f"Where {column} comes from: given, converted, or looked up, sized or assumed with the source behind it."
            fields.append({"name": name, "type": "string", "description": told, "source": ORIGINS})
        else:
            raise KeyError(f"no contract describes the column {name} of {output.table}")
    return fields


def _type(dtype: pl.DataType) -> str:
    """The Table Schema type of a column that its contract leaves open."""
    if dtype == pl.Boolean:
        return "boolean"
    return "integer" if dtype.is_integer() else "number" if dtype.is_numeric() else "string"


def package(resources: list[dict[str, Any]], settings: Mapping[str, Any]) -> dict[str, Any]:
    """The data package of all files of a run, with its settings and what they mean."""
    about = ("name", "type", "description", "unit", "source")
    described = [{key: field[key] for key in about if key in field} for field in contracts.read("settings")["fields"]]
    return {
        "$schema": DATA_PACKAGE,
        "name": "run",
        "title": "What better dehumidification would save at the sites of a portfolio",
        "version": __version__,
        "currency": settings.get("currency", CURRENCY),
        "settings": [field | {"value": settings.get(field["name"])} for field in described],
        "resources": resources,
    }


def sha256(path: Path) -> str:
    """The SHA-256 digest of a file, in hexadecimal."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
