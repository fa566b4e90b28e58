"""The statistical year against the same station's 8760 hours, all the way through the engine.

Source of the hours: TMY3, National Solar Radiation Data Base 1991-2005 update (public domain), beside the checkout.
"""

import random

import polars as pl
import pytest

from screener import climate, engine, ledger
from screener.climate.carried import DAYS_IN_MONTH
from screener.strategies import REFERENCE, REGISTRY
from tests.derive import station_data
from tests.derive.cleaning import clean
from tests.engine_cases import SHARED, filled, sized

HOURLY = SHARED / "weather" / "tmy3_hourly.parquet"
pytestmark = pytest.mark.skipif(not HOURLY.is_file(), reason="the open hourly data are not beside the checkout")
STATIONS = 128
AREA = {"supermarket": 4000.0, "office": 2000.0}
CLASSES = {"above 15": (15.0, 1e9), "5 to 15": (5.0, 15.0), "below 5": (0.05, 5.0)}  # moisture load, kg/(m2 a)
# Bounds a little above what was measured: rms and largest relative error by class, of the moisture load, of all energy and
# of dehumidification energy, a small difference of large sums where little water falls.
BOUNDS = {
    "above 15": {"moisture load": (0.012, 0.05), "all energy": (0.007, 0.025), "dehumidification": (0.07, 0.23)},
    "5 to 15": {"moisture load": (0.03, 0.08), "all energy": (0.009, 0.025), "dehumidification": (0.14, 0.40)},
    "below 5": {"moisture load": (0.25, 1.0), "all energy": (0.010, 0.03), "dehumidification": (0.30, 0.75)},
}


def drawn() -> list[str]:
    """Stations spread over the climate zones, the same ones every time."""
    zones = climate.stations().drop_nulls("climate_zone").sort("climate_zone", "station").partition_by("climate_zone")
    draw = random.Random(11)
    each = -(-STATIONS // len(zones))
    return sorted(s for zone in zones for s in draw.sample(zone["station"].to_list(), min(each, zone.height)))


def measured_hours(stations: list[str]) -> pl.DataFrame:
    """The hours of the stations, impossible ones repaired or dropped as in the carried statistics."""
    hourly = pl.scan_parquet(HOURLY).filter(pl.col("station").is_in(stations)).collect()
    hours = station_data.as_hours(clean(hourly)[0]).rename({"station": "weather_id"})
    number = pl.int_range(pl.len()).over("weather_id")
    in_month = pl.col("month").replace_strict(dict(enumerate(DAYS_IN_MONTH, 1)), return_dtype=pl.Float64) * 24
    return hours.with_columns(
        day_of_week=(number // 24 % 7).cast(pl.Int8), weight_h=in_month / pl.len().over("weather_id", "month")
    )


def totals(sites: pl.DataFrame, hours: pl.DataFrame) -> pl.DataFrame:
    batches = list(engine.simulate(sites, engine.years(hours)))
    return ledger.totals(pl.concat([b.years for b in batches]), tuple(REGISTRY), REFERENCE.name)


@pytest.fixture(scope="module")
def compared() -> pl.DataFrame:
    stations = drawn()
    assert len(stations) >= 100
    rows = [{"building_type": t, "floor_area_m2": a, "station": s} for s in stations for t, a in AREA.items()]
    sites = sized(filled(rows))
    both = totals(sites, measured_hours(stations)).join(
        totals(sites, climate.hours(stations)), on=["site_id", "strategy"], suffix="_statistical"
    )
    area = sites.select("site_id", "floor_area_m2")
    return both.join(area, on="site_id").with_columns(per_m2=pl.col("moisture_load_kg") / pl.col("floor_area_m2"))


def errors(frame: pl.DataFrame, value: pl.Expr, statistical: pl.Expr) -> tuple[float, float]:
    """rms and largest relative error."""
    e = frame.select((statistical / value - 1).alias("e")).filter(pl.col("e").is_finite())["e"]
    return float((e**2).mean() ** 0.5), float(e.abs().max())


def test_moisture_load_and_energy(compared, capsys):
    table = []
    for name, (low, high) in CLASSES.items():
        sites = compared.filter(pl.col("per_m2").is_between(low, high))
        load = errors(sites, pl.col("moisture_load_kg"), pl.col("moisture_load_kg_statistical"))
        table.append((name, "moisture load", sites["site_id"].n_unique(), *load))
        for strategy in REGISTRY:
            mine = sites.filter(pl.col("strategy") == strategy)
            total = [pl.col(f"electricity_kwh{x}") + pl.col(f"fuel_kwh{x}") for x in ("", "_statistical")]
            table.append((name, f"{strategy}: all energy", mine.height, *errors(mine, *total)))
            if strategy not in (REFERENCE.name, "low_airflow_cooling"):  # the latter adds next to nothing
                own = [pl.col(f"dehumidification_kwh{x}") for x in ("", "_statistical")]
                worth = mine.filter(pl.col("dehumidification_kwh") > 0.5 * pl.col("floor_area_m2"))
                if worth.height:
                    table.append((name, f"{strategy}: dehumidification", worth.height, *errors(worth, *own)))
    with capsys.disabled():
        print("\nkg/(m2 a)  what                                              sites    rms    largest")
        for name, what, count, rms, largest in table:
            print(f"{name:9}  {what:48}  {count:5}  {rms:6.2%}  {largest:7.2%}")
    for name, what, _, rms, largest in table:
        bounds = BOUNDS[name][what.rpartition(": ")[2]]
        assert rms <= bounds[0], (name, what)
        assert largest <= bounds[1], (name, what)
