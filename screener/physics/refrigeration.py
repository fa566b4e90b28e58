"""Refrigeration of display cases: the heat it rejects, what reclaiming that heat costs, and what a drier store saves.

The measured store of H. Henderson, M. Khattar, ASHRAE Transactions 105, 1999: with electric defrost, refrigeration energy
falls by 0.4 % (10 kWh a day) per 1 % of relative humidity, and anti-sweat heaters under dew-point control take 3.4-4.6 kWh a
day less, 0.16 % of refrigeration energy. The published span for five points of humidity is 2-9 % of refrigeration energy.
"""

from screener.formula import Number, at_least

ENERGY_PER_RH_PCT = 0.004  # compressors and defrost, measured
ENERGY_PER_RH_PCT_HIGH = (
    0.018  # upper end of the published span; its lower end, 2 % for five points, is what was measured
)
ANTI_SWEAT_PER_RH_PCT = 0.0016  # heaters under dew-point control, measured: 4 of 2500 kWh a day

COMPRESSOR_SHARE = 0.7  # of refrigeration electricity; the rest are fans, heaters, defrost (practice)
COP = 2.3  # of medium- and low-temperature racks together, practice
RECLAIMED_SHARE = 0.75  # of the heat rejected that a reclaim coil can take, practice
EVAPORATING_C = -12.0  # medium and low temperature together, practice
CONDENSER_APPROACH_K = 8.0  # practice
FLOATING_FLOOR_C = 21.0  # lowest condensing temperature with floating head pressure, practice
RECLAIM_CONDENSING_C = 38.0  # held while heat is reclaimed into air of some 25 degC, practice


def reclaimable_w(electricity_w: Number) -> Number:
    """Heat that racks drawing this electricity can give to a reclaim coil [W].

    For example, 0.7 (1 + 2.3) 0.75 of it, by hand:

    >>> round(reclaimable_w(10_000.0))
    17325
    """
    return electricity_w * (COMPRESSOR_SHARE * (1 + COP) * RECLAIMED_SHARE)


def reclaim_penalty_w(electricity_w: Number, reclaimed_w: Number, outdoor_c: Number) -> Number:
    """Compressor power more [W] while this heat is reclaimed: as many racks as it takes run at a higher head pressure.

    Power goes with the lift between evaporating and condensing temperature, as Carnot's does.

    For example, all racks, at 5 degC outside: 7000 x 17/33, by hand:

    >>> round(reclaim_penalty_w(10_000.0, 17_325.0, 5.0))
    3606
    """
    engaged = reclaimed_w / at_least(reclaimable_w(electricity_w), 1e-6)
    return engaged * _more(outdoor_c) * electricity_w * COMPRESSOR_SHARE


def penalty_per_heat(outdoor_c: Number) -> Number:
    """The same over the heat reclaimed [W/W].

    For example, 3606 W for 17,325 W of heat:

    >>> round(penalty_per_heat(5.0), 3)
    0.208
    """
    return _more(outdoor_c) / reclaimable_w(1 / COMPRESSOR_SHARE)


def _more(outdoor_c: Number) -> Number:
    """Power of the racks that give heat more than that of racks that float."""
    floating = at_least(outdoor_c + CONDENSER_APPROACH_K, FLOATING_FLOOR_C)
    return at_least((RECLAIM_CONDENSING_C - floating) / (floating - EVAPORATING_C), 0.0)
