"""Tables that a later question adds to a run folder, and what they were made from: the run's digest, and their own.

`run.json` and `datapackage.json` stay as the run left them. A file of its own, written last, names the run and the digest of
each file, so that tables half written, changed since or of another run are never read.
"""

import json
from collections.abc import Mapping
from io import BytesIO
from pathlib import Path
from typing import Any

import polars as pl

from screener import contracts
from screener.errors import UsageError
from screener.exact import significant
from screener.outputs.describing import sha256
from screener.outputs.reading import DIGEST, RunFolder
from screener.outputs.writing import COMPRESSION, add_files, neutralised

ODDS = ("odds", "portfolio_odds", "odds_figures")  # of a portfolio's people, as CSV too
ODDS_DRAWS = ("odds_changes", "odds_draws")
ODDS_FILE = "odds_made.json"
AGAIN = "ask for the odds again: screener odds"


def write_odds(run: RunFolder, tables: Mapping[str, pl.DataFrame], made_from: Mapping[str, Any]) -> list[Path]:
    """Write the odds of a run, each table sorted and rounded as its contract says; `made_from` is told beside them.

    UsageError where the folder cannot be written to.
    """
    files: dict[str, bytes] = {}
    for name in (*ODDS, *ODDS_DRAWS):
        frame = significant(contracts.conform(tables[name], name))
        files[f"{name}.parquet"] = _bytes(frame, "parquet")
        if name in ODDS:
            files[f"{name}.csv"] = _bytes(neutralised(frame), "csv")
    (run.path / ODDS_FILE).unlink(missing_ok=True)
    written = add_files(run.path, files)
    told = {**made_from, "run": run.info[DIGEST], "files": {path.name: sha256(path) for path in written}}
    text = json.dumps(told, indent=2, ensure_ascii=False) + "\n"
    return [*written, *add_files(run.path, {ODDS_FILE: text})]


def has_odds(run: RunFolder) -> bool:
    """Whether the run has odds, of itself."""
    told = _told(run)
    return told is not None and told.get("run") == run.info[DIGEST]


def odds_made(run: RunFolder) -> dict[str, Any]:
    """What the odds of the run were made from: draws, seed and the like. UsageError where it has none."""
    told = _told(run)
    if told is None:
        raise UsageError(f"{run.path} has no odds; {AGAIN} {run.path}")
    if told.get("run") != run.info[DIGEST]:
        raise UsageError(f"{run.path}: its odds are of another run; {AGAIN} {run.path}")
    return told


def odds_file(run: RunFolder, name: str) -> Path:
    """The Parquet file of a table of the odds. UsageError where the run has none, or it is not as it was written."""
    file = run.path / f"{name}.parquet"
    digests = odds_made(run).get("files", {})
    if not file.is_file() or digests.get(file.name) != sha256(file):
        raise UsageError(f"{run.path}: {file.name} is not as it was written; {AGAIN} {run.path}")
    return file


def odds_table(run: RunFolder, name: str) -> pl.DataFrame:
    """A table of the odds, as `odds_file`."""
    return pl.read_parquet(odds_file(run, name), glob=False)


def worth_finding_out(figures: pl.DataFrame) -> pl.DataFrame:
    """Of `odds_figures` what sites leave blank and is worth knowing, what is worth most first: the one list of what to find
    out, for terminal, check, report and pages."""
    asked = figures.filter(pl.col("assumed") & pl.col("site_id").is_not_null())
    return asked.sort("worth_knowing", "site_id", "figure", descending=[True, False, False])


def _told(run: RunFolder) -> dict[str, Any] | None:
    try:
        content = json.loads((run.path / ODDS_FILE).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    return content if isinstance(content, dict) else None


def _bytes(frame: pl.DataFrame, form: str) -> bytes:
    buffer = BytesIO()
    if form == "csv":
        frame.write_csv(buffer)
    else:
        frame.write_parquet(buffer, compression=COMPRESSION)
    return buffer.getvalue()
