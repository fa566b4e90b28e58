"""Worksheets as machine code: the hours of a site one after another in one loop, with the sums over them taken on the way.

`vectors` knows how each operation is done on several sites at once, `year` puts the operations of the graph together into a
loop, and `runs` gives it sites and weather and brings the sums back.
"""

from screener.worksheet.compiled.runs import CompiledYear
from screener.worksheet.compiled.year import FEW_LANES, MANY_LANES

__all__ = ["FEW_LANES", "MANY_LANES", "CompiledYear"]
