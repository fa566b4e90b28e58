"""Surfaces of refrigerated display cases: from which humidity of the store on door glass fogs and frost forms on goods.

Glass and frames of a door meet the air of the store itself: they fog where its dew point is above their temperature. Goods in
an open case lie behind a curtain of cold air that was dried at the case's coil and has taken up some air of the store; where
they are colder than freezing, what is above saturation over ice at their surface falls out as frost.
"""

from screener.formula import Number, at_least
from screener.physics import psychrometrics as air

NEVER = 1.0  # [kg/kg] of no air that a store holds


def fog_humidity_ratio(glass_c: Number, pressure_pa: Number) -> Number:
    """Humidity ratio of the store [kg/kg] above which door glass at this temperature fogs: saturation there.

    For example, glass at 15 degC, saturated at 10.65 g/kg:

    >>> round(fog_humidity_ratio(15.0, 101_325.0), 5)
    0.01065
    """
    return air.humidity_ratio_from_dew_point(glass_c, pressure_pa)


def frost_humidity_ratio(goods_c: Number, store_share: Number, dry: Number, pressure_pa: Number) -> Number:
    """Humidity ratio of the store [kg/kg] above which frost forms on goods at this temperature, below freezing.

    The air at them is that of the case's coil, `dry` [kg/kg], with a share of store air. For example, saturation over ice at
    -1 degC, 562.7 Pa, is 3.473 g/kg: air of 2.5 g/kg with 14 % of store air reaches it at 2.5 + 0.973 / 0.14 = 9.45 g/kg, a dew
    point of 13.2 degC:

    >>> round(frost_humidity_ratio(-1.0, 0.14, 0.0025, 101_325.0), 5)
    0.00945
    """
    saturated = air.humidity_ratio_from_dew_point(goods_c, pressure_pa)
    return at_least(dry + (saturated - dry) / store_share, 0.0)
