"""What is added up over the hours of a site with a strategy: for the ledger by slot, for the accounts over the year."""

from collections.abc import Collection

import numpy as np
from numpy.typing import NDArray

from screener.contracts.end_uses import CARRIERS, END_USES
from screener.contracts.limits import OVER_LIMIT
from screener.formula import at_least, at_most, col, when
from screener.physics import psychrometrics as air
from screener.worksheet.hours import Tallies, Tally

HOUR = "hour."  # begins the columns of what an hour comes to
WATER = {"water_by_coil_kg": "coil_kg_s", "water_by_device_kg": "device_kg_s"}
SHARE_ABOVE_P95 = 0.05
SAMPLED_H = 16
VERY_DAMP = 0.9  # of saturation: common practice, no source
TOO_WARM_K = 0.5  # above the set point: half the usual span of a thermostat, common practice, no source
CASES = {  # hours by the humidity ratio of the space above which they count, a column of the site, and the cases they are of
    "hours_door_glass_fogged": ("door_fog_humidity_ratio", "door_case_length_m"),
    "hours_frost_on_goods": ("goods_frost_humidity_ratio", "open_case_length_m"),
}
BY_THE_LAST_BITS = 1 + 1e-6  # a space that is held just at a surface's dew point does not fog it
COMFORT = ("hours_in_fog", "hours_above_90_rh", "hours_cooling_not_met", "cooling_not_met_kwh")


def tallies(present: Collection[str]) -> Tallies:
    """What is added up over the hours in which the steps `present` are worked out, by the names of the accounts."""
    weight, humidity = col("weight_h"), col(f"{HOUR}humidity_ratio")
    slot = [Tally("hours", weight), Tally("peak_kw", col(f"{HOUR}electricity_w") / 1000, "max")]
    slot += [_kwh(f"{c}_w", f"{c}_kwh") for c in CARRIERS if f"{HOUR}{c}_w" in present]
    slot += [Tally("fuel_peak_kw", col(f"{HOUR}fuel_w") / 1000, "max")] if f"{HOUR}fuel_w" in present else []
    over = humidity > OVER_LIMIT * col("limit_humidity_ratio")
    # what display cases would save in fog is not counted: no store is left in it
    for_cases = at_most(humidity, VERY_DAMP * col("saturated_at_cooling"))
    year = [
        Tally("moisture_load_kg", col("moisture_load_kg_s") * weight * 3600),
        Tally("most_humidity_ratio", humidity, "max"),
        Tally("humidity_h", for_cases * weight),
        Tally("hours_above_limit", when(over).then(weight).otherwise(0.0)),
        _kwh("standby_w", "standby_kwh"),
    ]
    year += [_kwh(use.power_w, use.energy_kwh) for use in END_USES if f"{HOUR}{use.power_w}" in present]
    year += [
        Tally(total, col(f"{HOUR}{flow}") * weight * 3600)
        for total, flow in WATER.items()
        if f"{HOUR}{flow}" in present
    ]
    for name, (surface, _) in CASES.items():
        falls_out = humidity > BY_THE_LAST_BITS * col(surface)
        year.append(Tally(name, when(falls_out).then(weight).otherwise(0.0)))
    return Tallies(slot, year + _comfort())


def dampest(kept: NDArray[np.float64]) -> NDArray[np.float64]:
    """The humidity ratio that 5 % of the hours exceed. `kept` [1, hour]: humidity ratios."""
    humidities, rank = kept[0], int(kept.shape[1] * SHARE_ABOVE_P95)
    # of every so manieth hour somewhat more are taken: what is above the least of them is most often enough, and soon found
    some = humidities[::SAMPLED_H]
    more = min(some.size, int(some.size * 2 * SHARE_ABOVE_P95) + 1)
    candidates = humidities[humidities >= np.partition(some, -more)[-more]]
    among = candidates if candidates.size > rank else humidities
    return np.asarray(np.partition(among, -1 - rank)[-1 - rank])


def _kwh(power: str, name: str) -> Tally:
    return Tally(name, col(f"{HOUR}{power}") * (col("weight_h") / 1000))


def _comfort() -> list[Tally]:
    """Hours in fog, above 90 % of relative humidity and warmer than called for, and the cooling that was not delivered."""
    hours, space_c, pressure = col("weight_h"), col(f"{HOUR}space_c"), col("pressure_pa")
    vapour = air.vapour_pressure(col(f"{HOUR}humidity_ratio"), pressure)
    warm = space_c > col("cooling_setpoint_c") + TOO_WARM_K
    damp = vapour > VERY_DAMP * air.saturation_pressure_over_water(space_c)
    return [
        Tally("hours_in_fog", when(col(f"{HOUR}condenses_kg_s") > 0).then(hours).otherwise(0.0)),
        Tally("hours_above_90_rh", when(damp).then(hours).otherwise(0.0)),
        Tally("hours_cooling_not_met", when(warm).then(hours).otherwise(0.0)),
        Tally("cooling_not_met_kwh", at_least(col(f"{HOUR}unmet_cooling_w"), 0.0) * (hours / 1000)),
    ]
