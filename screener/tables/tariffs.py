"""The tariff tables on their own, for new prices on an old run."""

from collections.abc import Callable, Collection
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import polars as pl

from screener.contracts import load
from screener.errors import ContractError, table_fault
from screener.tables import links, tariff_sense
from screener.tables.checking import checked
from screener.tables.files import ENDINGS, Source, find_tables, links_outside
from screener.tables.reading import read_table
from screener.tables.tariff_faults import CHARGES, PERIODS, TABLES, TARIFFS, TIERS, tariff_faults

USE = ("annual_electricity_kwh", "other_load_kwh")
PRICED = ("row", "site_id", "heating_source", "tariff_id", *USE)  # what tariffs are checked against


@dataclass(frozen=True)
class Tariffs:
    """Checked tariff tables, the files they came from, and what a person should know about them."""

    tariffs: pl.DataFrame
    periods: pl.DataFrame
    tiers: pl.DataFrame
    charges: pl.DataFrame
    files: tuple[Path, ...]
    notes: tuple[str, ...]

    @property
    def tables(self) -> dict[str, pl.DataFrame]:
        """The tables by name."""
        return {TARIFFS: self.tariffs, PERIODS: self.periods, TIERS: self.tiers, CHARGES: self.charges}


def of_rates(table: Callable[[str], pl.DataFrame]) -> dict[str, Any]:
    """The tariff tables as `price.rates` takes them, from what gives them by name."""
    short = {TARIFFS: "tariffs", PERIODS: "periods", TIERS: "tiers", CHARGES: "charges"}
    return {short[name]: table(name) for name in TABLES}


def require_fuel_prices(sites: pl.DataFrame, read: Tariffs) -> None:
    """ContractError where sites (columns PRICED) burn fuel on a tariff that has months without a price for it."""
    unpriced = links.fuel_faults(sites, read.tariffs, read.periods, read.charges)
    if not unpriced.is_empty():
        raise ContractError(unpriced)


def read_tariffs(source: Path, currency: str, used: Collection[str] | None = None) -> Tariffs:
    """The tariff tables of a folder, or the tariffs alone of a file. `used` are the tariffs that
    sites are on, for a note on others.

    ContractError with every fault where there is any: unlike sites, tariffs are not left out one by one.
    """
    found_in, notes = _sources(source)
    raws = {name: read_table(found_in[name], load(name), name == TARIFFS) for name in TABLES if name in found_in}
    tables = {name: checked(raw, load(name)) for name, raw in raws.items()}
    faults = [tariff_faults(tables, currency), *(table.faults for table in tables.values())]
    known = {TARIFFS: tables[TARIFFS].values}
    faults += [links.unknown_references(table, known, {}) for table in tables.values()]
    found = pl.concat(faults)
    if not found.is_empty():
        raise ContractError(found.sort("table", "row", nulls_last=False, maintain_order=True))
    frames = {name: table.values.drop("row") for name, table in tables.items()}
    empty = {name: pl.DataFrame(schema=load(name).polars_schema()) for name in TABLES[1:]}
    read = tuple(sorted({each.file for name in tables for each in found_in[name]}))
    notes += [note for table in tables.values() for note in (*table.raw.notes, *table.notes)]
    notes += links_outside(source if source.is_dir() else source.parent, read)
    notes += tariff_sense.notes(tables, currency, used)
    frames = empty | frames
    return Tariffs(**of_rates(frames.__getitem__), files=read, notes=tuple(notes))


def _sources(source: Path) -> tuple[dict[str, list[Source]], list[str]]:
    """Where the tariff tables stand, by name, and a note on what stands beside a file and is not read."""
    if source.is_file() and source.suffix.lower() in ENDINGS:
        found = find_tables(source.parent, set(TABLES))
        inside = {name: [each] for name, places in found.items() for each in places if each.file == source}
        beside = [str(each) for name in TABLES[1:] for each in found.get(name, ()) if each.file != source]
        note = f"{', '.join(beside)} beside {source.name} is not read; give the folder to have it read too"
        sheets = {name: places for name, places in inside.items() if name in TABLES}
        return sheets if TARIFFS in sheets else {TARIFFS: [Source(source)]}, [note] if beside else []
    if not source.is_dir():
        message = f"{source} is no table of tariffs; give tariffs.csv, or the folder that holds it"
        raise ContractError(table_fault(TARIFFS, "missing table", message))
    found = find_tables(source, set(TABLES))
    if TARIFFS not in found:
        there = ", ".join(str(each) for name in found for each in found[name]) or "no tables"
        message = f"{source.name} has {there}; add tariffs.csv: what energy costs"
        raise ContractError(table_fault(TARIFFS, "missing table", message))
    return found, []
