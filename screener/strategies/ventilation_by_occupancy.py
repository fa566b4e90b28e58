"""Outdoor air that follows the people who are there: the part for the floor stays, the part for people comes with them.

Dynamic reset of outdoor air by occupancy [ASHRAE 62.1-2019 section 6.2.6, from memory]. How much outdoor air a building needs is
the business of the local code and of whoever is licensed to apply it; this only counts what it would save if they allow it.
"""

from screener.contracts.needs import AIR_SYSTEM, PERMIT
from screener.formula import Formula, Number, at_least, at_most, col, when
from screener.strategies.strategy import Machine
from screener.strategies.todays_machine import without_equipment
from screener.worksheet import Worksheet

NAME = "ventilation_by_occupancy"
NO_AIR = "no mechanical outdoor air for people that could follow them"
CONDITION = "only where the local code permits ventilation by occupancy and licensed practice lays it out; the floor's rate stays"
LEAST_L_S = 1e-9


def rate(own: Worksheet, machine: Machine) -> None:
    """The parts of the outdoor air that are due to the floor and to a full house, as the type's rates have them."""
    floor = col("outdoor_air_l_s_m2") * col("floor_area_m2")
    people = own.let(
        "for_people_l_s", col("outdoor_air_l_s_person") * col("peak_occupants"), "at the peak, by the rates"
    )
    both = at_least(floor + people, LEAST_L_S)
    own.let("floor_share", floor / both, "of the outdoor air, whoever is there")
    there = at_most(
        col("occupancy_fraction"), 1 / at_least(col("people_most"), 1.0)
    )  # no hour with more than a full house
    own.let("people_share", people / both * there, "in the mean of the open hours, with the people")


def by_hour() -> Number:
    """The site's ventilation by the hour of the day, its people's part following them, never more than today."""
    share = col(f"{NAME}.floor_share") + col(f"{NAME}.people_share") * col("people_by_hour")
    return col("ventilation_by_hour") * share


def unavailable() -> Formula:
    """Why a site cannot have it."""
    no_air = (col("outdoor_air_l_s") <= 0) | (col(f"{NAME}.for_people_l_s") <= 0)
    return when(no_air).then(NO_AIR).otherwise(None)


STRATEGY = without_equipment(
    name=NAME,
    summary="today's machine with outdoor air that follows the people, only where the local code permits it",
    sets={"ventilation_by_hour": by_hour()},
    rate=rate,
    needs=(AIR_SYSTEM, PERMIT),
    unavailable=unavailable(),
    note=CONDITION,
)
