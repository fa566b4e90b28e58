"""Columns of the owner's own, which travelled with a run, as columns that sites are narrowed, ordered and grouped by."""

from collections.abc import Collection

import polars as pl

from screener.contracts import Field

NUMBER = r"^[-+]?(0|[1-9]\d*|[1-9]\d{0,2}(,\d{3})+)(\.\d+)?$"  # 007 is a name, and so is 1.234.567


def fields(own: pl.DataFrame) -> dict[str, Field]:
    """What the owner's columns are called, and whether all that stands in them are numbers; `own` as its contract has it."""
    found = own.group_by("column").agg(heading=pl.col("heading").first(), numbers=_is_number().all()).sort("column")
    return {
        row["column"]: Field(row["column"], "number" if row["numbers"] else "string", f"of the owner: {row['heading']}")
        for row in found.iter_rows(named=True)
    }


def wide(own: pl.DataFrame, names: Collection[str]) -> pl.DataFrame:
    """One row per site that has any: site_id, and those of the owner's columns that are called by `names`."""
    known = {name: field for name, field in fields(own).items() if name in names}
    each = own.group_by("site_id").agg(
        pl.col("value").filter(pl.col("column") == name).first().alias(name) for name in known
    )
    numbers = [name for name, field in known.items() if field.kind == "number"]
    return each.with_columns(pl.col(numbers).str.replace_all(",", "").cast(pl.Float64)).sort("site_id")


def _is_number() -> pl.Expr:
    return pl.col("value").str.contains(NUMBER)
