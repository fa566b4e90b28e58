"""Where rate sheets are read from: a file of one of the forms, or a folder of them."""

import io
import json
from collections.abc import Iterator
from pathlib import Path

import polars as pl

from screener.errors import UsageError
from screener.rate_sheets import hourly_prices, open_sheets, rate_database
from screener.rate_sheets.sheet import Imported, Sheet

ENDINGS = (".csv", ".json", ".parquet")
FORMS = (
    "give a CSV or Parquet file of the open sheet form, JSON of the open rate database, a CSV file of 8,760 hourly prices "
    "(electricity_price_per_kwh or _per_mwh, and time), or a folder of such files"
)


def read(source: Path) -> Imported:
    """The rate sheets of a file, or of all files of a folder that are of one of the forms, in the order of their names.

    UsageError where there are none, or a file cannot be read.
    """
    files = (
        [source] if source.is_file() else sorted(each for each in source.glob("*") if each.suffix.lower() in ENDINGS)
    )
    if not files:
        raise UsageError(f"{source} holds no rate sheets; {FORMS}")
    sheets = [sheet for file in files for sheet in _of_file(file, source.is_file())]
    if not sheets:
        raise UsageError(f"{source} holds no rate sheets; {FORMS}")
    names = [sheet.label for sheet in sheets]
    for sheet in sheets:
        if names.count(sheet.label) > 1:
            sheet.lose("another sheet has the same label")
    return Imported(sheets)


def _of_file(file: Path, named: bool) -> Iterator[Sheet]:
    """The sheets of a file; one of no such form is passed over in a folder."""
    found: list[Sheet] | None = None
    try:
        if file.suffix.lower() == ".json":
            document = json.loads(file.read_text(encoding="utf-8-sig"))
            found = rate_database.of_document(document, file.stem) if rate_database.is_rates(document) else None
        elif file.suffix.lower() == ".parquet":
            frame = pl.read_parquet(file, glob=False)
            found = (
                open_sheets.of_rows(frame.iter_rows(named=True), file.stem)
                if open_sheets.is_sheets(frame.columns)
                else None
            )
        elif file.suffix.lower() == ".csv":
            text = file.read_text(encoding="utf-8-sig")
            header = text.partition("\n")[0].split(",")
            if open_sheets.is_sheets(header):
                found = open_sheets.of_text(text, file.stem)
            elif hourly_prices.is_prices(header):
                rows = pl.read_csv(io.StringIO(text), infer_schema=False)
                found = [hourly_prices.of_rows(rows, file.stem)]
    except (OSError, UnicodeDecodeError, ValueError, pl.exceptions.PolarsError) as error:
        raise UsageError(f"{file} cannot be read ({error}); {FORMS}") from error
    if found is None and named:
        raise UsageError(f"{file} holds no rate sheets; {FORMS}")
    yield from found or ()
