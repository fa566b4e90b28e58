"""Read a portfolio's tables, check them against their contracts, keep every fault and every rejected row.

Files are read as text (`reading`), typed and brought to SI (`checking`), laid over the rows that ship (`shipped`) and
checked against one another (`links`); `portfolio` puts the result together.
"""

from screener.tables.links import fuel_faults
from screener.tables.portfolio import Portfolio, placeholders, read_portfolio
from screener.tables.settings import Settings
from screener.tables.tariff_faults import TABLES as TARIFF_TABLES
from screener.tables.tariffs import Tariffs, read_tariffs

__all__ = [
    "TARIFF_TABLES",
    "Portfolio",
    "Settings",
    "Tariffs",
    "fuel_faults",
    "placeholders",
    "read_portfolio",
    "read_tariffs",
]
