"""What is wrong with a row of `tariff_charges` by itself: no price or several, a window or a block that is none."""

from collections.abc import Callable

import polars as pl

from screener import calendar
from screener.tables.checking import row_faults

CHARGES = "tariff_charges"
ENERGY, DEMAND, FUEL, FUEL_DEMAND = (
    "electricity_price_per_kwh",
    "demand_price_per_kw",
    "fuel_price_per_kwh",
    "fuel_demand_price_per_kw",
)
BY_MONTH = ("electricity_percent", "fuel_percent", "fixed_price_per_month", "minimum_price_per_month")
PRICES = (ENERGY, DEMAND, FUEL, FUEL_DEMAND, *BY_MONTH)
UNITS = {ENERGY: ("kwh", "kwh_per_kw"), DEMAND: ("kw",), FUEL: ("kwh", "therm"), FUEL_DEMAND: ("kw", "therm_h")}
NO_MONTHS = "not months; write them by number or name: 6-9, Nov-Feb, or 6 to 9 where a spreadsheet makes a date of it"
NO_DAYS = "not days of the week; write names such as Mon-Fri or Sat-Sun, or nothing for all"
NO_WEEKDAY = (
    "no day of the week; holidays are billed like Saturdays and Sundays: write Sat-Sun, or the days it holds on"
)
C = pl.col


def charge_faults(rows: pl.DataFrame) -> pl.DataFrame:
    """The faults of rows whose cells are sound."""
    given = pl.sum_horizontal(C(name).is_not_null() for name in PRICES)
    several = pl.concat_str(
        (pl.when(C(name).is_not_null()).then(pl.lit(name)) for name in PRICES), separator=", ", ignore_nulls=True
    )
    hours = pl.concat_str(C("from_hour:text"), pl.lit(" to "), C("to_hour:text"), ignore_nulls=True)
    block = pl.concat_str(C("above:text"), pl.lit(" to "), C("up_to:text"), ignore_nulls=True)
    half = C("from_hour").is_null() != C("to_hour").is_null()
    by_month = pl.any_horizontal(C(name).is_not_null() for name in BY_MONTH)
    timed = C("days").is_not_null() | C("from_hour").is_not_null() | C("above").is_not_null() | C("up_to").is_not_null()
    ratcheted = pl.any_horizontal(C(n).is_not_null() for n in ("ratchet_percent", "ratchet_lookback_months"))
    no_ratchet = C("ratchet_percent").is_null() & pl.any_horizontal(
        C(n).is_not_null() for n in ("ratchet_lookback_months", "ratchet_months")
    )
    nothing = pl.lit(None)
    found = [
        _texts(rows, "months", lambda text: calendar.months(text) is None, "not months", NO_MONTHS),
        _texts(rows, "ratchet_months", lambda text: calendar.months(text) is None, "not months", NO_MONTHS),
        _texts(rows, "days", lambda text: calendar.days(text) is None, "not days", NO_DAYS),
        _texts(rows, "days", lambda text: calendar.days(text) == [calendar.HOLIDAY], "holidays alone", NO_WEEKDAY),
        _rule(rows, given == 0, None, "no price", nothing, "charges nothing; give a price in it"),
        _rule(rows, given > 1, None, "two prices", several, "a row gives one price; write a row for each"),
        _rule(rows, half, "from_hour, to_hour", "half a window", hours, "one hour is missing; give both"),
        _rule(
            rows,
            C("from_hour") == C("to_hour"),
            "from_hour, to_hour",
            "empty window",
            hours,
            "closes when it opens; the whole day is 0 to 24, or no hours at all",
        ),
        _rule(
            rows, C("up_to") <= C("above").fill_null(0.0), "above, up_to", "empty block", block, "ends before it begins"
        ),
        _rule(
            rows,
            by_month & timed,
            None,
            "goes by the month",
            several,
            "holds for whole months; leave days, hours and blocks of the row empty",
        ),
        _rule(
            rows,
            (ratcheted & C(DEMAND).is_null()) | no_ratchet,
            "ratchet_percent",
            "no ratchet",
            C("ratchet_percent:text"),
            "a ratchet is of a demand charge: give ratchet_percent in a row with demand_price_per_kw",
        ),
    ]
    by_day = C("demand_assessed") == "daily"
    not_by_day = (
        "is of a demand charge, and has no ratchet; give demand_price_per_kw in the row and leave ratchet_percent empty"
    )
    text = C("demand_assessed:text")
    no_demand = C(DEMAND).is_null() & C("demand_assessed").is_not_null()
    found.append(_rule(rows, no_demand | (by_day & ratcheted), "demand_assessed", "not by the day", text, not_by_day))
    for price, units in UNITS.items():
        wrong = C(price).is_not_null() & C("block_unit").is_not_null() & ~C("block_unit").is_in(units)
        way_out = f"no unit of blocks of {price}; use {' or '.join(units)}"
        found.append(_rule(rows, wrong, "block_unit", "wrong unit", C("block_unit:text"), way_out))
    return pl.concat(found)


def _texts(rows: pl.DataFrame, column: str, is_wrong: Callable[[str], bool], rule: str, message: str) -> pl.DataFrame:
    wrong = [text for text in rows[column].drop_nulls().unique() if is_wrong(text)]
    return _rule(rows, C(column).is_in(wrong), column, rule, C(f"{column}:text"), message)


def _rule(
    rows: pl.DataFrame, broken: pl.Expr, column: str | None, rule: str, value: pl.Expr, message: str
) -> pl.DataFrame:
    where = pl.lit(None) if column is None else column
    return row_faults(CHARGES, rows.filter(broken.fill_null(False)), where, rule, value, message)
