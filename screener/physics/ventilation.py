"""Outdoor air that the ventilation code asks for."""

from screener.formula import Number


def code_rate_l_s(people: Number, floor_area_m2: Number, per_person_l_s: Number, per_area_l_s_m2: Number) -> Number:
    """Outdoor air of the breathing zone [L/s]: a rate for the people and one for the floor [ASHRAE 62.1-2019 eq. 6-1].

    For example, an office of 465 m2 with 25 people: 425 cfm are 200 L/s:

    >>> round(code_rate_l_s(25.0, 464.5, 2.36, 0.305))
    201
    """
    return per_person_l_s * people + per_area_l_s_m2 * floor_area_m2
