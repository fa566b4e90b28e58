"""Facts of the trade (common practice, no source) that must follow from the physics with no fitting.

At about 21 degC and 50 %, usual for a grocery store, packaged cooling that reheats with its own condenser heat uses two to
five times as much energy as an efficient standalone unit for the same water; electric reheat is worse again.
"""

import polars as pl
import pytest

from screener.contracts.hour import COIL
from screener.formula import col, polars
from screener.physics import cooling_coil, dehumidifier
from screener.strategies.overcooling import REHEAT_CONDENSING_C
from screener.strategies.standalone_dehumidifier import (
    USUAL_LITRES_PER_KWH,
    USUAL_RATING_C,
    USUAL_RATING_RH_PCT,
)
from tests.physics.coils import default_coil, humidity, run

STORE_C, STORE_RH = 21.1, 0.5
OUTDOORS = [15.0, 25.0, 35.0]


@pytest.fixture(scope="module")
def per_kg() -> pl.DataFrame:
    """Per weather, kWh for a kilogram of water and nothing else: all sensible cooling is put back.

    Standalone: the usual unit. Coil: compressor, condenser fan and supply fan of its run time; the
    condenser kept warm where its heat is used; resistance heat less what the supply fan gives anyway.
    """
    site = default_coil()
    store = {"t": [STORE_C] * 3, "w": [humidity(STORE_C, STORE_RH)] * 3, "outdoor": OUTDOORS}
    at = run(site, pl.DataFrame(store))
    c = col
    warm = cooling_coil.carnot_cop(COIL.carnot_fraction, c("adp_c"), c("outdoor"), c("load"), REHEAT_CONDENSING_C)
    kg_per_kwh_w = c("moisture_kg_s") * 3.6e6
    rated = dehumidifier.relative_energy_factor(USUAL_RATING_C, USUAL_RATING_RH_PCT)
    factor = dehumidifier.relative_energy_factor(STORE_C, 100 * STORE_RH) / rated
    return at.select(
        "outdoor",
        standalone=1 / (USUAL_LITRES_PER_KWH * factor),
        condenser=polars((c("total_w") / warm + c("fan_w")) / kg_per_kwh_w),
        electric=polars((c("power_w") + c("fan_w") + (c("sensible_w") - c("fan_w"))) / kg_per_kwh_w),
        rejected_over_reheat=polars((c("total_w") + c("total_w") / warm) / c("sensible_w")),
    )


@pytest.mark.parametrize("outdoor", OUTDOORS)
def test_condenser_reheat_takes_two_to_five_times_as_much(per_kg, outdoor):
    """Near 2.7, 2.9 and 3.6 times at 15, 25 and 35 degC outdoors."""
    row = per_kg.filter(pl.col("outdoor") == outdoor).row(0, named=True)
    ratio = row["condenser"] / row["standalone"]
    print(f"{outdoor} degC: condenser {ratio:.2f}, electric {row['electric'] / row['standalone']:.1f} times")
    assert 2 <= ratio <= 5


def test_electric_reheat_takes_more(per_kg):
    assert (per_kg["electric"] > per_kg["condenser"]).all()


def test_worse_in_hot_weather(per_kg):
    assert per_kg["condenser"].is_sorted()


def test_the_condenser_has_heat_enough(per_kg):
    assert (per_kg["rejected_over_reheat"] > 1).all()
