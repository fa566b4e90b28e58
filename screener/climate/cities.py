"""Stations by the name of a city: `MIAMI INTL AP` for Miami in Florida. There is no list of cities, only of stations."""

import re
from functools import cache

import polars as pl

from screener.climate.carried import stations

# Words after the name of a city that make it an airport's; any others may be part of another city's name (LAKE CHARLES).
AIRPORT = (
    r"(INT'?L|INTERNATIONAL|INTERCONTINENTAL|AP|ARPT|AIRPORT|MUNI|MUNICIPAL|REGIONAL|RGNL|RGN|CO|COUNTY|FIELD|FLD|EXECUTIVE"
    r"|METRO|METROPOLITAN|MEMORIAL|MEM|AFB|NAS|ANGB|WSO|CITY-COUNTY|\(AWOS\)|\[.*)"
)
LARGEST = r"INT'?L|INTERNATIONAL|INTERCONTINENTAL|\bMETRO"


def plain(city: str) -> str:
    """A city as stations spell it: capitals, `ST` and `FORT`, no marks.

    >>> plain("St. Louis"), plain("Ft. Myers")
    ('ST LOUIS', 'FORT MYERS')
    """
    words = re.sub(r"[^A-Z ]+", " ", city.upper().replace("'", "")).split()
    longer = {"SAINT": "ST", "FT": "FORT", "MT": "MOUNT"}
    return " ".join(longer.get(word, word) for word in words)


@cache
def station(city: str, state: str) -> str | None:
    """The station of a state that bears the name of a city, its largest airport where several do; None where none does."""
    name = plain(city)
    if not name:
        return None
    form = rf"^{re.escape(name)}($|[/-]| {AIRPORT}( |$))"
    found = stations().filter((pl.col("state") == state) & pl.col("name").str.replace_all(r"\.", "").str.contains(form))
    ranked = found.with_columns(
        rank=pl.when(pl.col("name").str.contains(LARGEST))
        .then(0)
        .when(pl.col("name").str.contains("/"))
        .then(2)
        .otherwise(1)
    ).sort("rank", "station")
    return str(ranked["station"][0]) if ranked.height else None
