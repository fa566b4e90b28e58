"""A calculation as named steps; the same steps as columns of Polars (`columns`), and as machine code (`compiled`)."""

from screener.worksheet.steps import Process, State, Step, Worksheet

__all__ = ["Process", "State", "Step", "Worksheet"]
