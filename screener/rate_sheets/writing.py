"""Imported sheets as tariff tables in a folder, and a list of what was not carried over."""

from pathlib import Path

import polars as pl

from screener.contracts import load
from screener.errors import UsageError
from screener.rate_sheets.sheet import Imported

CHARGES, TARIFFS, LIST = "tariff_charges.csv", "tariffs.csv", "imported.csv"
WRITTEN_AS = {"fuel_price_per_kwh": "fuel_price_per_therm", "fuel_demand_price_per_kw": "fuel_demand_price_per_therm_h"}
WHOLE = ("from_hour", "to_hour", "ratchet_lookback_months")


def write(imported: Imported, folder: Path, force: bool = False) -> list[Path]:
    """Write `tariffs`, `tariff_charges` and `imported` (a row per sheet: lines, what is lost, remarks) as CSV files.

    The same sheets give the same bytes. UsageError where the folder holds files of these names and `force` is not given, or
    where it cannot be written to.
    """
    files = [folder / name for name in (TARIFFS, CHARGES, LIST)]
    if not force and (there := [file.name for file in files if file.exists()]):
        raise UsageError(f"{folder} holds {', '.join(there)}; name another folder, or add --force to replace them")
    tables = (_tariffs(imported), _charges(imported), _list(imported))
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for file, table in zip(files, tables, strict=True):
            table.write_csv(file, float_precision=None)
    except OSError as error:
        raise UsageError(f"cannot write to {folder} ({error.strerror}); name another folder") from error
    return files


def _tariffs(imported: Imported) -> pl.DataFrame:
    """A row per tariff. One that charges nothing for energy says so, as hours without a price are faults."""
    rows = [
        {
            "tariff_id": sheet.label,
            "electricity_price_per_kwh": None
            if any("electricity_price_per_kwh" in line for line in sheet.lines)
            else 0,
        }
        for sheet in imported.whole
    ]
    return pl.DataFrame(rows, schema={"tariff_id": pl.String, "electricity_price_per_kwh": pl.Int64})


def _charges(imported: Imported) -> pl.DataFrame:
    fields = load("tariff_charges").fields
    kinds = {WRITTEN_AS.get(field.name, field.name): field.dtype for field in fields}
    rows = [[line.get(name) for name in kinds] for sheet in imported.whole for line in sheet.lines]
    frame = pl.DataFrame(rows, schema={**kinds, **dict.fromkeys(WHOLE, pl.Int64)}, orient="row")
    return frame.select(name for name in kinds if name in ("tariff_id", "charge") or frame[name].is_not_null().any())


def _list(imported: Imported) -> pl.DataFrame:
    rows = [
        (sheet.label, not sheet.lost, len(sheet.lines), "; ".join(sheet.lost) or None, "; ".join(sheet.remarks) or None)
        for sheet in imported.sheets
    ]
    schema = {"sheet": pl.String, "imported": pl.Boolean, "lines": pl.Int64, "lost": pl.String, "remarks": pl.String}
    return pl.DataFrame(rows, schema=schema, orient="row")
