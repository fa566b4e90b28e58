"""What goes wrong and how it is said: exceptions that carry an exit code, and frames of faults found in tables.

A fault frame has one row per fault. `row` is the row number as a spreadsheet shows it (the first row of the file is 1),
null where a whole table is at fault; `message` says what is wrong and, after the last semicolon, the way out.
"""

from collections.abc import Mapping
from functools import cache

import polars as pl

from screener.text import printable

FAULT_SCHEMA: Mapping[str, type[pl.DataType]] = {
    "table": pl.String,
    "row": pl.Int64,
    "site_id": pl.String,
    "column": pl.String,
    "rule": pl.String,
    "value": pl.String,
    "message": pl.String,
}
EXAMPLES = 5  # faults of one kind shown in full; the rest are counted
LONGEST = 80  # characters of a value that are shown


class ScreenerError(Exception):
    """Something a person can put right: print the message, leave with `exit_code`, show no traceback."""

    exit_code = 1


class UsageError(ScreenerError):
    """The command was called in a way that cannot work."""

    exit_code = 2


class ContractError(ScreenerError):
    """The tables break their contract; `faults` holds every fault found, also those of single rows."""

    exit_code = 3

    def __init__(self, faults: pl.DataFrame) -> None:
        self.faults = faults
        super().__init__(describe(faults))


class ResultsError(ScreenerError):
    """The results failed their own checks (a balance does not close, a site is missing)."""

    exit_code = 4


class UnknownNameError(ResultsError):
    """A formula reads a `name` that nothing has."""

    def __init__(self, name: str, message: str) -> None:
        self.name = name
        super().__init__(message)


@cache
def no_faults() -> pl.DataFrame:
    """An empty fault frame, always the same one."""
    return pl.DataFrame(schema=FAULT_SCHEMA)


def table_fault(
    table: str, rule: str, message: str, column: str | None = None, value: str | None = None
) -> pl.DataFrame:
    """A fault frame of one row about a whole table."""
    fault = {"table": table, "row": None, "site_id": None, "column": column, "rule": rule, "value": value}
    return pl.DataFrame([fault | {"message": message}], schema=FAULT_SCHEMA)


def describe(faults: pl.DataFrame) -> str:
    """The faults in words, grouped by table and rule: how many, up to five examples, the way out.

    `faults` is a fault frame; the text has one line per example and no trailing newline.
    """
    lines: list[str] = []
    for (table, rule), group in faults.group_by("table", "rule", maintain_order=True):
        lines.append(f"{table}: {rule} ({_count(group.height)})")
        lines += _examples(group)
    return "\n".join(map(printable, lines))


def _count(number: int) -> str:
    return "1 fault" if number == 1 else f"{number:,} faults"


def _examples(group: pl.DataFrame) -> list[str]:
    shown = [(_place(fault), *_split(fault["message"])) for fault in group.head(EXAMPLES).to_dicts()]
    ways_out = {way_out for _, _, way_out in shown}
    once = len(ways_out) == 1 and len(shown) > 1
    lines = [f"  {place}{what}" + ("" if once or not way else f"; {way}") for place, what, way in shown]
    if group.height > EXAMPLES:
        lines.append(f"  and {group.height - EXAMPLES:,} more")
    if once and (way_out := ways_out.pop()):
        lines.append(f"  {way_out[0].upper()}{way_out[1:]}.")
    return lines


def _place(fault: Mapping[str, object]) -> str:
    """Row, column and value of a fault, as far as it has them."""
    parts = [f"row {fault['row']}"] if fault["row"] is not None else []
    parts += [str(fault["column"])] if fault["column"] else []
    parts += [f'"{_short(str(fault["value"]))}"'] if fault["value"] is not None else []
    return ", ".join(parts) + ": " if parts else ""


def _short(value: str) -> str:
    return value if len(value) <= LONGEST else f"{value[:LONGEST]} ..."


def _split(message: str) -> tuple[str, str]:
    what, _, way_out = message.rpartition("; ")
    return (what, way_out) if what else (way_out, "")
