"""Where a site's figure comes from, as its column `<name>_origin` tells."""

import polars as pl

GIVEN = ("given", "converted")


def is_given(column: str) -> pl.Expr:
    """Whether the site's own row has the figure."""
    return pl.col(f"{column}_origin").is_in(GIVEN).fill_null(False)
