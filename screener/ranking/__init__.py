"""Which site first, and every other question to a finished run: orders, groups, programs, comparisons."""

from screener.ranking.rank import groups, ranking, totals

__all__ = ["groups", "ranking", "totals"]
