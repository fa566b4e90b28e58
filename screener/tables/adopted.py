"""What `screener adopt` leaves in a portfolio beside its tables: rows set aside and rejected, and how the sheets were read."""

from collections.abc import Mapping
from pathlib import Path

import polars as pl

SITES, READING, ASIDE, REJECTS = "sites.csv", "reading.toml", "set_aside.csv", "rejects.csv"
FILES = ("set_aside", "rejects")  # tables of an adopted portfolio that are none to run
KIND, REASON = "set_aside_as", "set_aside_because"
FILE, ROW, SITE = "set_aside_file", "set_aside_row", "set_aside_site"
OWN = (KIND, REASON, FILE, ROW, SITE)


def set_aside(folder: Path, schema: Mapping[str, type[pl.DataType]]) -> pl.DataFrame:
    """The rows that were set aside when a portfolio was adopted, as rejects of `schema`, so that no answer forgets them.

    A file of that name with other columns is none of ours, and nothing is read from it.
    """
    file = folder / ASIDE
    nothing = pl.DataFrame(schema=schema)
    if not file.is_file():
        return nothing
    try:
        rows = pl.read_csv(file, infer_schema=False, glob=False)
        rows = rows.rename(lambda name: name.replace('""', '"'))  # quotes in headings come doubled
    except (pl.exceptions.PolarsError, OSError):
        return nothing
    if not {*OWN} <= {*rows.columns}:
        return nothing
    typed = [name for name in rows.columns if name not in OWN]
    found = {
        "table": pl.lit("sites"),
        "row": pl.lit(None),  # of another file
        "site_id": pl.col(SITE),
        "columns": pl.lit(None),
        "rules": pl.col(KIND),
        "reasons": pl.concat_str(REASON, pl.lit(" ("), FILE, pl.lit(", row "), ROW, pl.lit(")"), ignore_nulls=True),
        "record": pl.struct(typed).struct.json_encode() if typed else pl.lit("{}"),
    }
    return rows.select(found[name].cast(dtype).alias(name) for name, dtype in schema.items())
