"""What a site cannot have, as its row says it: `cannot_have`."""

import re
from collections.abc import Collection

import polars as pl

from screener.contracts.needs import RACKS, WORDS
from screener.tables.checking import CheckedTable, row_faults

COLUMN = "cannot_have"


def read(text: str, strategies: Collection[str]) -> tuple[list[str], list[str], list[str]]:
    """Strategies that `text` names, what it says is lacking (`contracts.needs`), and words that are neither."""
    named, lacking, unknown = [], [], []
    for part in filter(None, (re.sub(r"[\s_]+", " ", each).strip().lower() for each in re.split(r"[;,]", text))):
        if (strategy := part.replace(" ", "_")) in strategies:
            named.append(strategy)
        elif part in WORDS:
            lacking.append(WORDS[part])
        else:
            unknown.append(part)
    return named, lacking, unknown


def faults(sites: CheckedTable, strategies: Collection[str]) -> pl.DataFrame:
    """Words that say nothing known, and a site's own strategy of today."""
    told = sites.told(COLUMN, "current_strategy", "heating_source")
    frame = told.filter(pl.col(COLUMN).is_not_null())
    texts = frame[COLUMN].unique().to_list()
    wrong = {text: ", ".join(unknown) for text in texts if (unknown := read(text, strategies)[2])}
    way_out = f"; write {', '.join(WORDS)} or names of strategies, several with semicolons between"
    words = pl.col(COLUMN).replace_strict(wrong, default=None, return_dtype=pl.String)
    strange = frame.filter(pl.col(COLUMN).is_in([*wrong]))
    message = pl.concat_str(pl.lit("nothing is called "), words, pl.lit(way_out))
    named = {text: read(text, strategies)[0] for text in texts}
    own = (
        frame.filter(
            pl.struct(COLUMN, "current_strategy").map_elements(
                lambda row: row["current_strategy"] in named[row[COLUMN]], return_dtype=pl.Boolean
            )
        )
        if not frame.is_empty()
        else frame
    )
    today = "is how the site works today; correct cannot_have or current_strategy"
    value = pl.col(f"{COLUMN}:text")
    none = [text for text in texts if RACKS in read(text, strategies)[1]]
    racks = frame.filter(pl.col(COLUMN).is_in(none) & (pl.col("heating_source") == "reclaimed"))
    heat = "racks heat the site, says heating_source; correct cannot_have or heating_source"
    return pl.concat(
        [
            row_faults("sites", strange, COLUMN, "unknown hindrance", value, message),
            row_faults("sites", racks, COLUMN, "hindrance of today's heating", value, heat),
            row_faults("sites", own, COLUMN, "hindrance of today's strategy", value, today),
        ]
    )
