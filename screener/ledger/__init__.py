"""Energy by site, strategy, month, day kind, hour and end use."""

from screener.ledger.accounts import Accounts, accumulate, peaks, totals
from screener.ledger.tallies import HOUR, WATER, dampest, tallies

__all__ = ["HOUR", "WATER", "Accounts", "accumulate", "dampest", "peaks", "tallies", "totals"]
