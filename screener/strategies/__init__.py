"""Ways of keeping a building below its humidity limit: one file each, and this registry.

A strategy says what happens in an hour that temperature control alone leaves too damp; in every other hour it does what
`temperature_only` does, so moisture that ordinary cooling removes anyway is free for all of them.
"""

from screener.strategies import (
    desiccant_condenser_regenerated,
    desiccant_fuel_regenerated,
    low_airflow_cooling,
    outdoor_air_dehumidifier,
    outdoor_air_dehumidifier_with_recovery,
    overcool_condenser_reheat,
    overcool_electric_reheat,
    overcool_fuel_reheat,
    overcool_reclaimed_reheat,
    standalone_dehumidifier,
    temperature_only,
    wrapped_coil_heat_pipe,
)
from screener.strategies.strategy import (
    Outcome,
    Strategy,
    add_damp_hours,
    add_equipment,
    add_reference,
    add_standby,
    check_limits,
)

REGISTRY: dict[str, Strategy] = {
    strategy.name: strategy
    for strategy in (
        temperature_only.STRATEGY,
        overcool_electric_reheat.STRATEGY,
        overcool_fuel_reheat.STRATEGY,
        overcool_condenser_reheat.STRATEGY,
        overcool_reclaimed_reheat.STRATEGY,
        wrapped_coil_heat_pipe.STRATEGY,
        low_airflow_cooling.STRATEGY,
        standalone_dehumidifier.STRATEGY,
        outdoor_air_dehumidifier.STRATEGY,
        outdoor_air_dehumidifier_with_recovery.STRATEGY,
        desiccant_fuel_regenerated.STRATEGY,
        desiccant_condenser_regenerated.STRATEGY,
    )
}

REFERENCE = temperature_only.STRATEGY

__all__ = [
    "REFERENCE",
    "REGISTRY",
    "Outcome",
    "Strategy",
    "add_damp_hours",
    "add_equipment",
    "add_reference",
    "add_standby",
    "check_limits",
]
