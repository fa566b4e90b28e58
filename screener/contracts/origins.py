"""Where a site's figure comes from, as its column `<name>_origin` tells: one of these words, the last three with a source
behind a colon."""

import polars as pl

GIVEN, CONVERTED, ASSUMED, LOOKED_UP, SIZED = "given", "converted", "assumed", "looked up", "sized"
ASSUMED_TODAY = "what it has today is assumed, the usual of its kind"  # said of a site in its row of the ranking


def is_given(column: str) -> pl.Expr:
    """Whether the site's own row has the figure."""
    return pl.col(f"{column}_origin").is_in((GIVEN, CONVERTED)).fill_null(False)
