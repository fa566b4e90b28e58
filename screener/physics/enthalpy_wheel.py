"""A rotary wheel that passes heat and water between outdoor air and exhaust air [effectiveness of AHRI 1060: each change
over the largest possible one, at equal flows].

Effectiveness of ordinary enthalpy wheels: sensible 0.70-0.80, latent 0.65-0.80 (from memory).
"""

from screener.formula import Number

SENSIBLE_EFFECTIVENESS = 0.75
LATENT_EFFECTIVENESS = 0.70
FAN_W_L_S = 0.55  # 150 Pa in each of two air streams at 55 % fan efficiency, common practice, no source


def after(outdoor: Number, exhaust: Number, effectiveness: Number) -> Number:
    """Temperature or humidity ratio of the outdoor air behind the wheel.

    For example, three quarters of the way from 32 to 24 degC:

    >>> after(32.0, 24.0, 0.75)
    26.0
    """
    return outdoor + effectiveness * (exhaust - outdoor)
