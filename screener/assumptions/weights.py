"""The weight of each figure of a site in the ranking, and so how much of a site's result hangs on assumed ones.

The weight of a figure is how far the yearly savings move, per floor area, when it is changed by as much as real buildings
differ from what is assumed of their type. `assumptions/weights.csv` holds it by building type and climate zone, worked out by
`tests/derive/site_weights.py`; the head of that file says how.
"""

from functools import cache
from pathlib import Path

import polars as pl

from screener.contracts.limits import LIMIT_COLUMNS
from screener.contracts.origins import is_given

FILE = Path(__file__).parent / "weights.csv"
LIMIT = "humidity_limit"  # the two columns of the limit count as one
AREA = pl.col("area_m2")
KEYS = ("building_type", "climate_zone")


@cache
def figures() -> tuple[str, ...]:
    """The figures that have a weight, in the order of the sites contract."""
    return tuple(name for name in _weights().columns if name not in KEYS)


@cache
def _weights() -> pl.DataFrame:
    """One row per building type and climate zone and one per type with the mean of all zones, `climate_zone` null."""
    weights = pl.read_csv(FILE, glob=False, comment_prefix="#", schema_overrides={"climate_zone": pl.String})
    weights = weights.with_columns(pl.exclude(KEYS).cast(pl.Float64))
    mean = weights.group_by("building_type", maintain_order=True).agg(pl.exclude(KEYS).mean())
    return pl.concat([weights, mean.with_columns(climate_zone=pl.lit(None, pl.String)).select(weights.columns)])


def weigh(sites: pl.DataFrame) -> pl.DataFrame:
    """Add `assumed_share` to filled and located sites: weight of what was assumed over the weight of everything, 0 to 1."""
    names = figures()
    weight = _beside(sites).with_columns(assumed=pl.sum_horizontal(_where_assumed(names)), all=pl.sum_horizontal(names))
    share = weight.select(pl.when(pl.col("all") > 0).then(pl.col("assumed") / pl.col("all")).otherwise(0.0))
    return sites.with_columns(share.to_series().alias("assumed_share"))


def blanks(sites: pl.DataFrame, number: int) -> pl.DataFrame:
    """The empty cells that would firm up the ranking most: `site_id`, `name`, `column` and `share`, largest first.

    `share` is the cell's part of all that hangs on assumptions in the portfolio.
    """
    names = figures()
    weight = _beside(sites).select("site_id", "name", *(e * AREA for e in _where_assumed(names)))
    cells = weight.unpivot(names, index=["site_id", "name"], variable_name="column", value_name="weight")
    total = pl.col("weight").sum()
    cells = cells.with_columns(share=pl.when(total > 0).then(pl.col("weight") / total)).filter(pl.col("share") > 0)
    return cells.drop("weight").sort("share", "site_id", "column", descending=[True, False, False]).head(number)


def completeness(sites: pl.DataFrame) -> pl.DataFrame:
    """One row per figure: in how many sites it was `given`, and how much of all that is assumed is its `share`."""
    names = figures()
    beside = _beside(sites)
    given = beside.select((~_assumed(name)).sum().alias(name) for name in names).row(0)
    weight = beside.select((e * AREA).sum() for e in _where_assumed(names)).row(0)
    total = sum(weight) or 1.0
    return pl.DataFrame(
        {"column": names, "given": given, "sites": [sites.height] * len(names), "share": [w / total for w in weight]}
    )


def _beside(sites: pl.DataFrame) -> pl.DataFrame:
    """Sites' keys, area and origins beside the weight of each figure; a zone without any has the mean of the type."""
    origins = [name for name in sites.columns if name.endswith("_origin")]
    kind = pl.coalesce("based_on", "building_type").alias("building_type")
    known = pl.col("climate_zone").is_in(_weights()["climate_zone"].drop_nulls().unique().implode())
    zone = pl.when(known).then("climate_zone")
    keyed = sites.select("site_id", "name", kind, zone.alias("climate_zone"), *origins, area_m2="floor_area_m2")
    return keyed.join(_weights(), on=KEYS, how="left", nulls_equal=True, maintain_order="left")


def _assumed(name: str) -> pl.Expr:
    columns = LIMIT_COLUMNS if name == LIMIT else (name,)
    return ~pl.any_horizontal(is_given(column) for column in columns)


def _where_assumed(names: tuple[str, ...]) -> list[pl.Expr]:
    return [pl.when(_assumed(name)).then(name).otherwise(0.0).alias(name) for name in names]
