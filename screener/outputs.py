"""The run folder: every table of a run in a file, described, and either complete or not there at all.

A folder is written beside its final place under a temporary name and renamed when everything is in it. The same tables
give the same bytes: rows are sorted by key, floats rounded to nine significant figures, and only `run.json` knows the
time. `datapackage.json` describes the tables in the words of their contracts (Data Package, an open standard).
"""

import hashlib
import json
import os
import platform
import shutil
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from importlib.metadata import version
from pathlib import Path
from typing import Any, Literal

import polars as pl

from screener import __version__, contracts
from screener.errors import UsageError
from screener.exact import significant

Table = pl.DataFrame | pl.LazyFrame | Sequence[Path]
ROW_GROUP = 576 * 256  # rows; of a ledger, 256 sites of 12 months x two day kinds x 24 hours, some 20 MB
COMPRESSION: Literal["lz4"] = "lz4"  # a large ledger is written three times as fast as with zstd, and an eighth larger
DATA_PACKAGE = "https://datapackage.org/profiles/2.0/datapackage.json"


@dataclass(frozen=True)
class Output:
    """A table of the run folder: its name, its contract, the key it is sorted by, and the kinds of file it fills."""

    table: str
    contract: str
    key: tuple[str, ...]
    formats: tuple[str, ...]


OUTPUTS = (
    Output("ranking", "ranking", ("rank",), ("parquet", "csv")),
    Output("strategies", "strategy_results", ("site_id", "strategy"), ("parquet",)),
    Output("ledger", "ledger", ("site_id", "month", "day_kind", "hour"), ("parquet",)),
    Output("groups", "groups", ("climate_zone", "building_type", "best_strategy"), ("csv",)),
    Output("sites_used", "sites_used", ("site_id",), ("parquet",)),
    Output("rejects", "rejects", ("table", "row", "site_id", "columns", "reasons"), ("csv",)),
)


def write_run(
    folder: Path,
    tables: Mapping[str, Table],
    run_info: Mapping[str, Any],
    force: bool = False,
    files: Mapping[str, str] | None = None,
) -> None:
    """Write a run: all of `tables` (names of `OUTPUTS`), `run.json`, `datapackage.json` and further text `files`.

    Frames must hold the columns of their contracts. A lazy frame, or a list of Parquet files to be joined in order, is
    streamed to its file as it is: sorted by key, rounded. `run_info` is whatever `run.json` should say; the number of
    rows of each table is added. UsageError where the folder is taken: see `check_free`.
    """
    if unknown := set(tables) - {output.table for output in OUTPUTS}:
        raise KeyError(f"a run has no table {', '.join(sorted(unknown))}")
    with staged(folder, force) as part:
        resources: list[dict[str, Any]] = []
        rows: dict[str, int] = {}
        for output in (each for each in OUTPUTS if each.table in tables):
            written = _write(part, output, tables[output.table])
            rows[output.table] = written.select(pl.len()).collect().item()
            resources += _resources(part, output, written.collect_schema())
        for name, text in (files or {}).items():
            (part / name).write_text(text, encoding="utf-8", newline="\n")
        _write_json(part / "run.json", {**run_info, "rows": rows})
        _write_json(part / "datapackage.json", _package(resources))


def check_free(folder: Path, force: bool) -> None:
    """UsageError where a run cannot be written to `folder`: a file, or a folder that holds something.

    `force` allows replacing an earlier run, which a `run.json` tells it by; never a folder of other things.
    """
    if folder.exists() and not folder.is_dir():
        raise UsageError(f"{folder} is a file; name a folder for the results")
    if not folder.is_dir() or not any(folder.iterdir()):
        return
    if not force:
        raise UsageError(f"{folder} is not empty; name another folder, or add --force to replace the run in it")
    if not (folder / "run.json").is_file():
        raise UsageError(f"{folder} holds no run (no run.json) and --force replaces only runs; name another folder")


@contextmanager
def staged(folder: Path, force: bool) -> Iterator[Path]:
    """A new folder beside `folder` that takes its name when the block ends well, and is removed when it does not."""
    check_free(folder, force)
    folder = folder.resolve()
    part, old = (folder.with_name(f".{folder.name}.{what}-{os.getpid()}") for what in ("part", "old"))
    try:
        part.mkdir(parents=True)
    except OSError as error:
        raise UsageError(f"cannot write to {folder.parent} ({error.strerror}); name another folder") from error
    try:
        yield part
        check_free(folder, force)
        if folder.exists():
            folder.rename(old)
        part.rename(folder)
    except BaseException:
        if old.exists() and not folder.exists():
            old.rename(folder)
        raise
    finally:
        shutil.rmtree(part, ignore_errors=True)
        if folder.exists():
            shutil.rmtree(old, ignore_errors=True)


def neutralised(frame: pl.DataFrame) -> pl.DataFrame:
    """`frame` with an apostrophe before any text that a spreadsheet would take for a formula."""
    texts = [pl.col(name) for name, dtype in frame.schema.items() if dtype == pl.String]
    formula = r"^\s*[=+\-@]"
    return frame.with_columns(
        pl.when(text.str.contains(formula)).then(pl.concat_str(pl.lit("'"), text)).otherwise(text).name.keep()
        for text in texts
    )


def provenance(inputs: Iterable[Path], settings: Mapping[str, Any], timings: Mapping[str, float]) -> dict[str, Any]:
    """What `run.json` should say of how a run came about.

    `inputs` are the files that were read, named without their folders; `timings` are in seconds by stage.
    """
    packages = ("polars", "duckdb", "pyarrow")
    return {
        "versions": {"screener": __version__, "python": platform.python_version()} | {p: version(p) for p in packages},
        "inputs": [{"file": path.name, "sha256": sha256(path)} for path in sorted(inputs)],
        "settings": dict(settings),
        "timings_s": {stage: round(seconds, 3) for stage, seconds in timings.items()},
    }


def sha256(path: Path) -> str:
    """The SHA-256 digest of a file, in hexadecimal."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _write(part: Path, output: Output, table: Table) -> pl.LazyFrame:
    """Write one table in its formats; returns what was written."""
    if isinstance(table, pl.DataFrame):
        frame = _conformed(table, output)
        if "csv" in output.formats:
            neutralised(frame).write_csv(part / f"{output.table}.csv")
        if "parquet" in output.formats:
            frame.write_parquet(part / f"{output.table}.parquet", compression=COMPRESSION, row_group_size=ROW_GROUP)
        return frame.lazy()
    file = part / f"{output.table}.parquet"
    stream = table if isinstance(table, pl.LazyFrame) else pl.scan_parquet(list(table))
    stream.sink_parquet(file, compression=COMPRESSION, row_group_size=ROW_GROUP, maintain_order=True)
    return pl.scan_parquet(file)


def _conformed(table: pl.DataFrame, output: Output) -> pl.DataFrame:
    """The table as its contract says, sorted and rounded.

    Where the contract allows further columns, they follow, and all keep their own, perhaps narrower, types.
    """
    frame = contracts.conform(table, output.contract)
    if _schema_file(output).get("fieldsMatch") == "subset":
        rest = [name for name in table.columns if name not in frame.columns]
        frame = table.select(*frame.columns, *rest)
    if not _is_sorted(frame, output.key):
        frame = frame.sort(output.key, nulls_last=True, maintain_order=True)
    return significant(frame)


def _is_sorted(frame: pl.DataFrame, key: Sequence[str]) -> bool:
    """Whether the rows stand in the order of `key`, without nulls; a large ledger need not be sorted to find out."""
    falls = pl.lit(False)
    for name in reversed(key):
        this, before = pl.col(name), pl.col(name).shift()
        falls = (this < before) | ((this == before) & falls)
    nulls = pl.any_horizontal(pl.col(name).is_null().any() for name in key)
    return not frame.select((falls.any() | nulls).fill_null(False)).item()


def _schema_file(output: Output) -> dict[str, Any]:
    schema: dict[str, Any] = json.loads(contracts.path(output.contract).read_text(encoding="utf-8"))
    return schema


def _resources(part: Path, output: Output, columns: pl.Schema) -> list[dict[str, Any]]:
    """The description of each file of a table, by its contract."""
    schema = _schema_file(output)
    about = {key: schema.pop(key) for key in ("title", "description")}
    del schema["name"]
    schema["fields"] = _fields(schema["fields"], schema.pop("perStrategy", []), columns)
    media = {"csv": "text/csv", "parquet": "application/vnd.apache.parquet"}
    return [
        {
            "name": output.table if format == output.formats[0] else f"{output.table}_{format}",
            **about,
            "path": path.name,
            "format": format,
            "mediatype": media[format],
            "encoding": "utf-8",
            "bytes": path.stat().st_size,
            "hash": f"sha256:{sha256(path)}",
            "schema": schema,
        }
        for format in output.formats
        for path in (part / f"{output.table}.{format}",)
    ]


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


def _package(resources: list[dict[str, Any]]) -> dict[str, Any]:
    return {
        "$schema": DATA_PACKAGE,
        "name": "run",
        "title": "What better dehumidification would save at the sites of a portfolio",
        "version": __version__,
        "resources": resources,
    }


def _write_json(path: Path, content: Mapping[str, Any]) -> None:
    text = json.dumps(content, indent=2, ensure_ascii=False, default=str)
    path.write_text(text + "\n", encoding="utf-8", newline="\n")
