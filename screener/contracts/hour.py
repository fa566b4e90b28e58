"""The hour of a site as the stages hand it on: which columns make up its moisture balance and its installed coil.

An hour begins with what the one before it left, the columns CARRIED. `loads` writes the columns of SPACE and whether the
fan runs on, `sizing` those of COIL and the lines of PART_LOAD; the strategies read all of them.
"""

from collections.abc import Mapping
from dataclasses import dataclass, fields

from screener.formula import Number, col
from screener.physics.cooling_coil import Rating
from screener.physics.moisture_balance import Space
from screener.physics.part_load_moisture import PartLoad

REFERENCE = "temperature_only"  # the strategy that all others are counted against
RECOVERING = (
    "outdoor_air_dehumidifier_with_recovery"  # a strategy that recovers heat beside drying, and the same without
)
PLAIN = "outdoor_air_dehumidifier"
WHEEL = "ventilation_heat_recovery"
WITHOUT_EQUIPMENT = (  # strategies that change how today's equipment is run, and buy none
    "higher_dew_point_limit",
    "reheat_lockout",
    "fan_cycling_while_closed",
    "ventilation_by_occupancy",
)
BESIDE_TODAY = (WHEEL, *WITHOUT_EQUIPMENT)  # strategies that leave today's equipment where it is, at work

CARRIED = {  # state of the space an hour before, and the column of a site that it begins with, before a warm-up
    "last_c": "cooling_setpoint_c",
    "last_mass_c": "cooling_setpoint_c",
    "last_humidity_ratio": "limit_humidity_ratio",
}

# What follows the hour: each quantity's share of its mean while open, and the array of 24 working and 24 other hours that a
# site has it from.
QUANTITIES = ("people", "process_moisture", "lights", "equipment", "ventilation")
SHARES: Mapping[str, str] = {f"{quantity}_share": f"{quantity}_by_hour" for quantity in QUANTITIES}

# What the space took up an hour before it gives back like so much more outdoor air, at the humidity it had.
SPACE = Space(
    gain_kg_s=col("moisture_gain_kg_s"),
    air_kg_s=col("exchange_kg_s"),
    outdoor_humidity_ratio=col("exchange_humidity_ratio"),
    case_kg_s=col("case_kg_s"),
    case_dry_humidity_ratio=col("case_dry_humidity_ratio"),
    case_rated_humidity_ratio=col("case_rated_humidity_ratio"),
)


@dataclass(frozen=True)
class Treated:
    """What becomes of the ventilation air of an hour before it enters the space or its coil: the parts of its differences of
    temperature and of humidity from the space that are left, and heat [W] that fans add to it."""

    heat_left: Number
    water_left: Number
    warmed_w: Number


COIL = Rating(**{field.name: col(field.name) for field in fields(Rating)})


def coil_in(section: str) -> Rating:
    """The columns of another coil, `<section>.<field of Rating>`."""
    return Rating(**{field.name: col(f"{section}.{field.name}") for field in fields(Rating)})


PART_LOAD = PartLoad(
    lower_slope=col("latent_lower_slope"),
    lower_offset=col("latent_lower_offset"),
    upper_slope=col("latent_upper_slope"),
    fan=col("fan_on"),
    units=col("cooling_units"),
)
