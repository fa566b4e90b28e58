"""Rows that are left out, in the columns of the file they stand in: to be mended there, or here, and read back as a table."""

from collections.abc import Mapping, Sequence

import polars as pl

from screener.contracts.rejects import FAULTS, KINDS
from screener.outputs import neutralised
from screener.tables.reading import RawTable

ROW, AS, COLUMNS, BECAUSE = "left_out_row", "left_out_as", "left_out_columns", "left_out_because"
REASONS = (ROW, AS, COLUMNS, BECAUSE)
FIGURE = r"^-?[\d.]+([eE]-?\d+)?$"


def sheets(rejects: pl.DataFrame, raws: Mapping[str, RawTable]) -> dict[str, str]:
    """CSV texts by the name of their file: `rejects.csv` of the sites, always, and `rejects_<table>.csv` of other tables that
    lost rows. Columns and cells are those of the input as typed, then `REASONS`."""
    found = {}
    for name, raw in raws.items():
        mine = rejects.filter(pl.col("table") == name)
        if name == "sites":
            found["rejects.csv"] = csv(_sheet(mine, raw))
        elif not mine.is_empty():
            found[f"rejects_{name}.csv"] = csv(_sheet(mine, raw))
    return found


def _sheet(rejects: pl.DataFrame, raw: RawTable) -> pl.DataFrame:
    """The rejected rows of one table."""
    typed = raw.frame if raw.typed is None else raw.typed
    cells = [name for name in typed.columns if name != "row" and name not in REASONS]
    named = distinct([typed[name].alias(raw.headings.get(name, name)) for name in cells], {*REASONS})
    sheet = pl.DataFrame([typed["row"], *named])
    kind = pl.when(pl.col("rules").is_in(list(KINDS))).then("rules").otherwise(pl.lit(FAULTS))
    reasons = rejects.select(
        pl.col("row"),
        pl.col("row").cast(pl.String).alias(ROW),
        kind.alias(AS),
        pl.col("columns").alias(COLUMNS),
        pl.col("reasons").alias(BECAUSE),
        pl.col("record"),
    )
    here = sheet.join(reasons, on="row", how="inner", maintain_order="left").drop("record")
    elsewhere = reasons.filter(pl.col("row").is_null())  # set aside when the portfolio was adopted
    if not elsewhere.is_empty():
        records = elsewhere.select(pl.col("record").str.json_decode(_of_records(elsewhere["record"]))).unnest("record")
        others = pl.DataFrame(distinct(records.get_columns(), {*REASONS}))
        here = pl.concat([here, elsewhere.drop("record").hstack(others)], how="diagonal")
    columns = [name for name in here.columns if name not in ("row", *REASONS)]
    ordered = here.sort("row", nulls_last=True, maintain_order=True)
    return pl.DataFrame([ordered[name] for name in (*columns, *REASONS)])  # a heading may be a pattern in an expression


def _of_records(records: pl.Series) -> pl.Struct:
    """The fields of records, all texts."""
    names = records.str.json_decode(infer_schema_length=None).struct.fields
    return pl.Struct(dict.fromkeys(names, pl.String))


def distinct(columns: Sequence[pl.Series], taken: set[str]) -> list[pl.Series]:
    """Columns under names that differ, whatever their case, from one another and from those taken; others get a number."""
    found, used = [], {name.lower() for name in taken}
    for at, column in enumerate(columns, start=1):
        name = column.name if column.name.lower() not in used else f"{column.name}_{at}"
        used.add(name.lower())
        found.append(column.alias(name))
    return found


def csv(frame: pl.DataFrame) -> str:
    """A table as CSV; what a spreadsheet would take for a formula gets an apostrophe, figures stay as they are."""
    numbered = pl.DataFrame([column.cast(pl.String).alias(str(at)) for at, column in enumerate(frame.get_columns())])
    safe = neutralised(numbered)
    kept = numbered.select(
        pl.when(pl.col(name).str.contains(FIGURE)).then(name).otherwise(safe[name]).alias(name) for name in safe.columns
    )
    headings = neutralised(pl.DataFrame({"": frame.columns}))[""]
    return pl.DataFrame([column.alias(name) for column, name in zip(kept, headings, strict=True)]).write_csv()
