"""Coils for the tests: rated on a small table, run at given states, and solved once more in plain Python."""

import polars as pl
import psychrolib

from screener.contracts.hour import COIL
from screener.formula import col
from screener.physics import cooling_coil
from screener.worksheet import Worksheet

psychrolib.SetUnitSystem(psychrolib.SI)
SEA_LEVEL = 101325.0


def rated(
    capacity_w: float, cop: float, shr: float, supply_m3_s: float, fan_w: float, pressure_pa: float = SEA_LEVEL
) -> pl.DataFrame:
    """One row with the columns of `Rating`, `fan_w` and `pressure_pa`."""
    sheet = Worksheet()
    numbers = (capacity_w, cop, shr, supply_m3_s, fan_w, pressure_pa)
    cooling_coil.rate(sheet, *numbers)
    site = pl.DataFrame({"fan_w": [fan_w], "pressure_pa": [pressure_pa]})
    return sheet.apply(site.lazy()).collect()


def default_coil(capacity_kw: float = 10.0) -> pl.DataFrame:
    """The shipped defaults: COP 3.22, sensible heat ratio 0.75, 50 L/s per kW, 0.773 W per L/s of fan."""
    return rated(capacity_kw * 1000, 3.2238, 0.75, 0.05 * capacity_kw, 0.77339 * 50 * capacity_kw)


def run(site: pl.DataFrame, states: pl.DataFrame) -> pl.DataFrame:
    """The coil of `site` at full run in each of `states` (t, w, outdoor), all steps as columns."""
    sheet = Worksheet()
    cooling_coil.run(sheet, COIL, col("t"), col("w"), col("outdoor"), col("pressure_pa"))
    return sheet.apply(site.lazy().join(states.lazy(), how="cross")).collect()


def states(temperatures: list[float], humidities: list[float], outdoors: list[float]) -> pl.DataFrame:
    """All combinations as t [degC], w [kg/kg at sea level, from relative humidity] and outdoor [degC]."""
    return pl.DataFrame(
        [(float(t), humidity(t, rh), float(o)) for t in temperatures for rh in humidities for o in outdoors],
        schema=["t", "w", "outdoor"],
        orient="row",
    )


def humidity(t: float, rh: float, pressure_pa: float = SEA_LEVEL) -> float:
    """Humidity ratio by psychrolib."""
    return psychrolib.GetHumRatioFromRelHum(t, rh, pressure_pa)


def converged(site: dict, t: float, w: float, outdoor: float) -> tuple[float, float, float]:
    """Apparatus dew point [degC], duty [J/kg] and water [kg/kg] of a rated coil, by bisection on both laws.

    Moist air by psychrolib. Wet, or where the coil would be warmer than the dew point of the air, dry; never below 1 degC.
    """
    p = site["pressure_pa"]

    def compressor(adp: float) -> float:
        return site["duty_j_kg"] * (1 + 0.025 * (adp - site["rated_adp_c"]) - 0.006 * (outdoor - 35))

    def wet(adp: float) -> float:
        saturated = psychrolib.GetMoistAirEnthalpy(adp, psychrolib.GetSatHumRatio(adp, p))
        return site["contact"] * (psychrolib.GetMoistAirEnthalpy(t, w) - saturated)

    def dry(adp: float) -> float:
        return site["contact"] * (psychrolib.GetMoistAirEnthalpy(t, w) - psychrolib.GetMoistAirEnthalpy(adp, w))

    def meet(coil) -> float:
        low, high = -40.0, 60.0
        for _ in range(60):
            middle = (low + high) / 2
            low, high = (middle, high) if coil(middle) > compressor(middle) else (low, middle)
        return max(low, 1.0)

    adp = meet(wet)
    taken = w - psychrolib.GetSatHumRatio(adp, p)
    if taken > 0:
        return adp, wet(adp), site["contact"] * taken
    adp = min(meet(dry), t)
    return adp, dry(adp), 0.0
