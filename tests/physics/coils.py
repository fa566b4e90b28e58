"""Coils for the tests: rated on a small table, run at given states."""

import polars as pl

from screener.hour import COIL
from screener.physics import cooling_coil
from screener.physics import psychrometrics as air
from screener.worksheet import Worksheet

SEA_LEVEL = 101325.0


def rated(capacity_w: float, cop: float, shr: float, supply_m3_s: float, fan_w: float) -> pl.DataFrame:
    """One row with the columns of `Rating`, `fan_w` and `pressure_pa`."""
    sheet = Worksheet()
    numbers = [pl.lit(x) for x in (capacity_w, cop, shr, supply_m3_s, fan_w, SEA_LEVEL)]
    cooling_coil.rate(sheet, *numbers)
    site = pl.DataFrame({"fan_w": [fan_w], "pressure_pa": [SEA_LEVEL]})
    return sheet.apply(site.lazy()).collect()


def default_coil(capacity_kw: float = 10.0) -> pl.DataFrame:
    """The shipped defaults: COP 3.22, sensible heat ratio 0.75, 50 L/s per kW, 0.773 W per L/s of fan."""
    return rated(capacity_kw * 1000, 3.2238, 0.75, 0.05 * capacity_kw, 0.77339 * 50 * capacity_kw)


def run(site: pl.DataFrame, states: pl.DataFrame) -> pl.DataFrame:
    """The coil of `site` at full run in each of `states` (t, w, outdoor), all steps as columns."""
    sheet = Worksheet()
    cooling_coil.run(sheet, COIL, pl.col("t"), pl.col("w"), pl.col("outdoor"), pl.col("pressure_pa"))
    return sheet.apply(site.lazy().join(states.lazy(), how="cross")).collect()


def humidity(t: float, rh: float) -> float:
    """Humidity ratio at sea level."""
    return pl.select(air.humidity_ratio_from_relative_humidity(pl.lit(t), pl.lit(rh), pl.lit(SEA_LEVEL))).item()
