"""A desiccant wheel that dries the air of the space and is dried by the condenser heat of the site's own cooling.

The heat is free up to what the cooling unit rejects while it runs. The part of it that is used needs a warm condenser, and
the compressor pays for that; what is short comes from the site's heating source.
"""

from dataclasses import replace

from screener.contracts.needs import AIR_SYSTEM
from screener.formula import at_least, at_most, col, first_given, when
from screener.physics import cooling_coil, desiccant
from screener.strategies import installed
from screener.strategies.in_space import Drier, share
from screener.strategies.strategy import Device, Machine, Outcome, Strategy, nothing
from screener.worksheet import Worksheet

NAME = "desiccant_condenser_regenerated"
LIMIT = "most_kg_s"
REGENERATION_CONDENSING_C = 55.0  # for regeneration air of some 50 degC, common practice, no source


def rate(own: Worksheet, machine: Machine) -> None:
    """Heat the wheel needs per kilogram."""
    rated = machine.figure("regeneration_mj_per_kg") * 1e6
    own.let(
        "regeneration_j_kg",
        first_given(rated, desiccant.CONDENSER_REGENERATION_J_KG),
        "heat the wheel needs per kilogram",
    )


def damp_hour(sheet: Worksheet) -> Outcome:
    """Wheel and coil share the water; the coil's condenser regenerates as far as its heat goes."""
    own = sheet.section(f"{NAME}.damp")
    regeneration = col(f"{NAME}.regeneration_j_kg")
    heat = desiccant.heat_to_space_j_kg(regeneration)
    most = col(f"{NAME}.{LIMIT}")
    hour = share(sheet, own, Drier(most, heat, most, heat))
    takes, coil = hour.outcome.device_kg_s, hour.coil
    held = cooling_coil.carnot_cop(
        col("carnot_fraction"), coil.adp_c, col("outdoor_c"), coil.load, REGENERATION_CONDENSING_C
    )
    warm = own.let("warm_condenser_w", coil.total_w / held, "compressor at full run with a condenser this warm")
    rejected = own.let(
        "rejected_w", hour.run_fraction * (coil.total_w + warm), "heat of the space and of the compressor"
    )
    needs = own.let("regeneration_w", takes * regeneration, "heat the wheel needs")
    used = own.let("used_share", at_most(needs / at_least(rejected, installed.TINY_W), 1.0), "of the heat rejected")
    short = own.let("short_w", at_least(needs - rejected, 0.0), "left to the site's heating source")
    full = coil.power_w + used * (warm - coil.power_w)
    warm_unit = installed.compressor_power(full, hour.run_fraction)
    return replace(
        hour.outcome,
        compressor_w=when(takes > 0).then(warm_unit).otherwise(hour.outcome.compressor_w),
        dehumidifier_w=takes * desiccant.FAN_J_KG + installed.reheat_electricity(short, hour.outcome.heating_w),
        regeneration_fuel_w=short * col("reheat_fuel_per_heat"),
    )


STRATEGY = Strategy(
    name=NAME,
    summary="a desiccant wheel dried by the cooling unit's condenser heat",
    ventilation=None,
    own_fan=None,
    resists=None,
    rate=rate,
    damp_hour=damp_hour,
    standby=nothing,
    device=Device(limits={LIMIT: 1.0}, at_design=1.0),
    needs=(AIR_SYSTEM,),
    unavailable=None,
    note=None,
    sets=None,
)
