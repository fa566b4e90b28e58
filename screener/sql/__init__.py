"""Questions to DuckDB: the `.sql` files here, each with its grain and parameters at its head, and how they are asked.

A query sees the tables it is given and nothing else: no other files, no network, no variables of the program. What a user
typed reaches DuckDB as a bound parameter or as an expression object, never as part of a text.
"""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
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


@contextmanager
def database(tables: Mapping[str, Table]) -> Iterator[duckdb.DuckDBPyConnection]:
    """A database in memory that holds `tables` under their names: frames, or Parquet files that are read in place."""
    files = {name: table.resolve() for name, table in tables.items() if isinstance(table, Path)}
    with duckdb.connect(":memory:", config=SETTINGS) as connection:
        connection.execute("set allowed_paths = $files", {"files": [str(file) for file in files.values()]})
        connection.execute("set enable_external_access = false")
        for name, table in tables.items():
            if isinstance(table, Path):
                connection.read_parquet(str(files[name])).create_view(name)
            else:
                connection.register(name, table.to_arrow())
        yield connection


def ask(connection: duckdb.DuckDBPyConnection, name: str, **parameters: Parameter) -> duckdb.DuckDBPyRelation:
    """The answer of a database to `<name>.sql`; parameters are bound."""
    text = (FOLDER / f"{name}.sql").read_text(encoding="utf-8")
    return connection.sql(text, params=parameters)


def query(name: str, tables: Mapping[str, Table], **parameters: Parameter) -> pl.DataFrame:
    """The answer to `<name>.sql` from `tables`; parameters are bound."""
    with database(tables) as connection:
        return pl.DataFrame(ask(connection, name, **parameters))
