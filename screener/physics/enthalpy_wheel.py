"""A rotary wheel that passes heat and water between outdoor air and exhaust air [effectiveness of AHRI 1060: each change
over the largest possible one, at equal flows].

Effectiveness of ordinary enthalpy wheels: sensible 0.70-0.80, latent 0.65-0.80 (from memory). Where less exhaust than outdoor air
passes, the outdoor air changes by as much less: what a wheel gains by unequal flows is left out.
"""

from screener.formula import Number, at_least, at_most

SENSIBLE_EFFECTIVENESS = 0.75
LATENT_EFFECTIVENESS = 0.70
STREAM_W_L_S = 0.275  # 150 Pa in one air stream at 55 % fan efficiency, common practice, no source
FAN_W_L_S = 2 * STREAM_W_L_S  # both, at equal flows
FROST_C = -12.0  # outdoor air below which a wheel at full effectiveness needs control against frost, practice


def after(outdoor: Number, exhaust: Number, effectiveness: Number) -> Number:
    """Temperature or humidity ratio of the outdoor air behind the wheel.

    For example, three quarters of the way from 32 to 24 degC:

    >>> after(32.0, 24.0, 0.75)
    26.0
    """
    return outdoor + effectiveness * (exhaust - outdoor)


def fan_w_l_s(exhaust_share: Number) -> Number:
    """Power that presses outdoor air and its share of exhaust air through the wheel [W per L/s of outdoor air].

    >>> fan_w_l_s(1.0), round(fan_w_l_s(0.6), 2)
    (0.55, 0.44)
    """
    return STREAM_W_L_S * (1 + exhaust_share)


def unfrosted(inside_c: Number, outdoor_c: Number) -> Number:
    """Part of its full effectiveness at which a wheel stays free of frost: slowed down so that it takes no more heat from the
    exhaust air than it does at FROST_C.

    For example, 32 of 40 K between 20 and -20 degC:

    >>> unfrosted(20.0, -20.0), unfrosted(20.0, 0.0)
    (0.8, 1.0)
    """
    return at_most((inside_c - FROST_C) / at_least(inside_c - outdoor_c, 1e-6), 1.0)
