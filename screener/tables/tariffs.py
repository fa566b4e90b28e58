"""The tariff tables on their own, for new prices on an old run."""

from dataclasses import dataclass
from pathlib import Path

import polars as pl

from screener.contracts import load
from screener.errors import ContractError, table_fault
from screener.tables import links
from screener.tables.checking import check
from screener.tables.reading import ENDINGS, find_tables, read_table
from screener.tables.tariff_faults import PERIODS, TABLES, TARIFFS, TIERS, tariff_faults


@dataclass(frozen=True)
class Tariffs:
    """Checked tariff tables, the files they came from, and what a person should know about them."""

    tariffs: pl.DataFrame
    periods: pl.DataFrame
    tiers: pl.DataFrame
    files: tuple[Path, ...]
    notes: tuple[str, ...]


def read_tariffs(source: Path, currency: str) -> Tariffs:
    """The tariffs, tariff_periods and tariff_tiers of a folder, or the tariffs alone of a file.

    ContractError with every fault where there is any: unlike sites, tariffs are not left out one by one.
    """
    files, notes = _files(source)
    raws = {name: read_table(files[name], load(name)) for name in TABLES if name in files}
    tables = {name: check(raw, load(name)) for name, raw in raws.items()}
    faults = [tariff_faults(tables, currency), *(table.faults for table in tables.values())]
    known = {TARIFFS: tables[TARIFFS].values}
    faults += [links.unknown_references(table, known, {}) for table in tables.values()]
    found = pl.concat(faults)
    if not found.is_empty():
        raise ContractError(found.sort("table", "row", nulls_last=False, maintain_order=True))
    frames = {name: table.values.drop("row") for name, table in tables.items()}
    empty = {name: pl.DataFrame(schema=load(name).polars_schema()) for name in (PERIODS, TIERS)}
    read = tuple(file for name in tables for file in files[name])
    notes += [note for raw in raws.values() for note in raw.notes]
    frames = empty | frames
    return Tariffs(frames[TARIFFS], frames[PERIODS], frames[TIERS], read, tuple(notes))


def _files(source: Path) -> tuple[dict[str, list[Path]], list[str]]:
    """The files of the tariff tables by name, and a note on what stands beside a file and is not read."""
    if source.is_file() and source.suffix.lower() in ENDINGS:
        beside = [
            file.name
            for name, files in find_tables(source.parent).items()
            for file in files
            if name in (PERIODS, TIERS)
        ]
        note = f"{', '.join(beside)} beside {source.name} is not read; give the folder to have it read too"
        return {TARIFFS: [source]}, [note] if beside else []
    if not source.is_dir():
        message = f"{source} is no table of tariffs; give tariffs.csv, or the folder that holds it"
        raise ContractError(table_fault(TARIFFS, "missing table", message))
    files = find_tables(source)
    if TARIFFS not in files:
        there = ", ".join(file.name for name in files for file in files[name]) or "no tables"
        message = f"{source.name} has {there}; add tariffs.csv: what energy costs"
        raise ContractError(table_fault(TARIFFS, "missing table", message))
    return files, []
