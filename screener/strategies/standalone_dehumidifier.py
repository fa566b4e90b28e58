"""A vapour-compression dehumidifier standing in the space: it takes the water the coil leaves, and leaves its heat there.

Every kilogram it takes adds the heat of evaporation and the unit's electricity to the space.
"""

from dataclasses import replace

import polars as pl

from screener.physics import psychrometrics as air
from screener.strategies.in_space import Device, share
from screener.strategies.strategy import Outcome, Strategy
from screener.worksheet import Worksheet

NAME = "standalone_dehumidifier"


def damp_hour(sheet: Worksheet) -> Outcome:
    """Unit and coil share the water; the unit's heat is cooled away, or heats, or drifts.

    Capacity and electricity per kilogram come from the site's table at both set points (`kg_s_at_*`, `j_kg_at_*`).
    """
    own = sheet.section(f"{NAME}.damp")
    at_cooling, at_heating = (pl.col(f"{NAME}.j_kg_at_{state}") for state in ("cooling", "heating"))
    unit = Device(
        most_at_cooling=pl.col(f"{NAME}.kg_s_at_cooling"),
        heat_at_cooling=air.EVAPORATION_J_KG + at_cooling,
        most_at_heating=pl.col(f"{NAME}.kg_s_at_heating"),
        heat_at_heating=air.EVAPORATION_J_KG + at_heating,
    )
    hour = share(sheet, own, unit)
    j_kg = own.let("j_kg", pl.when(hour.cold).then(at_heating).otherwise(at_cooling), "electricity per kilogram")
    return replace(hour.outcome, dehumidifier_w=hour.outcome.device_kg_s * j_kg)


STRATEGY = Strategy(
    name=NAME,
    summary="a dehumidifier in the space; its heat stays there",
    damp_hour=damp_hour,
    has_device=True,
)
