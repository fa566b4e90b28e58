"""Ways of keeping a building below its humidity limit: one file each, and this registry.

A strategy says what happens in an hour that temperature control alone leaves too damp; in every other hour it does what
`temperature_only` does, so moisture that ordinary cooling removes anyway is free for all of them. Those without equipment have no
hour of their own: they are today's strategy at a site of which some columns are set otherwise.
"""

from importlib import import_module

from screener.contracts.hour import REFERENCE as REFERENCE_NAME
from screener.contracts.hour import WITHOUT_EQUIPMENT
from screener.strategies.strategy import (
    Outcome,
    Strategy,
    add_damp_hours,
    add_equipment,
    add_hour,
    add_reference,
    add_standby,
    check_limits,
)

FILES = (  # a strategy a line, in the order of tables and pictures
    "temperature_only",
    "overcool_electric_reheat",
    "overcool_fuel_reheat",
    "overcool_condenser_reheat",
    "overcool_reclaimed_reheat",
    "wrapped_coil_heat_pipe",
    "low_airflow_cooling",
    "standalone_dehumidifier",
    "ventilation_heat_recovery",
    "outdoor_air_dehumidifier",
    "outdoor_air_dehumidifier_with_recovery",
    "desiccant_fuel_regenerated",
    "desiccant_condenser_regenerated",
    "higher_dew_point_limit",
    "reheat_lockout",
    "fan_cycling_while_closed",
    "ventilation_by_occupancy",
)


def _strategy(file: str) -> Strategy:
    """The STRATEGY of a file, which goes by the name of it. ImportError where it does not."""
    found: Strategy = import_module(f"{__name__}.{file}").STRATEGY
    if found.name != file:
        raise ImportError(f"strategies/{file}.py has a strategy of another name, {found.name}")
    return found


REGISTRY: dict[str, Strategy] = {file: _strategy(file) for file in FILES}
REFERENCE = REGISTRY[REFERENCE_NAME]
MACHINES = tuple(name for name, one in REGISTRY.items() if one.sets is None)  # have hours of their own to work out
TOGETHER = tuple(  # may share the worksheet of any hour: what has a device is sized so, and sees what the gains have
    name for name in MACHINES if REGISTRY[name].ventilation is None or REGISTRY[name].device
)
if {*WITHOUT_EQUIPMENT} != {*REGISTRY} - {*MACHINES}:
    raise ImportError("contracts.hour.WITHOUT_EQUIPMENT does not name the strategies that have `sets`")

__all__ = [
    "MACHINES",
    "REFERENCE",
    "REGISTRY",
    "TOGETHER",
    "Outcome",
    "Strategy",
    "add_damp_hours",
    "add_equipment",
    "add_hour",
    "add_reference",
    "add_standby",
    "check_limits",
]
