"""The ledger times the tariffs: the one place where energy turns into money and emissions.

`layout` lays tariffs out by time, before a kWh is touched: which hours of a month are billed alike, and what each such
class costs. `billing` sums the ledger by class and writes a bill per site, strategy and month; the year is the sum of its
bills. Fixed charges are the same for every strategy of a site and cancel out of every comparison, so they are left out.
"""

from screener.price.billing import (
    BILLED,
    COSTS,
    FUEL_PEAK,
    bills,
    by_class,
    charges,
    months,
    price,
    require_tariffs,
    strategies_of,
    unbilled,
    years,
)
from screener.price.bills import WHEN, peak_times, table, told
from screener.price.layout import ENDLESS, Rates, indistinct, is_block, notes, rates

__all__ = [
    "BILLED",
    "COSTS",
    "ENDLESS",
    "FUEL_PEAK",
    "WHEN",
    "Rates",
    "bills",
    "by_class",
    "charges",
    "indistinct",
    "is_block",
    "months",
    "notes",
    "peak_times",
    "price",
    "rates",
    "require_tariffs",
    "strategies_of",
    "table",
    "told",
    "unbilled",
    "years",
]
