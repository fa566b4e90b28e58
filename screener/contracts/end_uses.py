"""The end uses of energy: what a strategy says of an hour, what the ledger adds up, what pages and pictures call it."""

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True)
class EndUse:
    """`power_w` is the field of an hour, `energy_kwh` the column of a year; `name` is what people call it."""

    power_w: str
    energy_kwh: str
    carrier: Literal["electricity", "fuel"]
    name: str


END_USES = (
    EndUse("compressor_w", "compressor_kwh", "electricity", "cooling compressor"),
    EndUse("fans_w", "fans_kwh", "electricity", "supply fans"),
    EndUse("dehumidifier_w", "dehumidifier_kwh", "electricity", "dehumidifying device"),
    EndUse("reheat_electricity_w", "reheat_electricity_kwh", "electricity", "reheat, electric"),
    EndUse("heating_electricity_w", "heating_electricity_kwh", "electricity", "heating, electric"),
    EndUse("reheat_fuel_w", "reheat_fuel_kwh", "fuel", "reheat, fuel"),
    EndUse("regeneration_fuel_w", "regeneration_fuel_kwh", "fuel", "regeneration, fuel"),
    EndUse("heating_fuel_w", "heating_fuel_kwh", "fuel", "heating, fuel"),
)
CARRIERS = ("electricity", "fuel")
POWERS_W = tuple(use.power_w for use in END_USES)
ENERGIES_KWH = tuple(use.energy_kwh for use in END_USES)


def powers_of(carrier: str) -> tuple[str, ...]:
    """The fields of an hour that draw on this carrier."""
    return tuple(use.power_w for use in END_USES if use.carrier == carrier)


def energies_of(carrier: str) -> tuple[str, ...]:
    """The columns of a year that draw on this carrier."""
    return tuple(use.energy_kwh for use in END_USES if use.carrier == carrier)
