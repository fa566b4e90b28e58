"""Read a portfolio's tables, check them against their contracts, keep every fault and every rejected row.

Files are read as text (`reading`), typed and brought to SI (`checking`), laid over the rows that ship (`shipped`) and
checked against one another (`links`); `portfolio` puts the result together.
"""

from screener.tables.default_tariffs import is_default, with_defaults
from screener.tables.left_out import sheets as left_out_sheets
from screener.tables.portfolio import Portfolio, placeholders, read_portfolio
from screener.tables.settings import Settings
from screener.tables.tariff_faults import TABLES as TARIFF_TABLES
from screener.tables.tariff_sense import doubtful
from screener.tables.tariffs import PRICED, Tariffs, of_rates, read_tariffs, require_fuel_prices

__all__ = [
    "PRICED",
    "TARIFF_TABLES",
    "Portfolio",
    "Settings",
    "Tariffs",
    "doubtful",
    "is_default",
    "left_out_sheets",
    "of_rates",
    "placeholders",
    "read_portfolio",
    "read_tariffs",
    "require_fuel_prices",
    "with_defaults",
]
