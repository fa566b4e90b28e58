"""Life-cycle figures of changing a site from its current strategy to another, after NIST Handbook 135.

NIST Handbook 135 (Life-Cycle Costing Manual for the Federal Energy Management Program): everything a strategy costs over
the study period is brought to its present value, the *life-cycle cost*: investment, replacements, energy and upkeep, less
what the equipment is still worth at the end. Amounts of a year fall at its end. Net savings are the life-cycle cost of
the current strategy less that of the other; the other figures compare the same present values in other ways.

Rates may be real (prices of today throughout) or nominal (with general inflation in the discount rate and in every
price); consistent figures give the same present values. Energy may become dearer faster than other things, by carrier.

The current strategy is already there: its investment is zero, and its replacement counts only where the equipment
table says how long it still lasts.
"""

from screener.economics.cases import with_cases
from screener.economics.investments import investments
from screener.economics.life_cycle import ASKED, economics
from screener.economics.present_value import Terms, terms

__all__ = ["ASKED", "Terms", "economics", "investments", "terms", "with_cases"]
