"""Rate sheets of others as tariff tables: the open sheet form, the JSON of the open rate database, a year of hourly prices.

Readers turn a file into `Sheet`s, lines of `tariff_charges` each with what could not be carried over and why; nothing is
guessed. `writing` puts them down as tables that a portfolio or `screener price` reads.
"""

from screener.rate_sheets.sheet import Imported, Sheet
from screener.rate_sheets.sources import read
from screener.rate_sheets.writing import write

__all__ = ["Imported", "Sheet", "read", "write"]
