"""A desiccant wheel that dries the air of the space and is itself dried by burning fuel.

The dried air comes back warm: the heat of sorption, a part of the regeneration heat and the process fan's heat stay in the
space. It holds any humidity, however low, and works in cold rooms.
"""

from dataclasses import replace

import polars as pl

from screener.physics import desiccant
from screener.strategies.in_space import Device, share
from screener.strategies.strategy import Outcome, Strategy
from screener.worksheet import Worksheet

NAME = "desiccant_fuel_regenerated"


def damp_hour(sheet: Worksheet) -> Outcome:
    """Wheel and coil share the water; regeneration burns fuel at the site's efficiency."""
    regeneration = pl.col(f"{NAME}.regeneration_j_kg")
    heat = desiccant.heat_to_space_j_kg(regeneration)
    most = pl.col(f"{NAME}.kg_s")
    hour = share(sheet, sheet.section(f"{NAME}.damp"), Device(most, heat, most, heat))
    takes = hour.outcome.device_kg_s
    return replace(
        hour.outcome,
        dehumidifier_w=takes * desiccant.FAN_J_KG,
        regeneration_fuel_w=takes * regeneration / pl.col("fuel_efficiency"),
    )


STRATEGY = Strategy(
    name=NAME,
    summary="a desiccant wheel dried by burning fuel; its heat stays in the space",
    damp_hour=damp_hour,
    has_device=True,
)
