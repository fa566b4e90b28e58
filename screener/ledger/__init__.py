"""Energy by site, strategy, month, day kind, hour and end use."""

from screener.ledger.accounts import Accounts, accumulate, peaks, totals
from screener.ledger.tallies import WATER, damp, dampest, dry

__all__ = ["WATER", "Accounts", "accumulate", "damp", "dampest", "dry", "peaks", "totals"]
