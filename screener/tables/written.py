"""Prices and hours as people write them: `$0.124`, `12.4 c`, `0.124 EUR/kWh`, `12 PM`, `12:00`."""

import polars as pl

from screener import units

SIGNS = {"$": ("USD", "CAD", "AUD", "NZD", "SGD", "MXN"), "€": ("EUR",), "£": ("GBP",), "¥": ("JPY", "CNY")}
CODE = r"(?:US\$|[$€£¥]|USD|CAD|AUD|NZD|SGD|EUR|GBP|CHF)"
CENTS = r"(?i)\d\s*(?:c|ct|cts|cents?|¢)$"


def bare_price(text: pl.Expr, name: str) -> pl.Expr:
    """A price without its sign of currency, and without the unit where that is the one the column's name carries."""
    unit = units.unit_of(name) or "kwh"
    plain = text.str.replace(rf"(?i)\s*(?:/|per )\s*{unit}$", "")
    plain = plain.str.replace(rf"(?i)^([+-]?)\s*{CODE}\s*", "${1}").str.replace(rf"(?i)\s*{CODE}$", "")
    return plain


def price(text: pl.Expr, name: str) -> pl.Expr:
    """The digits of a price; of cents too, which `is_cents` tells apart."""
    bare = bare_price(text, name)
    return (
        pl.when(bare.str.contains(CENTS)).then(bare.str.replace(r"(?i)\s*(?:c|ct|cts|cents?|¢)$", "")).otherwise(bare)
    )


def is_cents(text: pl.Expr, name: str) -> pl.Expr:
    """Whether a price is written in cents."""
    return bare_price(text, name).str.contains(CENTS)


def hour(text: pl.Expr) -> pl.Expr:
    """An hour of the day as a number: of `12 PM`, `6:00 am`, `7:30 PM`, `18:00`, noon, midnight; other texts as they are."""
    word = text.str.to_lowercase().replace({"noon": "12 pm", "midnight": "12 am"})
    minutes = (
        word.str.extract(r"^\d{1,2}:([0-5]\d)(?::[0-5]\d)?\s*(?:[ap](?:\.?m\.?)?)?$").cast(pl.Float64).fill_null(0.0)
        / 60
    )
    half = pl.coalesce(
        word.str.extract(r"^(\d{1,2})(?::[0-5]\d)?(?::[0-5]\d)?\s*[ap]\.?m\.?$"),
        word.str.extract(r"^(\d{1,2}):[0-5]\d(?::[0-5]\d)?\s*[ap]$"),  # 2A alone may be anything
    ).cast(pl.Int64, strict=False)
    is_afternoon = word.str.contains(r"p(?:\.?m\.?)?$")
    of_clock = half % 12 + pl.when(is_afternoon).then(12).otherwise(0)
    whole = word.str.extract(r"^(\d{1,2}):[0-5]\d(?::[0-5]\d)?$").cast(pl.Int64, strict=False)
    return (
        pl.when(half.is_between(1, 12).fill_null(False))
        .then(_plainly(of_clock + minutes))
        .otherwise(pl.coalesce(_plainly(whole + minutes), text))
    )


def _plainly(hours: pl.Expr) -> pl.Expr:
    return hours.cast(pl.String).str.replace(r"\.0$", "")


def currency_of(text: str) -> tuple[str, ...]:
    """The currencies that a price may be in by its sign or code; none where it carries neither.

    >>> currency_of("0.12 EUR"), currency_of("0.12")
    (('EUR',), ())
    """
    for sign, codes in SIGNS.items():
        if sign in text:
            return codes
    return next(((code,) for codes in SIGNS.values() for code in codes if code in text.upper()), ())
