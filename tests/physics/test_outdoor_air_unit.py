"""The outdoor-air unit over the published rating states, and its dew point against psychrolib."""

import polars as pl
import psychrolib
import pytest

from screener.physics import outdoor_air_unit as unit
from screener.physics import psychrometrics as air
from screener.worksheet import Worksheet

SEA_LEVEL = 101325.0
SUPPLY_DEW_POINT_C = 12.78  # 55 F
# dry-bulb F, wet-bulb F, weight: rating states of the metric for direct-expansion outdoor-air units (from memory)
STATES = ((95, 78, 0.14), (80, 73, 0.34), (70, 66, 0.39), (63, 59, 0.13))


def celsius(f: float) -> float:
    return (f - 32) / 1.8


def test_seasonal_moisture_removal():
    """1.7-2.7 kg/kWh without fan for an air-cooled unit without reheat penalty: federal level 3.8 lb/kWh (from memory)."""
    psychrolib.SetUnitSystem(psychrolib.SI)
    leaving_w = psychrolib.GetHumRatioFromTDewPoint(SUPPLY_DEW_POINT_C, SEA_LEVEL)
    seasonal = 0.0
    for dry_bulb, wet_bulb, weight in STATES:
        t = celsius(dry_bulb)
        w = psychrolib.GetHumRatioFromTWetBulb(t, celsius(wet_bulb), SEA_LEVEL)
        state = (pl.lit(t), pl.lit(w), pl.lit(leaving_w), pl.lit(SUPPLY_DEW_POINT_C))
        duty = air.enthalpy(state[0], state[1]) - air.enthalpy(state[3], state[2])
        power = pl.select(unit.compressor_w(duty, state[3], state[0])).item()
        seasonal += weight * max(0.0, w - leaving_w) / power * 3.6e6
    assert 1.7 <= seasonal <= 2.7, seasonal


@pytest.mark.parametrize("dew_point", [4.0, 8.0, 12.8, 18.0])
def test_air_leaves_saturated_at_the_wanted_dew_point(dew_point):
    sheet = Worksheet()
    w = psychrolib.GetHumRatioFromTDewPoint(dew_point, SEA_LEVEL)
    unit.treat(sheet, pl.col("w"), pl.lit(SEA_LEVEL))
    row = sheet.apply(pl.LazyFrame({"w": [w, w + 1e-6]})).collect()
    assert row["leaving_c"][0] == pytest.approx(dew_point, abs=0.005)
    per_w = (row["leaving_c"][1] - row["leaving_c"][0]) / 1e-6
    assert row["leaving_c_per_humidity"][0] == pytest.approx(per_w, rel=0.01)
