"""What the tables of the program must look like, and what an hour of a site is made of: `schemas/` as code and in words."""

from screener.contracts.schema import (
    DTYPES,
    FOLDERS,
    PACKAGE,
    PLACEHOLDER,
    ColumnRule,
    Contract,
    Field,
    ForeignKey,
    conform,
    digest,
    load,
    path,
    read,
)

__all__ = [
    "DTYPES",
    "FOLDERS",
    "PACKAGE",
    "PLACEHOLDER",
    "ColumnRule",
    "Contract",
    "Field",
    "ForeignKey",
    "conform",
    "digest",
    "load",
    "path",
    "read",
]
