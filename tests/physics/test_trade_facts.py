"""Facts of the trade (common practice, no source) that must follow from the physics with no fitting.

At about 21 degC and 50 %, usual for a grocery store, packaged cooling that reheats with its own condenser heat uses two to
five times as much energy as an efficient standalone unit for the same water; electric reheat is worse again.
"""

import polars as pl
import pytest

from screener.hour import COIL
from screener.physics import cooling_coil, dehumidifier
from screener.strategies.overcool_condenser_reheat import REHEAT_CONDENSING_C
from tests.physics.coils import default_coil, humidity, run

STORE_C, STORE_RH = 21.1, 0.5


@pytest.fixture(scope="module")
def litres_per_kwh() -> pl.DataFrame:
    """Per weather: the standalone unit (4.2 L/kWh at 26.7 degC / 60 %), and the coil with free and electric reheat."""
    weather = pl.DataFrame({"outdoor": [15.0, 25.0, 35.0]})
    states = weather.with_columns(t=pl.lit(STORE_C), w=pl.lit(humidity(STORE_C, STORE_RH)))
    at = run(default_coil(), states)
    cop = cooling_coil.carnot_cop(
        COIL.carnot_fraction, pl.col("adp_c"), pl.col("outdoor"), pl.col("load"), REHEAT_CONDENSING_C
    )
    kg_h, fan = pl.col("moisture_kg_s") * 3600, pl.col("fan_w")
    factor = dehumidifier.relative_energy_factor(pl.lit(STORE_C), pl.lit(100 * STORE_RH))
    return at.select(
        "outdoor",
        standalone=4.2 * factor,
        condenser=1000 * kg_h / (pl.col("total_w") / cop + fan),
        electric=1000 * kg_h / (pl.col("power_w") + fan + pl.col("sensible_w") - fan),
    )


def test_condenser_reheat_takes_two_to_five_times_as_much(litres_per_kwh):
    """2.7, 2.9 and 3.6 times at 15, 25 and 35 degC outdoors, indoor fan included."""
    ratio = litres_per_kwh["standalone"] / litres_per_kwh["condenser"]
    assert ratio.is_between(2, 5).all(), ratio.to_list()


def test_electric_reheat_takes_more(litres_per_kwh):
    assert (litres_per_kwh["electric"] < litres_per_kwh["condenser"]).all()
