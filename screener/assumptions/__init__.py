"""What fills the blanks, where each figure is from, how much hangs on it, and which figures are plausible."""

from screener.assumptions.filling import fill
from screener.assumptions.weights import blanks, completeness, weigh

__all__ = ["blanks", "completeness", "fill", "weigh"]
