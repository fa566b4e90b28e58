"""Opening a run folder again: its tables, what it was made from, and how it came about."""

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import polars as pl

from screener import __version__, contracts
from screener.errors import UsageError
from screener.outputs import removing
from screener.outputs.describing import SIZE, sha256
from screener.outputs.layout import DESCRIBED, INPUTS, OUTPUTS, PACKAGE_FILE, RUN_FILE, Output

AGAIN = "run the portfolio again"
KINDS: Mapping[str, tuple[type, ...]] = {
    "string": (str,),
    "number": (int, float),
    "integer": (int,),
    "array": (list, tuple),
    "boolean": (bool,),
}
DIGEST = "digest"  # what run.json says of itself


@dataclass(frozen=True)
class RunFolder:
    """A complete run of this version. `path` is its folder, `info` the content of its `run.json`, `resources` what its
    `datapackage.json` says of each file, by the file's path."""

    path: Path
    info: Mapping[str, Any] = field(repr=False)
    resources: Mapping[str, Any] = field(repr=False)
    _sound: set[str] = field(default_factory=set, repr=False, compare=False)  # files found to be as the run left them

    @property
    def settings(self) -> dict[str, Any]:
        """The settings of the portfolio by name, as the run used them."""
        return dict(self.info["settings"])

    def table(self, name: str) -> pl.LazyFrame:
        """A table that came out, by its name in `OUTPUTS`; columns of its contract, sorted by its key.

        In `groups`, a file for spreadsheets, texts that look like a formula begin with an apostrophe.
        KeyError where runs have no such table.
        """
        return self._scan(_named(OUTPUTS, name))

    def between(self, name: str, ids: pl.Series) -> pl.LazyFrame:
        """The rows of a table of the sites from the first of `ids` to the last; the rest of its file is not read."""
        return self.table(name).filter(pl.col("site_id").is_between(pl.lit(ids[0]), pl.lit(ids[-1])))

    def file(self, name: str) -> Path:
        """The Parquet file of a table that came out, for programs that read it in place. KeyError as `table`."""
        return self.verified(str(_named(OUTPUTS, name).path("parquet")))

    def input(self, name: str) -> pl.DataFrame:
        """A table the run was made from, by its name in `INPUTS`, as it was after checking, to the last bit."""
        return self._scan(_named(INPUTS, name)).collect()

    def verified(self, path: str) -> Path:
        """A file of the run, by its path in the folder; UsageError for a Parquet file that is not as the run left it.

        Files for spreadsheets may have been saved again and are not read for figures.
        """
        file = self.path / path
        if path.endswith(".parquet") and path not in self._sound:
            if self._is_changed(path):
                raise UsageError(_changed(self.path, [path]))
            self._sound.add(path)
        return file

    def _is_changed(self, path: str) -> bool:
        return bool(self.resources[path].get("hash") != f"sha256:{sha256(self.path / path)}")

    def _scan(self, output: Output) -> pl.LazyFrame:
        if "parquet" in output.formats:
            return pl.scan_parquet(self.verified(str(output.path("parquet"))), glob=False)
        schema = contracts.load(output.contract).polars_schema()
        return pl.scan_csv(self.path / output.path("csv"), schema=schema, glob=False)


def left_out(run: RunFolder) -> dict[str, str]:
    """The rows that a run left out, in the columns of their tables: the texts of its `rejects` files, by name."""
    names = [name for name in removing.added(run.path) if name.startswith("rejects") and name.endswith(".csv")]
    return {name: (run.path / name).read_text(encoding="utf-8") for name in names if (run.path / name).is_file()}


@dataclass(frozen=True)
class Verified:
    """The files that a run is made of, by their paths in its folder, and those that are missing or not as it left them."""

    files: list[str]
    changed: list[str]


def verify(folder: Path) -> Verified:
    """See whether every file of a run is as the run left it, those for spreadsheets and reports too, whatever version wrote
    it. UsageError where there is no run.
    """
    if not (folder / RUN_FILE).is_file():
        raise UsageError(f"{folder} holds no run (no {RUN_FILE}); give the --out folder of an earlier run")
    changed: set[str] = set()
    info = _told(folder, RUN_FILE)
    if info.get(DIGEST) != digest_of(info):
        changed.add(RUN_FILE)
    if info.get(DESCRIBED) != _digest(folder / PACKAGE_FILE):
        changed.add(PACKAGE_FILE)
    try:
        listed = {str(each["path"]): each.get("hash") for each in _told(folder, PACKAGE_FILE)["resources"]}
    except (KeyError, TypeError, AttributeError):
        listed = {}
    due = listed | {name: f"sha256:{digest}" for name, digest in removing.added(folder).items()}
    due |= {name: None for name in _required() if name not in due}
    changed |= {name for name, digest in due.items() if digest is None or f"sha256:{_digest(folder / name)}" != digest}
    return Verified(sorted({*due, RUN_FILE, PACKAGE_FILE}), sorted(changed))


def _told(folder: Path, name: str) -> dict[str, Any]:
    """What a file of a run says, nothing where it cannot be read."""
    try:
        return _json(folder, name)
    except UsageError:
        return {}


def open_run(folder: Path) -> RunFolder:
    """The run in a folder. UsageError where it is no run, not whole, or was written by another version."""
    if not (folder / RUN_FILE).is_file():
        raise UsageError(f"{folder} holds no run (no {RUN_FILE}); give the --out folder of an earlier run")
    info = _json(folder, RUN_FILE)
    try:
        version, _ = str(info["versions"]["screener"]), dict(info["settings"])
    except (KeyError, TypeError, ValueError) as error:
        raise UsageError(f"{folder}: {RUN_FILE} does not tell version and settings; {AGAIN}") from error
    if version != __version__ or info.get("contracts") != contracts.digest():
        older = "with other contracts: its tables have other columns than this version reads"
        what = f"by version {version}, this is {__version__}" if version != __version__ else older
        raise UsageError(f"{folder} was written {what}; {AGAIN}")
    resources = _resources(folder)
    _require_whole(folder, resources)
    if DIGEST not in info:
        raise UsageError(f"{folder} was written before runs held digests of themselves; {AGAIN}")
    if info[DIGEST] != digest_of(info):
        raise UsageError(_changed(folder, [RUN_FILE]))
    _require_rules(folder, info["settings"])
    if info.get(DESCRIBED) != sha256(folder / PACKAGE_FILE):
        raise UsageError(_changed(folder, [PACKAGE_FILE]))
    return RunFolder(folder, info, resources)


def _require_rules(folder: Path, settings: Mapping[str, Any]) -> None:
    """UsageError where a setting is not what its contract allows, whoever wrote it there."""
    fields = {field["name"]: field for field in contracts.read("settings")["fields"]}
    wrong = [name for name, value in settings.items() if name not in fields or not _is_allowed(value, fields[name])]
    if wrong:
        told = ", ".join(f"{name} {str(settings[name])[:40]}" for name in wrong)
        raise UsageError(f"{folder}: {RUN_FILE} has settings that none can have ({told}); {AGAIN}")


def _is_allowed(value: object, field: Mapping[str, Any]) -> bool:
    if value is None:
        return True
    kind, limits = KINDS[field["type"]], field.get("constraints", {})
    if (
        not isinstance(value, kind)
        or (isinstance(value, bool) and bool not in kind)
        or value not in limits.get("enum", [value])
    ):
        return False
    return not isinstance(value, int | float) or limits.get("minimum", value) <= value <= limits.get("maximum", value)


def _digest(file: Path) -> str | None:
    return sha256(file) if file.is_file() else None


def digest_of(info: Mapping[str, Any]) -> str:
    """SHA-256 of the content of a `run.json` but the seconds that it took, however the file is laid out."""
    told = {name: value for name, value in info.items() if name not in (DIGEST, "timings_s")}
    return hashlib.sha256(json.dumps(told, sort_keys=True).encode()).hexdigest()


def _changed(folder: Path, files: list[str]) -> str:
    return f"{folder}: {', '.join(files)} is not as the run left it; {AGAIN}"


def _resources(folder: Path) -> dict[str, Any]:
    package = _json(folder, PACKAGE_FILE)
    try:
        return {str(resource["path"]): dict(resource) for resource in package["resources"]}
    except (KeyError, TypeError, ValueError) as error:
        raise UsageError(f"{folder}: {PACKAGE_FILE} lists no files; {AGAIN}") from error


def _required() -> set[str]:
    """The paths of the tables that no run lacks."""
    return {str(output.path(kind)) for output in (*OUTPUTS, *INPUTS) if not output.may_lack for kind in output.formats}


def _require_whole(folder: Path, resources: Mapping[str, Any]) -> None:
    """Every file that a run has, or that this one lists, must be there; Parquet files with the bytes they had."""
    due = _required() | set(resources)
    missing = sorted(name for name in due if name not in resources or not (folder / name).is_file())
    if missing:
        raise UsageError(f"{folder} is incomplete: {', '.join(missing)} missing; {AGAIN}")
    columnar = [name for name in resources if name.endswith(".parquet")]
    changed = [name for name in columnar if (folder / name).stat().st_size != resources[name].get(SIZE)]
    if changed:
        raise UsageError(_changed(folder, sorted(changed)))


def _json(folder: Path, name: str) -> dict[str, Any]:
    try:
        content = json.loads((folder / name).read_text(encoding="utf-8"))
    except FileNotFoundError:
        raise UsageError(f"{folder} is incomplete: {name} missing; {AGAIN}") from None
    except (ValueError, OSError, RecursionError) as error:
        raise UsageError(f"{folder}: {name} cannot be read ({error}); {AGAIN}") from error
    if not isinstance(content, dict):
        raise UsageError(f"{folder}: {name} is not what a run writes; {AGAIN}")
    return content


def _named(outputs: tuple[Output, ...], name: str) -> Output:
    for output in outputs:
        if output.table == name:
            return output
    raise KeyError(f"a run has no table {name}")
