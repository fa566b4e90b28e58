"""What water costs in energy: of the machines alone, and in the building with the heat they leave there.

Alone, a dehumidifier takes its own electricity and fuel; the installed coil, run for nothing but water, takes all that puts
its sensible cooling back as well. In the building only what the whole air system takes beyond `temperature_only` counts:
cooling that was called for anyway is no reheat, and the heat of a unit is cooled away, or replaces heating.
"""

from typing import Any

import polars as pl

from screener.contracts.hour import COIL
from screener.formula import at_least, col, when
from screener.physics import cooling_coil
from screener.strategies import REFERENCE, overcool_condenser_reheat, overcool_electric_reheat, standalone_dehumidifier
from screener.strategies.overcooling import REHEAT_CONDENSING_C
from screener.units import J_PER_KWH, PINT_L
from screener.worksheet import Worksheet

Figures = dict[str, Any]
UNIT = standalone_dehumidifier.NAME
COILS = {overcool_electric_reheat.NAME: "electric_w", overcool_condenser_reheat.NAME: "condenser_w"}
OWN_KWH = ("dehumidifier_kwh", "regeneration_fuel_kwh")
LEAST_KG = 1.0  # a year with less water than that would only divide by nearly nothing


def water(results: pl.DataFrame, name: str, damp: pl.DataFrame) -> Figures:
    """The figures of a strategy, and of both ways to reheat beside a standalone unit where the run has them.

    `results`: the rows of the site in the strategy table; `damp`: its hours above the limit.

    `litres_per_kwh` [L/kWh] and `pints_per_kwh` are of the machine alone, of `machine_water_kg` and `machine_kwh`: the
    year's of a device (its standby too; heat taken from a condenser costs it nothing), or, where `is_coil`, those of the
    installed coil run through every damp hour. `kwh_per_kg` is `more_kwh` over `more_water_kg`, both beyond
    `temperature_only`; below zero where the building saves more heating than the machine takes. `beside` has the same
    of others, and their energy for the same water as times that of the unit: `times_alone`, `times_in_building`. None
    where there is no such figure, or not LEAST_KG of water.
    """
    rows = {row["strategy"]: row for row in results.iter_rows(named=True) if row["unavailable"] is None}
    coils = _coils_alone(damp)
    told = {s: _figures(rows[s], rows[REFERENCE.name], coils) for s in dict.fromkeys((name, UNIT, *COILS)) if s in rows}
    unit = told.get(UNIT, {})
    beside = [
        {"strategy": s}
        | told[s]
        | {
            "times_alone": _over(unit.get("litres_per_kwh"), told[s]["litres_per_kwh"]),
            "times_in_building": _over(told[s]["kwh_per_kg"], unit.get("kwh_per_kg")),
        }
        for s in (UNIT, *COILS)
        if s in told
    ]
    return told[name] | {"beside": beside}


def _figures(row: Figures, reference: Figures, coils: dict[str, tuple[float, float]]) -> Figures:
    device = (row["water_by_device_kg"], sum(row[use] for use in OWN_KWH))
    kg, kwh = coils.get(row["strategy"], device)
    per_kwh = kg / kwh if kg > LEAST_KG and kwh > 0 else None
    more_kg = row["water_removed_kg"] - reference["water_removed_kg"]
    return {
        "is_coil": row["strategy"] in coils,
        "machine_water_kg": kg,
        "machine_kwh": kwh,
        "litres_per_kwh": per_kwh,
        "pints_per_kwh": None if per_kwh is None else per_kwh / PINT_L,
        "more_water_kg": more_kg,
        "more_kwh": row["dehumidification_kwh"],
        "kwh_per_kg": row["dehumidification_kwh"] / more_kg if more_kg > LEAST_KG else None,
    }


def _over(value: float | None, base: float | None) -> float | None:
    """How many times the base; None where either is no cost."""
    return value / base if value is not None and base is not None and value > 0 and base > 0 else None


def _coils_alone(damp: pl.DataFrame) -> dict[str, tuple[float, float]]:
    """Water [kg] and energy [kWh] of the installed coil on the air of the space at its limit, through every damp hour.

    The space is at the heating set point where it needs heat, else at the cooling set point, as for a unit that stands
    in it. Energy: compressor and condenser fan, supply fan, and resistance heat less what the supply fan gives anyway; or
    the compressor with its condenser kept warm, whose heat is always enough.
    """
    sheet = Worksheet()
    own = sheet.section("alone")
    cold = col("sensible_at_heating_w") <= 0
    space_c = own.let("space_c", when(cold).then(col("heating_setpoint_c")).otherwise(col("cooling_setpoint_c")))
    air = (space_c, col("limit_humidity_ratio"), col("outdoor_c"), col("pressure_pa"))
    coil, fan = cooling_coil.run(own, COIL, *air), col("fan_w")
    own.let("electric_w", coil.power_w + fan + at_least(coil.sensible_w - fan, 0.0))
    warm = cooling_coil.carnot_cop(col("carnot_fraction"), coil.adp_c, col("outdoor_c"), coil.load, REHEAT_CONDENSING_C)
    own.let("condenser_w", coil.total_w / warm + fan)
    hours = sheet.apply(damp.lazy()).collect()
    weight = pl.col("weight_h")
    kg, *kwh = hours.select(
        (pl.col("alone.moisture_kg_s") * weight * 3600).sum(),
        *((pl.col(f"alone.{power}") * weight * (3600 / J_PER_KWH)).sum().alias(s) for s, power in COILS.items()),
    ).row(0)
    return {s: (kg, each) for s, each in zip(COILS, kwh, strict=True)}
