"""Outdoor air that the ventilation code asks for."""

from screener.formula import Number


def code_rate_l_s(people: Number, floor_area_m2: Number, per_person_l_s: Number, per_area_l_s_m2: Number) -> Number:
    """Outdoor air of the breathing zone [L/s]: a rate for the people and one for the floor [ASHRAE 62.1-2019 eq. 6-1]."""
    return per_person_l_s * people + per_area_l_s_m2 * floor_area_m2
