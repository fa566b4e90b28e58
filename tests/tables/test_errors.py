"""Faults in words: grouped, counted, five examples, the way out once."""

import polars as pl

from screener.errors import FAULT_SCHEMA, ContractError, ResultsError, UsageError, describe, no_faults, table_fault


def fault(row: int, value: str, message: str = "not a plain number; write digits") -> dict[str, object]:
    return {
        "table": "sites",
        "row": row,
        "site_id": f"S{row}",
        "column": "floor_area_m2",
        "rule": "not a number",
        "value": value,
        "message": message,
    }


def test_many_of_a_kind() -> None:
    faults = pl.DataFrame([fault(row, "x" * row) for row in range(2, 1302)], schema=FAULT_SCHEMA)
    assert describe(faults).split("\n") == [
        "sites: not a number (1,300 faults)",
        '  row 2, floor_area_m2, "xx": not a plain number',
        '  row 3, floor_area_m2, "xxx": not a plain number',
        '  row 4, floor_area_m2, "xxxx": not a plain number',
        '  row 5, floor_area_m2, "xxxxx": not a plain number',
        '  row 6, floor_area_m2, "xxxxxx": not a plain number',
        "  and 1,295 more",
        "  Write digits.",
    ]


def test_ways_out_that_differ_stay_with_their_example() -> None:
    faults = pl.DataFrame([fault(2, "a"), fault(3, "b", "unknown; use c")], schema=FAULT_SCHEMA)
    assert describe(faults).split("\n") == [
        "sites: not a number (2 faults)",
        '  row 2, floor_area_m2, "a": not a plain number; write digits',
        '  row 3, floor_area_m2, "b": unknown; use c',
    ]


def test_whole_tables() -> None:
    faults = table_fault("tariffs", "missing table", "there is none; add tariffs.csv")
    assert describe(faults) == "tariffs: missing table (1 fault)\n  there is none; add tariffs.csv"
    assert describe(no_faults()) == ""


def test_errors_carry_exit_codes_and_words() -> None:
    error = ContractError(table_fault("sites", "empty table", "no rows; add one"))
    assert (error.exit_code, UsageError.exit_code, ResultsError.exit_code) == (3, 2, 4)
    assert str(error) == describe(error.faults)
