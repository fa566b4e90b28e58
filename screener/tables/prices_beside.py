"""Prices that a sheet of sites carries beside each site (`$/kWh`, `Gas $/therm`), as a table of tariffs."""

import re

import polars as pl

from screener.tables import written
from screener.tables.headings import plain

CARRIERS = {
    "electricity": r"\b(electric(ity)?|power|elec|kwh)\b",
    "fuel": r"\b(gas|fuel|natural gas|propane|therms?)\b",
}
MONEY = r"[$€£¢]|\b(usd|eur|price|rate|cost|cents?|ct)\b"
UNITS = {"kwh": "kwh", "mwh": "mwh", "therm": "therm", "therms": "therm", "mmbtu": "mmbtu", "mcf": "mcf", "ccf": "ccf"}
OF_FUEL = ("therm", "mmbtu", "mcf", "ccf")
ID = "tariff_id"
DECIMAL_COMMA = r"^[-+]?(0,\d+|\d+,(\d{1,2}|\d{4,}))$"  # 0,12 parts no thousands


def meant(heading: str) -> str | None:
    """The column of the tariffs that a heading names with its unit; None where it names none, or not for certain.

    >>> meant("$/kWh"), meant("Gas rate ($/therm)"), meant("Demand $/kW"), meant("kWh"), meant("Fuel price")
    ('electricity_price_per_kwh', 'fuel_price_per_therm', 'demand_price_per_kw', None, None)
    """
    words = f" {plain(heading)} "
    if not re.search(MONEY, heading.lower()):
        return None
    if re.search(r"\bdemand\b.*\bkw\b", words):
        return "demand_price_per_kw"
    unit = next((UNITS[word] for word in reversed(words.split()) if word in UNITS), None)
    if unit is None or re.search(r"\b(annual|yearly|year|total|usage|bill|spend)\b", words):
        return None
    is_fuel = unit in OF_FUEL or bool(re.search(CARRIERS["fuel"], words))
    return f"fuel_price_per_{unit}" if is_fuel else f"electricity_price_per_{unit}" if unit in ("kwh", "mwh") else None


def in_cents(heading: str) -> bool:
    """Whether a heading says that its prices are in hundredths."""
    return bool(re.search(r"¢|\b(cents?|ct)\b", heading.lower()))


def tariffs(
    rows: pl.DataFrame, prices: dict[str, tuple[str, str]], given: str | None
) -> tuple[pl.DataFrame, pl.Series]:
    """The tariffs of all rows and, row by row, the name of its own; null where a row has no price.

    `prices`: by column of the tariffs the column of `rows` and its heading. `given`: the column that names tariffs already,
    kept where each name has one set of prices.
    """
    figures = rows.select(
        _figure(pl.col(column), name, in_cents(heading)).alias(name) for name, (column, heading) in prices.items()
    )
    any_price = pl.any_horizontal(pl.all().is_not_null())
    distinct = figures.filter(any_price).unique(maintain_order=True).with_row_index("n", offset=1)
    numbered = figures.join(distinct, on=list(prices), how="left", nulls_equal=True, maintain_order="left")
    names = pl.select(pl.concat_str(pl.lit("prices_"), numbered["n"].cast(pl.String))).to_series()
    if given is not None:
        own = pl.DataFrame({"own": rows[given], "n": numbered["n"]}).drop_nulls().unique()
        if own["own"].is_unique().all() and own["n"].is_unique().all() and own.height == distinct.height:
            by_number = dict(zip(own["n"], own["own"], strict=True))
            names = numbered["n"].replace_strict(by_number, default=None, return_dtype=pl.String)
    table = pl.DataFrame({ID: names, **{name: figures[name] for name in prices}}).filter(pl.col(ID).is_not_null())
    return table.unique(ID, keep="first", maintain_order=True), names


def _figure(text: pl.Expr, name: str, cents: bool) -> pl.Expr:
    digits = written.price(text, name)
    plain_digits = (
        pl.when(digits.str.contains(DECIMAL_COMMA))
        .then(digits.str.replace(",", "."))
        .otherwise(digits.str.replace_all(",", ""))
    )
    value = plain_digits.cast(pl.Float64, strict=False)
    hundredths = written.is_cents(text, name).fill_null(False)
    return pl.when(hundredths | pl.lit(cents)).then((value / 100).round_sig_figs(12)).otherwise(value)
