"""Where a number comes from: a site's year, one of its hours, and both in words."""

from screener.explain.account import Document, explain
from screener.explain.telling import tell

__all__ = ["Document", "explain", "tell"]
