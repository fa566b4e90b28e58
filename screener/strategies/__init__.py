"""Ways of keeping a building below its humidity limit: one file each, and this registry.

A strategy says what happens in an hour that temperature control alone leaves too damp; in every other hour it does what
`temperature_only` does, so moisture that ordinary cooling removes anyway is free for all of them.
"""

from screener.strategies import (
    outdoor_air_dehumidifier,
    overcool_condenser_reheat,
    overcool_electric_reheat,
    overcool_fuel_reheat,
    standalone_dehumidifier,
    temperature_only,
)
from screener.strategies.strategy import Outcome, Strategy, add_damp_hours, add_reference, add_standing

REGISTRY: dict[str, Strategy] = {
    strategy.name: strategy
    for strategy in (
        temperature_only.STRATEGY,
        overcool_electric_reheat.STRATEGY,
        overcool_fuel_reheat.STRATEGY,
        overcool_condenser_reheat.STRATEGY,
        standalone_dehumidifier.STRATEGY,
        outdoor_air_dehumidifier.STRATEGY,
    )
}

REFERENCE = temperature_only.STRATEGY

__all__ = ["REFERENCE", "REGISTRY", "Outcome", "Strategy", "add_damp_hours", "add_reference", "add_standing"]
