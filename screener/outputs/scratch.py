"""What an unfinished run has worked out so far: a folder beside the one it will become, kept until that is complete.

`.NAME.unfinished` stands beside `NAME`. Its `made_from.json` says what the run is made from; a batch of sites is a folder
that appears under its number when everything is in it. A run that was killed finds the folder, sees that it was made from
the same things, and works out the batches that are not there. One made from other things is thrown away.
"""

import contextlib
import json
import os
import re
import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path, PurePosixPath
from typing import Any

import polars as pl

from screener.errors import UsageError
from screener.outputs import removing
from screener.outputs.writing import COMPRESSION, writing_in_words

MADE_FROM, LOCK = "made_from.json", "lock"
PART = ".part"
BATCH = re.compile(r"[0-9]{6,}(\.part)?")
TABLES = (".arrow", ".parquet")
TEXTS = ("sites_used",)  # tables of texts that repeat: a few rows of an Arrow file would keep all its texts in memory
NO_LOCK = "this system has no lock to keep two processes from writing the same run: do not start it twice"
STARTED_ANEW = "an unfinished run made from other tables, settings or another version was thrown away"


class Scratch:
    """The folder of an unfinished run. `notes` says what was found in it."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.notes: list[str] = []

    def has(self, number: int) -> bool:
        """Whether the batch of this number is there, whole."""
        return self._batch(number).is_dir() and not self._batch(number).is_symlink()

    def keep(self, number: int, tables: Mapping[str, pl.DataFrame]) -> None:
        """Keep the tables of a batch, all or none, as they are. UsageError where they cannot be written."""
        batch = self._batch(number)
        part = batch.with_suffix(PART)
        _discard_batch(part)
        with writing_in_words(self.path.parent):
            part.mkdir()
            for name, table in tables.items():
                if name in TEXTS:
                    table.write_parquet(part / f"{name}.parquet", compression=COMPRESSION)
                else:
                    table.write_ipc(part / f"{name}.arrow")  # uncompressed: a quarter of the time of Parquet
            part.rename(batch)

    def table(self, name: str) -> pl.LazyFrame:
        """A table of all batches, in their order."""
        files = sorted(self.path.glob(f"[0-9]*[0-9]/{name}.*"), key=lambda file: int(file.parent.name))
        return pl.scan_parquet(files, glob=False) if name in TEXTS else pl.scan_ipc(files, glob=False)

    def _batch(self, number: int) -> Path:
        return self.path / f"{number:06}"


@contextmanager
def scratch(out: Path, made_from: Mapping[str, Any]) -> Iterator[Scratch]:
    """The scratch folder of the run folder `out`, with the batches an unfinished run of the same left in it.

    `made_from` is what tells runs apart, as JSON has it. The folder goes when the block ends well, and stays where there
    are batches in it otherwise. UsageError where another process works in it, or nothing can be written there.
    """
    out = out.resolve()
    path = out.with_name(f".{out.name}.unfinished")
    with writing_in_words(out.parent):
        if path.is_symlink():
            raise UsageError(
                f"{path} is a link, where an unfinished run would be kept; remove it or name another folder"
            )
        path.mkdir(parents=True, exist_ok=True)
        lock = _locked(path)
    try:
        work = Scratch(path)
        work.notes += [NO_LOCK] if lock is None else []
        with writing_in_words(out.parent):
            _begin(work, json.loads(json.dumps(made_from, default=str)))
        yield work
        _discard(path)
    finally:
        if lock is not None:
            os.close(lock)
        if path.is_dir() and not any(path.glob("[0-9]*[0-9]")):
            _discard(path)


def forget(out: Path) -> None:
    """Take away what is unfinished of `out`, unless another process works in it: what it was made from is no more."""
    path = out.with_name(f".{out.name}.unfinished")
    if path.is_symlink() or not path.is_dir():
        return
    with contextlib.suppress(UsageError, OSError):
        lock = _locked(path)
        _discard(path)
        if lock is not None:
            os.close(lock)


def _begin(work: Scratch, made_from: Any) -> None:
    """Keep the batches that are there if they are of the same run; else start anew."""
    label = work.path / MADE_FROM
    try:
        same = json.loads(label.read_text(encoding="utf-8")) == made_from
    except (OSError, ValueError):
        same = False
    if not same:
        label.unlink(missing_ok=True)  # first, so that what is half thrown away is never taken for whole
        found = _batches(work.path)
        for batch in found:
            _discard_batch(batch)
        if any(batch.suffix != PART for batch in found):
            work.notes.append(STARTED_ANEW)
        part = label.with_suffix(PART)
        part.unlink(missing_ok=True)  # a link would be written through
        part.write_text(json.dumps(made_from), encoding="utf-8")
        part.rename(label)


def _locked(path: Path) -> int | None:
    """The open lock file of the folder; the system lets go of it when the process ends, however it ends. None where the
    system has no such lock."""
    if sys.platform == "win32":
        return None
    import fcntl

    lock = os.open(path / LOCK, os.O_CREAT | os.O_RDWR | os.O_NOFOLLOW)
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        os.close(lock)
        name = path.name.removeprefix(".").removesuffix(".unfinished")
        raise UsageError(
            f"another process is writing {path.parent / name}; wait for it, or name another folder"
        ) from None
    return lock


def _batches(path: Path) -> list[Path]:
    """The folders of batches, half ones too."""
    return [item for item in path.iterdir() if BATCH.fullmatch(item.name) and item.is_dir() and not item.is_symlink()]


def _discard_batch(batch: Path) -> None:
    """Take away the tables of a batch, and its folder if nothing else is in it."""
    if batch.is_dir() and not batch.is_symlink():
        removing.discard(batch, {PurePosixPath(item.name) for item in batch.iterdir() if item.suffix in TABLES})


def _discard(path: Path) -> None:
    """Take away what this program put into the folder, and the folder if nothing else is in it; its label goes first, so
    that a folder half gone is never taken for a whole one."""
    (path / MADE_FROM).unlink(missing_ok=True)
    for batch in _batches(path):
        _discard_batch(batch)
    removing.discard(path, {PurePosixPath(LOCK), PurePosixPath(MADE_FROM).with_suffix(PART)})
