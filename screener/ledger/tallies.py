"""What is added up over the hours of a site: for the ledger by slot, for the accounts over the year.

In an hour that temperature control alone keeps below the limit every strategy does what the reference does, so such
hours are summed once, for the reference, and the sums are given to all.
"""

from collections.abc import Collection, Sequence

import numpy as np
from numpy.typing import NDArray

from screener.contracts.end_uses import CARRIERS, END_USES
from screener.contracts.limits import OVER_LIMIT
from screener.formula import at_least, col, when
from screener.physics import psychrometrics as air
from screener.worksheet.hours import Tallies, Tally

WATER = {"water_by_coil_kg": "coil_kg_s", "water_by_device_kg": "device_kg_s"}
SHARE_ABOVE_P95 = 0.05
VERY_DAMP = 0.9  # of saturation: common practice, no source
COMFORT = ("hours_in_fog", "hours_above_90_rh", "cooling_not_met_kwh")


def dry(present: Collection[str], strategies: Sequence[str], reference: str) -> Tallies:
    """What is added up over the dry hours, in which the steps `present` are worked out: the reference, and what the
    others draw or save beside it."""
    acting = [s for s in strategies if s != reference]
    power = col(f"{reference}.electricity_w")
    slot = [Tally("dry.hours", col("weight_h")), Tally("dry.peak_kw", power / 1000, "max")]
    slot += _carriers(present, reference, "dry.")
    for s in acting:
        slot += _carriers(present, f"{s}.standby", f"dry.{s}.standby.")
        if (standby := f"{s}.standby.electricity_w") in present:
            slot.append(Tally(f"dry.{s}.peak_kw", (power + col(standby)) / 1000, "max"))
    year = [_moisture_load("dry.moisture_load_kg")]
    year.append(Tally("dry.most_humidity_ratio", col(f"{reference}.humidity_ratio"), "max"))
    year += _uses(present, reference, "dry.") + _comfort(reference, "dry.")
    year += [use for s in acting for use in _uses(present, f"{s}.standby", f"dry.{s}.standby.")]
    return Tallies(slot, year)


def damp(present: Collection[str], strategies: Sequence[str], reference: str) -> Tallies:
    """What is added up over the damp hours, in which every strategy is worked out."""
    slot, year = [Tally("hours", col("weight_h"))], [_moisture_load("moisture_load_kg")]
    undried = col(f"{reference}.humidity_ratio")
    for s in strategies:
        slot += _carriers(present, s, f"{s}.")
        slot.append(Tally(f"{s}.peak_kw", col(f"{s}.electricity_w") / 1000, "max"))
        humidity = col(f"{s}.humidity_ratio")
        over = humidity > OVER_LIMIT * col("limit_humidity_ratio")
        year += _uses(present, s, f"{s}.") + _comfort(s, f"{s}.")
        year += [
            Tally(f"{s}.most_humidity_ratio", humidity, "max"),
            Tally(f"{s}.drier_h", (undried - humidity) * col("weight_h")),
            Tally(f"{s}.hours_above_limit", when(over).then(col("weight_h")).otherwise(0.0)),
        ]
    return Tallies(slot, year)


def dampest(dry_hours: NDArray[np.float64], damp_hours: NDArray[np.float64]) -> NDArray[np.float64]:
    """The humidity ratio that 5 % of a site's hours exceed, of each strategy.

    `dry_hours`: the humidity ratios of dry hours, the same for all, among -inf for others; `damp_hours` [strategy, hour]:
    those of damp ones, which lie at the limit or above it in most cases and so are looked at first.
    """
    count = damp_hours.shape[1]
    rank = int((np.count_nonzero(dry_hours > -np.inf) + count) * SHARE_ABOVE_P95)
    damp = np.sort(damp_hours, axis=1)[:, -1 - rank :]  # faster than a partition of so few
    if count > rank and damp[:, 0].min() >= dry_hours.max():
        return damp[:, 0]
    dry = np.partition(dry_hours, -1 - rank)[-1 - rank :]
    return np.sort(np.hstack([damp, np.tile(dry, (len(damp), 1))]), axis=1)[:, -1 - rank]


def _kwh(power: str, name: str) -> Tally:
    return Tally(name, col(power) * (col("weight_h") / 1000))


def _carriers(present: Collection[str], strategy: str, prefix: str) -> list[Tally]:
    return [_kwh(f"{strategy}.{c}_w", f"{prefix}{c}_kwh") for c in CARRIERS if f"{strategy}.{c}_w" in present]


def _uses(present: Collection[str], strategy: str, prefix: str) -> list[Tally]:
    """End uses and water of a year, as far as the strategy has them."""
    kg = col("weight_h") * 3600
    uses = [
        _kwh(f"{strategy}.{use.power_w}", f"{prefix}{use.energy_kwh}")
        for use in END_USES
        if f"{strategy}.{use.power_w}" in present
    ]
    return uses + [
        Tally(f"{prefix}{total}", col(f"{strategy}.{flow}") * kg)
        for total, flow in WATER.items()
        if f"{strategy}.{flow}" in present
    ]


def _comfort(strategy: str, prefix: str) -> list[Tally]:
    """Hours in fog and above 90 % of relative humidity, and cooling that was called for and not delivered."""
    hours, space_c, pressure = col("weight_h"), col(f"{strategy}.space_c"), col("pressure_pa")
    vapour = air.vapour_pressure(col(f"{strategy}.humidity_ratio"), pressure)
    damp = vapour > VERY_DAMP * air.saturation_pressure_over_water(space_c)
    return [
        Tally(f"{prefix}hours_in_fog", when(col(f"{strategy}.condenses_kg_s") > 0).then(hours).otherwise(0.0)),
        Tally(f"{prefix}hours_above_90_rh", when(damp).then(hours).otherwise(0.0)),
        Tally(f"{prefix}cooling_not_met_kwh", at_least(col(f"{strategy}.unmet_cooling_w"), 0.0) * (hours / 1000)),
    ]


def _moisture_load(name: str) -> Tally:
    return Tally(name, at_least(col("moisture_at_limit_kg_s"), 0.0) * col("weight_h") * 3600)
