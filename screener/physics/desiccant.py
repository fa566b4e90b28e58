"""A desiccant wheel: it takes water from the air as vapour, warms the air with the heat of sorption, and is dried by heat.

Figures are of ordinary silica-gel and molecular-sieve wheels (from memory and common practice, no source):

- regeneration heat per kilogram removed 3-5 MJ/kg at the high temperatures fuel gives; with the low temperatures of
  condenser heat less of it does work, so it takes more;
- the heat of sorption is the heat of evaporation and some 10 % of binding heat;
- the wheel carries a part of the regeneration heat over into the dried air;
- two fans press the process and the regeneration air through the wheel.
"""

from screener.formula import Number
from screener.physics import psychrometrics as air

FUEL_REGENERATION_J_KG = 4.0e6  # 3-5 MJ/kg, from memory
CONDENSER_REGENERATION_J_KG = 5.0e6  # at 50-55 degC, common practice, no source
BINDING_SHARE = 0.10  # of the heat of evaporation, from memory
CARRY_OVER_SHARE = 0.12  # of the regeneration heat, with a purge sector, common practice, no source
FAN_J_KG = 0.35e6  # both air streams: 200 kg of air per kg of water at 5 g/kg, 450 Pa each, 55 % efficient
PROCESS_FAN_SHARE = 0.5  # of the fans: the one whose heat ends in the dried air
SORPTION_J_KG = air.EVAPORATION_J_KG * (1 + BINDING_SHARE)


def heat_to_space_j_kg(regeneration_j_kg: Number) -> Number:
    """Heat in the dried air per kilogram of water removed [J/kg]: sorption, carry-over and the process fan.

    For example, 0.12 x 4.0 + 2.45 x 1.1 + 0.5 x 0.35 MJ, by hand:

    >>> round(heat_to_space_j_kg(4.0e6))
    3350000
    """
    return CARRY_OVER_SHARE * regeneration_j_kg + (SORPTION_J_KG + PROCESS_FAN_SHARE * FAN_J_KG)
