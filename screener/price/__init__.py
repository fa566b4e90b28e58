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
    price,
    require_tariffs,
    strategies_of,
    unbilled,
)
from screener.price.layout import ENDLESS, Rates, indistinct, is_block, notes, rates

__all__ = [
    "BILLED",
    "COSTS",
    "ENDLESS",
    "FUEL_PEAK",
    "Rates",
    "bills",
    "by_class",
    "charges",
    "indistinct",
    "is_block",
    "notes",
    "price",
    "rates",
    "require_tariffs",
    "strategies_of",
    "unbilled",
]
