"""The tables of a run folder in the words of their contracts (Data Package, an open standard)."""

import hashlib
import json
from pathlib import Path
from typing import Any

import polars as pl

from screener import __version__, contracts
from screener.outputs.layout import INPUTS, Output

DATA_PACKAGE = "https://datapackage.org/profiles/2.0/datapackage.json"


def schema_file(output: Output) -> dict[str, Any]:
    """The schema file of a table of the run folder, as it stands."""
    schema: dict[str, Any] = json.loads(contracts.path(output.contract).read_text(encoding="utf-8"))
    return schema


def resources(part: Path, output: Output, columns: pl.Schema) -> list[dict[str, Any]]:
    """The description of each file of a table, by its contract."""
    schema = schema_file(output)
    about = {key: schema.pop(key) for key in ("title", "description")}
    del schema["name"]
    schema["fields"] = _fields(schema["fields"], schema.pop("perStrategy", []), columns)
    if output.is_input:
        _refer_to_inputs(schema)
    media = {"csv": "text/csv", "parquet": "application/vnd.apache.parquet"}
    return [
        {
            "name": output.resource if format == output.formats[0] else f"{output.resource}_{format}",
            **about,
            "path": str(output.path(format)),
            "format": format,
            "mediatype": media[format],
            "encoding": "utf-8",
            "bytes": path.stat().st_size,
            "hash": f"sha256:{sha256(path)}",
            "schema": schema,
        }
        for format in output.formats
        for path in (part / output.path(format),)
    ]


def _refer_to_inputs(schema: dict[str, Any]) -> None:
    """Where an input refers to another, both go by the names of inputs."""
    names = {output.table: output.resource for output in INPUTS}
    for link in schema.get("foreignKeys", []):
        link["reference"]["resource"] = names[link["reference"]["resource"]]


def _fields(own: list[dict[str, Any]], per_strategy: list[dict[str, Any]], columns: pl.Schema) -> list[dict[str, Any]]:
    """A field for every column, in the file's order: of the contract, of a strategy, or of the table it came from."""
    known = {field["name"]: field for field in own}
    by_suffix = {field["name"].rpartition("}")[2]: field for field in per_strategy}
    described = {field.name: field for field in contracts.load("sites").fields}
    fields = []
    for name, dtype in columns.items():
        suffix = "." + name.rpartition(".")[2]
        if name in known:
            fields.append(known[name])
        elif suffix in by_suffix:
            fields.append({**by_suffix[suffix], "name": name})
        else:
            about: dict[str, Any] = {"name": name, "type": _type(dtype)}
            if name in described:
                about |= {"description": described[name].description, "unit": described[name].unit}
            elif name.endswith("_origin"):
                about["description"] = f"Where {name.removesuffix('_origin')} comes from."
            fields.append({key: value for key, value in about.items() if value is not None})
    return fields


def _type(dtype: pl.DataType) -> str:
    """The Table Schema type of a column that its contract leaves open."""
    if dtype == pl.Boolean:
        return "boolean"
    return "integer" if dtype.is_integer() else "number" if dtype.is_numeric() else "string"


def package(resources: list[dict[str, Any]]) -> dict[str, Any]:
    """The data package of all files of a run."""
    return {
        "$schema": DATA_PACKAGE,
        "name": "run",
        "title": "What better dehumidification would save at the sites of a portfolio",
        "version": __version__,
        "resources": resources,
    }


def sha256(path: Path) -> str:
    """The SHA-256 digest of a file, in hexadecimal."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
