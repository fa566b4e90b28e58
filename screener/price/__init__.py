"""The ledger times the tariffs: the one place where energy turns into money and emissions.

`layout` lays tariffs out by time, before a kWh is touched: which hours of a month are billed alike, and what each such
class costs. `billing` sums the ledger by class and writes a bill per site, strategy and month; the year is the sum of its
bills. Fixed charges are the same for every strategy of a site and cancel out of every comparison, so they are left out.
"""

from screener.price.bill_table import WHEN, charges, peak_times, table
from screener.price.billing import (
    BILLED,
    BY_DAY,
    COSTS,
    FUEL_PEAK,
    LaidOut,
    bills,
    by_class,
    lay_out,
    months,
    price,
    require_tariffs,
    strategies_of,
    unbilled,
    years,
)
from screener.price.layout import ENDLESS, Rates, assumed_bills, indistinct, is_block, notes, rates

__all__ = [
    "BILLED",
    "BY_DAY",
    "COSTS",
    "ENDLESS",
    "FUEL_PEAK",
    "WHEN",
    "LaidOut",
    "Rates",
    "assumed_bills",
    "bills",
    "by_class",
    "charges",
    "indistinct",
    "is_block",
    "lay_out",
    "months",
    "notes",
    "peak_times",
    "price",
    "rates",
    "require_tariffs",
    "strategies_of",
    "table",
    "unbilled",
    "years",
]
