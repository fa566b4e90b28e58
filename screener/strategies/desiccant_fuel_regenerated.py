"""A desiccant wheel that dries the air of the space and is itself dried by burning fuel.

The dried air comes back warm: the heat of sorption, a part of the regeneration heat and the process fan's heat stay in the
space. It holds any humidity, however low, and works in cold rooms.
"""

from dataclasses import replace

from screener.contracts.needs import AIR_SYSTEM, FUEL
from screener.formula import col, first_given
from screener.physics import desiccant
from screener.strategies.in_space import Drier, share
from screener.strategies.strategy import Device, Machine, Outcome, Strategy, nothing
from screener.worksheet import Worksheet

NAME = "desiccant_fuel_regenerated"
LIMIT = "most_kg_s"


def rate(own: Worksheet, machine: Machine) -> None:
    """Heat the wheel needs per kilogram."""
    rated = machine.figure("regeneration_mj_per_kg") * 1e6
    own.let(
        "regeneration_j_kg", first_given(rated, desiccant.FUEL_REGENERATION_J_KG), "heat the wheel needs per kilogram"
    )


def damp_hour(sheet: Worksheet) -> Outcome:
    """Wheel and coil share the water; regeneration burns fuel at the site's efficiency."""
    regeneration = col(f"{NAME}.regeneration_j_kg")
    heat = desiccant.heat_to_space_j_kg(regeneration)
    most = col(f"{NAME}.{LIMIT}")
    hour = share(sheet, sheet.section(f"{NAME}.damp"), Drier(most, heat, most, heat))
    takes = hour.outcome.device_kg_s
    return replace(
        hour.outcome,
        dehumidifier_w=takes * desiccant.FAN_J_KG,
        regeneration_fuel_w=takes * regeneration / col("fuel_efficiency"),
    )


STRATEGY = Strategy(
    name=NAME,
    summary="a desiccant wheel dried by burning fuel; its heat stays in the space",
    ventilation=None,
    own_fan=None,
    resists=None,
    rate=rate,
    damp_hour=damp_hour,
    standby=nothing,
    device=Device(limits={LIMIT: 1.0}, at_design=1.0),
    needs=(FUEL, AIR_SYSTEM),
    unavailable=None,
    note=None,
    sets=None,
)
