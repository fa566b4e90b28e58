"""The hour of a site as the stages hand it on: which columns make up its moisture balance and its installed coil.

`loads` writes the columns of SPACE and `sizing` those of COIL; the strategies read both.
"""

from dataclasses import fields

import polars as pl

from screener.physics.cooling_coil import Rating
from screener.physics.moisture_balance import Space

SPACE = Space(
    gain_kg_s=pl.col("moisture_gain_kg_s"),
    air_kg_s=pl.col("air_kg_s"),
    outdoor_humidity_ratio=pl.col("outdoor_humidity_ratio"),
    case_kg_s=pl.col("case_kg_s"),
    case_dry_humidity_ratio=pl.col("case_dry_humidity_ratio"),
    case_rated_humidity_ratio=pl.col("case_rated_humidity_ratio"),
)

COIL = Rating(**{field.name: pl.col(field.name) for field in fields(Rating)})
