"""Writing a run folder: under a temporary name beside its final place, renamed when everything is in it.

The same tables give the same bytes: rows are sorted by key, floats of results rounded to nine significant figures, and
only `run.json` knows the time.
"""

import contextlib
import errno
import hashlib
import json
import os
import platform
import re
import shutil
import stat
import time
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from importlib.metadata import version
from pathlib import Path, PurePosixPath
from typing import Any, Literal

import polars as pl

from screener import __version__, contracts
from screener.errors import UsageError
from screener.exact import significant
from screener.outputs import describing, removing
from screener.outputs.describing import sha256
from screener.outputs.layout import ADDED_FILE, DESCRIBED, INPUTS, OUTPUTS, PACKAGE_FILE, RUN_FILE, Output
from screener.outputs.reading import DIGEST, RunFolder, digest_of

Table = pl.DataFrame | pl.LazyFrame | RunFolder
PACKAGES = ("polars", "duckdb", "pyarrow")  # whose versions may change a result
COMPRESSION: Literal["lz4"] = "lz4"  # a large ledger is written three times as fast as with zstd, and an eighth larger


def write_run(
    folder: Path,
    tables: Mapping[str, Table],
    run_info: Mapping[str, Any],
    force: bool = False,
    files: Mapping[str, str] | None = None,
    inputs: Mapping[str, pl.DataFrame] | None = None,
) -> None:
    """Write a run: all of `tables` (names of `OUTPUTS`) and the `inputs` it was made from (names of `INPUTS`),
    `run.json`, `datapackage.json` and further text `files`.

    Frames must hold the columns of their contracts. A lazy frame is streamed to its file as it is: it comes sorted by
    key, rounded (`conformed`). A run folder stands for its own table, which is taken over as
    it is. `run_info` is whatever `run.json` should say, the
    settings among it; the number of rows of each table is added. UsageError where the
    folder is taken: see `check_free`.
    """
    settings = run_info.get("settings", {})
    with staged(folder, force) as part, writing_in_words(folder.parent):
        resources: list[dict[str, Any]] = []
        rows: dict[str, int] = {}
        for output, table in [*_paired(OUTPUTS, tables), *_paired(INPUTS, inputs or {})]:
            if isinstance(table, RunFolder):
                rows[output.table] = table.info["rows"][output.table]
                resources += _take_over(part, output, table)
                continue
            written = _write(part, output, table)
            if not output.is_input:
                rows[output.table] = written.select(pl.len()).collect().item()
            resources += describing.resources(part, output, written, settings.get("currency", describing.CURRENCY))
        contents = {name: text.encode() for name, text in (files or {}).items()}
        _write_json(part / ADDED_FILE, removing.remembered(part, contents))
        for name, content in contents.items():
            (part / name).write_bytes(content)
        _write_json(part / PACKAGE_FILE, describing.package(resources, settings))
        described = describing.sha256(part / PACKAGE_FILE)
        info = json.loads(json.dumps({**run_info, "rows": rows, DESCRIBED: described}, default=str))
        _write_json(part / RUN_FILE, {**info, DIGEST: digest_of(info)})


def add_files(folder: Path, files: Mapping[str, str | bytes]) -> list[Path]:
    """Write further files into a folder, all or none, in place of what had their names; a run remembers that they are its own.

    Returns their paths. UsageError where the folder cannot be written to.
    """
    contents = {name: text.encode() if isinstance(text, str) else text for name, text in files.items()}
    if (folder / RUN_FILE).is_file():
        contents[ADDED_FILE] = _in_json(removing.remembered(folder, contents)).encode()
    parts = {name: folder / f".{name}.part-{os.getpid()}" for name in contents}
    is_new = not folder.exists()
    try:
        with writing_in_words(folder):
            folder.mkdir(parents=True, exist_ok=True)
            _sweep_parts(folder, contents)
            for name, content in contents.items():
                parts[name].write_bytes(content)
            for name, part in parts.items():
                part.replace(folder / name)
    finally:
        for part in parts.values():
            with contextlib.suppress(OSError):
                part.unlink()
        if is_new:
            with contextlib.suppress(OSError):
                folder.rmdir()  # only while it is empty
    return [folder / name for name in files]


def _paired(outputs: Sequence[Output], tables: Mapping[str, Table]) -> list[tuple[Output, Table]]:
    """The tables that are given beside what the folder knows of them, in its order."""
    if unknown := set(tables) - {output.table for output in outputs}:
        raise KeyError(f"a run has no table {', '.join(sorted(unknown))}")
    return [(output, tables[output.table]) for output in outputs if output.table in tables]


def check_free(folder: Path, force: bool) -> None:
    """UsageError where a run cannot be written to `folder`: a file, a folder that holds something, or one that cannot be
    replaced: where the shell stands, or another disk begins.

    `force` allows replacing an earlier run, which a `run.json` tells it by; never a folder of other things, or a link.
    """
    if folder.is_symlink() and not folder.exists():
        raise UsageError(f"{folder} is a link that leads nowhere; name another folder")
    if folder.exists() and not folder.is_dir():
        raise UsageError(f"{folder} is a file; name a folder for the results")
    if not folder.is_dir():
        return
    if Path.cwd().is_relative_to(folder.resolve()):
        raise UsageError(f"{folder} is where you are, and would be replaced under your feet; name a new folder in it")
    if folder.is_mount():
        raise UsageError(f"{folder} is where another disk begins, and cannot be replaced; name a new folder in it")
    if not any(folder.iterdir()):
        return
    if not force:
        raise UsageError(f"{folder} is not empty; name another folder, or add --force to replace the run in it")
    if not (folder / RUN_FILE).is_file():
        raise UsageError(f"{folder} holds no run (no run.json) and --force replaces only runs; name another folder")
    if folder.is_symlink():
        raise UsageError(
            f"{folder} is a link; to replace the run that it leads to, name its folder: {folder.resolve()}"
        )
    removing.require_apart(folder, removing.ALWAYS)


@contextmanager
def staged(folder: Path, force: bool) -> Iterator[Path]:
    """A new folder beside `folder` that takes its name when the block ends well, and is removed when it does not.

    Of an earlier run in its place only the files that a run wrote are removed; what others put there stays, and so does
    the folder's mode.
    """
    check_free(folder, force)
    folder = folder.resolve()
    _sweep(folder)
    part, old = (folder.with_name(f".{folder.name}.{what}-{os.getpid()}") for what in ("part", "old"))
    try:
        part.mkdir(parents=True)
    except OSError as error:
        raise UsageError(f"cannot write to {folder.parent} ({error.strerror}); name another folder") from error
    try:
        yield part
        check_free(folder, force)
        if folder.exists():
            removing.require_apart(folder, {PurePosixPath(path.relative_to(part)) for path in part.rglob("*")})
            part.chmod(stat.S_IMODE(folder.stat().st_mode))
            folder.rename(old)
        part.rename(folder)
    except BaseException:
        if old.exists() and not folder.exists():
            old.rename(folder)
        shutil.rmtree(part, ignore_errors=True)  # made by this process
        raise
    finally:
        if old.exists() and folder.exists():
            removing.replace(old, folder)


@contextmanager
def writing_in_words(folder: Path) -> Iterator[None]:
    """UsageError for a disk that is full or may not be written to, however the library that met it says so."""
    try:
        yield
    except (OSError, pl.exceptions.ComputeError) as error:
        told = re.search(r"([A-Z][^:]*) \(os error \d+\)", str(error))
        reason = told[1] if told else getattr(error, "strerror", None)
        if not reason and "transport error" in str(error):  # of the last bytes of a Parquet file
            reason = os.strerror(errno.ENOSPC)
        if not reason:
            raise
        raise UsageError(
            f"cannot write to {folder} ({reason}); make room or name another folder, then give the same command again"
        ) from error


def _sweep_parts(folder: Path, names: Iterable[str]) -> None:
    """Take away what killed processes left of files of these names."""
    beginnings = {f".{name}.part" for name in names}
    for left in folder.iterdir():
        beginning, _, process = left.name.rpartition("-")
        is_part = beginning in beginnings and process.isdigit() and left.is_file() and not left.is_symlink()
        if is_part and not _is_alive(int(process)):
            left.unlink()


def _sweep(folder: Path) -> None:
    """Take away what killed processes left beside the folder; an earlier run that one had put aside gets its name back."""
    if not folder.parent.is_dir():
        return
    for left in folder.parent.iterdir():
        if not left.name.startswith(f".{folder.name}.") or not left.is_dir() or left.is_symlink():
            continue
        what, _, process = left.name.removeprefix(f".{folder.name}.").rpartition("-")
        if what not in ("part", "old") or not process.isdigit() or _is_alive(int(process)):
            continue
        if what == "old" and not folder.exists():
            left.rename(folder)
        elif what == "old":
            removing.replace(left, folder)
        else:
            removing.discard(left)


def _is_alive(process: int) -> bool:
    if os.name == "nt":  # no harmless way of asking there
        return True
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except OSError:
        return True
    return True


def neutralised(frame: pl.DataFrame) -> pl.DataFrame:
    """`frame` with an apostrophe before any text that a spreadsheet would take for a formula, also one that begins where a
    reader for semicolons, tabs or bars would begin a cell."""
    texts = [pl.col(name) for name, dtype in frame.schema.items() if dtype == pl.String]
    return frame.with_columns(
        text.str.replace_all(r"(^|[;|\t\r\n])(\s*[=+\-@])", "${1}'${2}").name.keep() for text in texts
    )


def provenance(inputs: Iterable[Path], settings: Mapping[str, Any], timings: Mapping[str, float]) -> dict[str, Any]:
    """What `run.json` should say of how a run came about.

    `inputs` are the files that were read, named without their folders; `timings` are in seconds by stage.
    """
    return {
        "versions": {"screener": __version__, "python": platform.python_version()} | {p: version(p) for p in PACKAGES},
        "contracts": contracts.digest(),
        "date": today(),
        "inputs": digests(inputs),
        "settings": dict(settings),
        "timings_s": {stage: round(seconds, 3) for stage, seconds in timings.items()},
    }


def today() -> str:
    """The day, in UTC; that of SOURCE_DATE_EPOCH where it is set, for files that should not know when they were made
    [reproducible-builds.org]."""
    given = os.environ.get("SOURCE_DATE_EPOCH", "")
    now = int(given) if given.isdecimal() and len(given) < 12 else time.time()
    return f"{datetime.fromtimestamp(now, UTC):%Y-%m-%d}"


def digests(files: Iterable[Path]) -> list[dict[str, str]]:
    """Name without folder and SHA-256 of each file."""
    return [{"file": path.name, "sha256": sha256(path)} for path in sorted(files)]


def fingerprint() -> dict[str, str]:
    """What the results depend on besides the inputs: versions, and a digest of every file of this package."""
    package = Path(__file__).parents[1]
    files = [path for path in sorted(package.rglob("*")) if path.is_file() and path.suffix not in (".pyc", ".html")]
    digest = hashlib.sha256("".join(sha256(path) for path in files).encode()).hexdigest()
    return {"files": digest, "python": platform.python_version()} | {p: version(p) for p in PACKAGES}


def _take_over(part: Path, output: Output, run: RunFolder) -> list[dict[str, Any]]:
    """A table of another run, with its description: a copy, since of two names of one file each would change the other's run."""
    paths = [str(output.path(format)) for format in output.formats]
    for path in paths:
        shutil.copyfile(run.verified(path), part / path)
    return [run.resources[path] for path in paths]


def _write(part: Path, output: Output, table: pl.DataFrame | pl.LazyFrame) -> pl.LazyFrame:
    """Write one table in its formats; returns what was written."""
    files = {format: part / output.path(format) for format in output.formats}
    for file in files.values():
        file.parent.mkdir(exist_ok=True)
    if isinstance(table, pl.DataFrame):
        frame = _conformed(table, output)
        if "csv" in files:
            neutralised(frame).write_csv(files["csv"])
        if "parquet" in files:
            frame.write_parquet(files["parquet"], compression=COMPRESSION, row_group_size=output.row_group)
        return frame.lazy()
    table.sink_parquet(files["parquet"], compression=COMPRESSION, row_group_size=output.row_group, maintain_order=True)
    return pl.scan_parquet(files["parquet"], glob=False)


def conformed(table: pl.DataFrame, name: str) -> pl.DataFrame:
    """A table that came out as the run folder holds it, by its name in `OUTPUTS`: columns, order, rounding."""
    ((output, _),) = _paired(OUTPUTS, {name: table})
    return _conformed(table, output)


def _conformed(table: pl.DataFrame, output: Output) -> pl.DataFrame:
    """The table as its contract says, sorted and, unless an input, rounded.

    Where the contract allows further columns, they follow, and all keep their own, perhaps narrower, types.
    """
    frame = contracts.conform(table, output.contract)
    if describing.schema_file(output).get("fieldsMatch") == "subset":
        rest = [name for name in table.columns if name not in frame.columns]
        frame = table.select(*frame.columns, *rest)
    if not _is_sorted(frame, output.key):
        frame = frame.sort(output.key, nulls_last=True, maintain_order=True)
    return frame if output.is_input else significant(frame)


def _is_sorted(frame: pl.DataFrame, key: Sequence[str]) -> bool:
    """Whether the rows stand in the order of `key`, without nulls; a large ledger need not be sorted to find out."""
    falls = pl.lit(False)
    for name in reversed(key):
        this, before = pl.col(name), pl.col(name).shift()
        falls = (this < before) | ((this == before) & falls)
    nulls = pl.any_horizontal(pl.col(name).is_null().any() for name in key)
    return not frame.select((falls.any() | nulls).fill_null(False)).item()


def _write_json(path: Path, content: Mapping[str, Any]) -> None:
    path.write_text(_in_json(content), encoding="utf-8", newline="\n")


def _in_json(content: Mapping[str, Any]) -> str:
    return json.dumps(content, indent=2, ensure_ascii=False, default=str) + "\n"
