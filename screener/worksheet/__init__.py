"""A calculation as named steps; the year of a site, hour after hour, as machine code (`compiled`) or in arrays."""

from screener.worksheet.steps import Process, State, Step, Worksheet

__all__ = ["Process", "State", "Step", "Worksheet"]
