"""Worksheets as machine code: every hour of a site in one loop, with the sums over its hours taken on the way.

`graph` reads the worksheets into a list of operations, `vectors` knows how each operation is done on several hours at
once, `year` puts them together into one loop, and `runs` gives it sites and weather and brings the sums back.
"""

from screener.worksheet.compiled.runs import CompiledYear
from screener.worksheet.compiled.year import FEW_LANES, MANY_LANES, PHASES

__all__ = ["FEW_LANES", "MANY_LANES", "PHASES", "CompiledYear"]
