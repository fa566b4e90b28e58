"""Read a portfolio's tables, check them against their contracts, keep every fault and every rejected row.

    files ─▶ reading (text) ─▶ checking (typed, SI) ─▶ shipped rows beneath ─▶ links, cross checks ─▶ Portfolio
"""

from screener.tables.portfolio import Portfolio, read_portfolio
from screener.tables.settings import Settings

__all__ = ["Portfolio", "Settings", "read_portfolio"]
