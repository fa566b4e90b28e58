"""A packaged heat pump that heats: how much heat a kilowatt-hour brings, with the weather and with frost on its outdoor coil.

A straight line through two rating points of AHRI 340/360, 8.3 and -8.3 degC outdoors (47 and 17 F), at the federal levels for
packaged units of 19-40 kW: 3.4 and 2.25 (10 CFR 431, from memory). Between them frost forms: at 1.7 degC (35 F) units lose about
a tenth to it and to melting it, less to both sides (common practice, no source). In the cold it goes down to resistance heat,
which takes over there; in mild weather it rises no further than 4.5, where cycling begins (practice).
"""

from screener.formula import Number, at_least, between, larger

RATED_C, RATED_COP = 8.3, 3.4
COLD_C, COLD_COP = -8.3, 2.25
LEAST_COP, MOST_COP = 1.0, 4.5
FROST_C, FROST_WIDTH_K, FROST_LOSS = 1.7, 8.0, 0.10


def heating_cop(outdoor_c: Number) -> Number:
    """Heat over electricity, defrost and the resistance heat of cold hours included.

    For example, at the rating point, and half way into frost:

    >>> round(heating_cop(8.3), 2), round(heating_cop(1.7), 2), heating_cop(-40.0)
    (3.34, 2.65, 1.0)
    """
    per_k = (RATED_COP - COLD_COP) / (RATED_C - COLD_C)
    steady = between(COLD_COP + per_k * (outdoor_c - COLD_C), LEAST_COP, MOST_COP)
    off = outdoor_c - FROST_C
    frosted = at_least(1 - larger(off, -off) / FROST_WIDTH_K, 0.0)
    return at_least(steady * (1 - FROST_LOSS * frosted), LEAST_COP)
