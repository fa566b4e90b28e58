"""Questions to DuckDB: the `.sql` files here, each with its grain and parameters at its head, and how they are asked.

A query sees the tables it is given and nothing else: no other files, no network, no variables of the program. What a user
typed reaches DuckDB as a bound parameter or as an expression object, never as part of a text.
"""

import re
from collections.abc import Collection, Iterator, Mapping
from contextlib import contextmanager
from functools import cache
from pathlib import Path

import duckdb
import polars as pl

FOLDER = Path(__file__).parent
SETTINGS: dict[str, str | bool | int | float | list[str]] = {
    "threads": 1,  # sums in one order; the tables here are small
    "autoinstall_known_extensions": False,
    "autoload_known_extensions": False,
    "python_enable_replacements": False,
}
Parameter = str | float | bool
Table = pl.DataFrame | Path


class Stream:
    """A frame as DuckDB reads it in place. Handed over as it is, it would be copied by a library that takes longer to load
    than most questions to answer."""

    def __init__(self, frame: pl.DataFrame) -> None:
        self._frame = frame

    def __arrow_c_stream__(self, requested_schema: object = None) -> object:
        return self._frame.__arrow_c_stream__(requested_schema)


@contextmanager
def database(tables: Mapping[str, Table]) -> Iterator[duckdb.DuckDBPyConnection]:
    """A database in memory that holds `tables` under their names: frames, or Parquet files that are read in place."""
    files = {name: str(table.resolve()) for name, table in tables.items() if isinstance(table, Path)}
    with _opened(files.values()) if files else _of_frames().cursor() as connection:
        for name, table in tables.items():
            if isinstance(table, Path):
                connection.read_parquet(_literally(files[name])).create_view(name)
            else:
                untyped = pl.Null in table.schema.dtypes()  # DuckDB reads no column in place that has no type
                connection.register(name, table.to_arrow() if untyped else Stream(table))
        yield connection


def _opened(files: Collection[str]) -> duckdb.DuckDBPyConnection:
    """A database that may read these files."""
    connection = duckdb.connect(":memory:", config=SETTINGS)
    connection.execute("set allowed_paths = $files", {"files": [*{*files, *map(_literally, files)}]})
    connection.execute("set enable_external_access = false")
    return connection


def _literally(file: str) -> str:
    """A pattern that only this file matches: DuckDB takes every name for a pattern, and `run[1]` would be another folder."""
    return re.sub(r"([*?\[])", r"[\1]", file)


@cache
def _of_frames() -> duckdb.DuckDBPyConnection:
    """The database of all questions to frames, each through a cursor of its own, which alone sees what is registered
    there: opening one takes longer than most questions."""
    return _opened(())


def ask(connection: duckdb.DuckDBPyConnection, name: str, **parameters: Parameter) -> duckdb.DuckDBPyRelation:
    """The answer of a database to `<name>.sql`; parameters are bound."""
    text = (FOLDER / f"{name}.sql").read_text(encoding="utf-8")
    return connection.sql(text, params=parameters)


def query(name: str, tables: Mapping[str, Table], **parameters: Parameter) -> pl.DataFrame:
    """The answer to `<name>.sql` from `tables`; parameters are bound."""
    with database(tables) as connection:
        return pl.DataFrame(ask(connection, name, **parameters))
