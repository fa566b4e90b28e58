"""Energy by site, strategy, month, day kind, hour and end use."""

from screener.ledger.accounts import Accounts, accumulate, peaks, totals
from screener.ledger.other_load import OTHER, beside
from screener.ledger.tallies import HOUR, WATER, dampest, tallies

__all__ = ["HOUR", "OTHER", "WATER", "Accounts", "accumulate", "beside", "dampest", "peaks", "tallies", "totals"]
