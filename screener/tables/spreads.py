"""How sure each figure is: the spreads that ship, and how a portfolio's own are laid over them and checked.

A spread says by how much a figure may be off where it is assumed, and by how much where a site states it. What becomes of
it is for `odds` to say.
"""

from collections.abc import Mapping
from functools import cache

import polars as pl

from screener.contracts import load
from screener.errors import no_faults
from screener.tables.checking import CheckedTable, checked, row_faults
from screener.tables.files import Source
from screener.tables.reading import read_table
from screener.tables.shipped import DEFAULTS

NAME = "spreads"
KEY = ["figure", "building_type"]
CHOICE = "choice"
OWN_SOURCE = "spreads table of the portfolio"
PAIRS = (("median", "width"), ("median_given", "width_given"))
C = pl.col


@cache
def shipped() -> pl.DataFrame:
    """The shipped spreads: columns of the contract, a row per figure, and per building type where one differs."""
    contract = load(NAME)
    return checked(read_table([Source(DEFAULTS / "spreads.csv")], contract), contract).values.drop("row")


def faults(table: CheckedTable, strategies: pl.Series) -> pl.DataFrame:
    """Faults of a portfolio's rows beyond those of single cells: two of the same figure, a form that the figure cannot have,
    bounds or medians that exclude each other, words that the figure cannot be.

    `strategies`: the names of all that are known. A cell that is empty counts as the shipped one.
    """
    own = table.values.drop_nulls("figure")
    full = _filled(own)
    kinds = shipped().unique("figure").select("figure", usual="form")
    full = full.join(kinds, on="figure", how="left", maintain_order="left")
    words = {name: strategies.to_list() if name == "current_strategy" else _enum(name) for name in _choices()}
    is_choice = C("form") == CHOICE
    found = [_doubled(own)]
    message = pl.concat_str("figure", pl.lit(" is a "), "usual", pl.lit("; leave form empty"))
    other = full.filter(is_choice != (C("usual") == CHOICE))
    found.append(row_faults(NAME, other, "form", "form of another figure", C("form"), message))
    numbers = full.filter(~is_choice & (C("usual") != CHOICE))
    below = numbers.filter(C("low") > C("high"))
    message = pl.concat_str(pl.lit("above high, which is "), C("high").cast(pl.String), pl.lit("; exchange the two"))
    found.append(row_faults(NAME, below, "low", "low above high", C("low").cast(pl.String), message))
    for median, _ in PAIRS:
        outside = numbers.filter((C("low") <= C("high")) & ((C(median) < C("low")) | (C(median) > C("high"))))
        span = [C(name).cast(pl.String) for name in ("low", "high")]
        message = pl.concat_str(
            pl.lit("not between low "), span[0], pl.lit(" and high "), span[1], pl.lit("; widen them")
        )
        found.append(row_faults(NAME, outside, median, "median out of bounds", C(median).cast(pl.String), message))
    for name in ("low", "median", "median_given"):
        none = numbers.filter((C("form") == "factor") & (C(name) <= 0))
        text = "a factor is above zero; write 0.8 for a fifth less"
        found.append(row_faults(NAME, none, name, "factor not above zero", C(name).cast(pl.String), text))
    for _, width in PAIRS:
        surely = full.filter(is_choice & (C(width) > 1))
        text = "the width of a choice is a chance, from 0 to 1"
        found.append(row_faults(NAME, surely, width, "chance above one", C(width).cast(pl.String), text))
    for name, known in words.items():
        rows = full.filter((C("figure") == name) & C("otherwise").is_not_null())
        lost = [text for text in rows["otherwise"].unique() if not set(_weights(text) or {"": 0.0}) <= {*known}]
        text = f"not words that {name} can be, with blanks between them; use some of {', '.join(known)}"
        found.append(
            row_faults(NAME, rows.filter(C("otherwise").is_in(lost)), "otherwise", "not choices", C("otherwise"), text)
        )
    return pl.concat(found)


def resolved(own: pl.DataFrame | None = None) -> pl.DataFrame:
    """The spreads in use: columns of the contract; of a figure and building type at most one row, type null for all others.

    `own`: good rows of a portfolio's table.
    """
    if own is None or own.is_empty():
        return shipped()
    mine = _filled(own.with_columns(source=pl.coalesce("source", pl.lit(OWN_SOURCE))))
    of_all = mine.filter(C("building_type").is_null())["figure"]
    rest = shipped().filter(~C("figure").is_in(of_all.implode())).join(mine, on=KEY, how="anti", nulls_equal=True)
    return pl.concat([rest, mine.select(rest.columns)]).sort(KEY, nulls_last=True)


def choices(text: str) -> dict[str, float]:
    """The words of a good `otherwise` and their shares of the chance, which add up to one.

    >>> choices("cycling")
    {'cycling': 1.0}
    >>> choices("fuel=3 electric")
    {'fuel': 0.75, 'electric': 0.25}
    """
    weights = _weights(text) or {}
    return {name: weight / sum(weights.values()) for name, weight in weights.items()}


def _filled(own: pl.DataFrame) -> pl.DataFrame:
    """Rows of a portfolio, their empty cells as shipped: for the building type, or for all types."""
    cells = [name for name in load(NAME).columns if name not in KEY]
    frame = own
    for suffix, rows, keys in (
        (":type", shipped().filter(C("building_type").is_not_null()), KEY),
        (":all", shipped().filter(C("building_type").is_null()).drop("building_type"), KEY[:1]),
    ):
        renamed = rows.rename({name: f"{name}{suffix}" for name in cells})
        frame = frame.join(renamed, on=keys, how="left", maintain_order="left")
    filled = [pl.coalesce(name, f"{name}:type", f"{name}:all").alias(name) for name in cells]
    return frame.with_columns(filled).select(own.columns)


def _doubled(rows: pl.DataFrame) -> pl.DataFrame:
    """Rows of the same figure and type: none can be told to be the right one."""
    twice = rows.filter(pl.struct(KEY).is_duplicated())
    if twice.is_empty():
        return no_faults()
    others = C("row").cast(pl.String).str.join(", ").over(KEY)
    message = pl.concat_str(pl.lit("rows "), others, pl.lit(" give the same figure of the same type; keep one of them"))
    return row_faults(NAME, twice.with_columns(message=message), "figure", "duplicate", C("figure"), C("message"))


def _choices() -> list[str]:
    return shipped().filter(form=CHOICE)["figure"].unique(maintain_order=True).to_list()


def _enum(name: str) -> list[str]:
    return [*load("sites").field(name).enum]


def _weights(text: str) -> Mapping[str, float] | None:
    """Words and weights of an `otherwise`; None where it cannot be read."""
    found: dict[str, float] = {}
    for part in text.split():
        name, _, weight = part.partition("=")
        try:
            found[name] = float(weight or 1)
        except ValueError:
            return None
    return found if found and all(0 < weight < 1e9 for weight in found.values()) else None
