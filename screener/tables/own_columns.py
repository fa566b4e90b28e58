"""Columns of the owner's own: what a sites table says beyond the columns this program knows, kept as typed.

They change no figure. They are texts that travel with a run, so that its sites can be narrowed, grouped and told apart by
the words their owner uses: district, owner, sales.
"""

import re
from collections.abc import Iterable

import polars as pl

from screener.contracts import load
from screener.tables.reading import EXTRA, RawTable

TABLE = "own_columns"
SHOWN = 8  # of them in a note
MOST = 60  # columns; a sheet with more of them holds something else beside its sites
QUESTIONED = ("sites", "ranking", "strategy_results", "odds")  # whose columns questions name too


def nothing() -> pl.DataFrame:
    """No column of one's own."""
    return pl.DataFrame(schema=load(TABLE).polars_schema())


def of_sites(raw: RawTable, sites: pl.DataFrame, used: Iterable[str] = ()) -> tuple[pl.DataFrame, list[str]]:
    """The owner's own columns of the sites that are kept, in rows of the `own_columns` contract, and notes on them.

    `raw` is the sites table as typed, `sites` has `row` and `site_id`; `used` are headings that said something else already.
    """
    contract = load("sites")
    known = {name for field in contract.fields for name in field.names} | {*used, "row"}
    typed = raw.frame if raw.typed is None else raw.typed
    own = [c for c in typed.columns if c not in known and not c.startswith((EXTRA, "ROW_"))]
    own = [name for name in own if typed[name].null_count() < typed.height]
    if not own:
        return nothing(), []
    names = _names(own[:MOST], {name for each in QUESTIONED for name in load(each).columns} | known)
    rows = typed.join(sites.select("row", "site_id"), on="row", how="inner", suffix="_kept")
    site = pl.col("site_id_kept" if "site_id" in typed.columns else "site_id")
    long = [
        rows.select(
            site.alias("site_id"),
            column=pl.lit(name),
            heading=pl.lit(raw.headings.get(heading, heading)),
            value=pl.col(heading),
        )
        for heading, name in names.items()
    ]
    called = [name if name == heading else f"{heading} (as {name})" for heading, name in names.items()]
    shown = ", ".join(called[:SHOWN]) + (f" and {min(len(own), MOST) - SHOWN} more" if len(own) > SHOWN else "")
    notes = [f"sites: {shown} kept as the owner's own: changes no figure, is there for --where and --group-by"]
    if len(own) > MOST:
        notes.append(f"sites: {len(own) - MOST} more columns beyond the first {MOST} unknown ones are not used")
    kept = pl.concat(long).drop_nulls("value").sort("site_id", "column")
    return kept.select(load(TABLE).columns), notes


def _names(headings: Iterable[str], taken: set[str]) -> dict[str, str]:
    """What questions call each heading by: word characters only, and no name that another column has."""
    names: dict[str, str] = {}
    for heading in headings:
        name = re.sub(r"\W+", "_", heading).strip("_") or "column"
        name = f"own_{name}" if name in taken else name
        free = next(
            each
            for each in (name, *(f"{name}_{n}" for n in range(2, MOST + 3)))
            if each not in taken and each not in names.values()
        )
        names[heading] = free
    return names
