"""The hours of the stations: those of the typical years they were made from, and the ventilation load index of six cities.

Index: method and Miami's figure Harriman, Plager, Kosar, ASHRAE Journal, November 1997 (from memory); the values asserted
were computed from typical-year hours at 1076 Btu/lb: latent / sensible ton-hours a year per scfm of outdoor air.
"""

import polars as pl
import pytest

from screener import climate
from screener.climate import carried, figures
from screener.formula import of_columns
from screener.physics import psychrometrics as air
from tests.derive.cleaning import clean, repaired
from tests.engine_cases import SHARED

HOURLY = SHARED / "weather" / "tmy3_hourly.parquet"
with_hours = pytest.mark.skipif(not HOURLY.is_file(), reason="the open hourly data are not beside the checkout")
INDEX = {
    "722020": (19.0, 3.0),
    "722430": (13.2, 2.3),
    "722190": (7.2, 1.3),
    "722780": (1.6, 5.9),
    "725300": (3.5, 0.6),
    "727930": (0.14, 0.09),
}


@pytest.fixture(scope="module")
def years() -> pl.DataFrame:
    return climate.hours(climate.stations()["station"].to_list()[::25] + list(INDEX))


@pytest.mark.parametrize("station", list(INDEX))
def test_ventilation_load_index(station):
    index = figures.ventilation_load(climate.hours([station]), "weather_id").row(0, named=True)
    latent, sensible = INDEX[station]
    assert index["latent_ton_hours_per_cfm"] == pytest.approx(latent, rel=0.10)
    assert index["sensible_ton_hours_per_cfm"] == pytest.approx(sensible, rel=0.10)


@with_hours
def test_carried_hours_are_those_of_the_typical_years():
    """Every fourth station, hour by hour: dry-bulb and dew point to the tenth of a kelvin, irradiance to half its step of
    5 W/m2, pressure as it is; but for the impossible hours."""
    wanted = climate.stations()["station"].to_list()[::4]
    assert len(wanted) > 200
    source = pl.scan_parquet(HOURLY).filter(pl.col("station").is_in(wanted)).collect()
    source = source.sort("station", "month", "day", "hour_ending")
    mine = climate.hours(wanted)
    assert mine["weather_id"].equals(source["station"].alias("weather_id"))
    assert mine["month"].equals(source["month"])
    assert mine["hour"].to_list() == (source["hour_ending"] - 1).to_list()
    frame = pl.DataFrame(
        {
            "dry_bulb": (mine["outdoor_c"] - source["dry_bulb_c"]).abs(),
            "pressure": (mine["pressure_pa"] - source["pressure_mbar"] * 100).abs(),
            "irradiance": (mine["irradiance_w_m2"] - source["ghi_w_m2"]).abs(),
        }
    )
    assert (frame["dry_bulb"] > 1e-5).sum() < len(frame) * 1e-3
    assert frame["pressure"].max() < 1e-6
    assert frame["irradiance"].max() < 2.5 + 1e-6
    dew_point = mine.select(air.dew_points(pl.col("outdoor_humidity_ratio"), pl.col("pressure_pa"))).to_series()
    apart = (dew_point - source["dew_point_c"]).abs()
    assert (apart > 1e-3).sum() < len(frame) * 1e-3


def test_packing_comes_back_to_the_last_unit():
    """Whole numbers of either sign, also where the next station begins elsewhere."""
    numbers = [0, 5, -7, 300, -300, 1, 1, 0, -1]
    frame = pl.DataFrame({"station": [1] * 9 + [2] * 9, "x": numbers + numbers[::-1]})
    kept = frame.with_columns(carried.packed(pl.col("x")).over("station").alias("x"))
    assert kept["x"].min() >= 0
    assert kept.select(carried.unpacked(pl.col("x")).over("station")).to_series().to_list() == frame["x"].to_list()


def test_the_package_carries_a_whole_year_of_every_station(years):
    counts = pl.scan_parquet(carried.HOURS_FILE).group_by("station").agg(pl.len()).collect()
    assert counts.height == climate.stations().height == 1011
    assert set(counts["len"]) == {8760}
    assert carried.HOURS_FILE.stat().st_size < 17_000_000
    first = years.filter(pl.col("weather_id") == years["weather_id"][0])
    assert first.select("month", "hour", "day_of_week").row(0) == (1, 0, 0)
    assert first.select("month", "hour", "day_of_week").row(-1) == (12, 23, 364 % 7)
    july = first.filter(pl.col("month") == 7)
    assert july.height == 31 * 24


def test_never_above_saturation(years):
    saturated = of_columns(air.humidity_ratio_from_dew_point, "outdoor_c", "pressure_pa")
    assert years.select((pl.col("outdoor_humidity_ratio") <= saturated * (1 + 1e-9)).all()).item()
    assert years["outdoor_humidity_ratio"].min() > 0


def test_coincident_humidity_does_not_hang_on_the_last_bit():
    """Hours on a grid of a tenth of a kelvin, moved by as little as a float can be: a band with edges would gain or lose
    whole rows of them."""
    for station in ("725300", "722020", "722780"):
        hours = climate.hours([station])
        here, there = (
            figures.design_conditions(hours.with_columns(pl.col("outdoor_c") * factor)).row(0, named=True)
            for factor in (1 + 1e-12, 1 - 1e-12)
        )
        for name in ("dry_bulb_04_humidity_ratio", "dew_point_04_dry_bulb_c"):
            assert here[name] == pytest.approx(there[name], rel=1e-8), (station, name)


def test_thermal_zones_follow_from_degree_days():
    """Thermal zone by degree days [from memory, ASHRAE 169] of the zones' representative stations."""
    from screener.climate.places import REPRESENTATIVE

    bounds = {"1": (5000, 6000), "2": (3500, 5000)}  # CDD10
    heating = {"4": (2000, 3000), "5": (3000, 4000), "6": (4000, 5000), "7": (5000, 7000)}  # HDD18
    hours = climate.hours(list(REPRESENTATIVE.values()))
    daily = hours.group_by("weather_id", "month").agg(
        hdd=(18.3 - pl.col("outdoor_c").mean()).clip(0) * pl.col("weight_h").sum() / 24,
        cdd=(pl.col("outdoor_c").mean() - 10).clip(0) * pl.col("weight_h").sum() / 24,
    )
    year = {r["weather_id"]: r for r in daily.group_by("weather_id").agg(pl.col("hdd", "cdd").sum()).to_dicts()}
    for zone, station in REPRESENTATIVE.items():
        low, high = bounds.get(zone[0]) or heating.get(zone[0]) or (None, None)
        if low is not None:
            figure = year[station]["cdd" if zone[0] in bounds else "hdd"]
            assert low * 0.85 < figure < high * 1.15, (zone, figure)  # months, not days, are averaged here


@with_hours
def test_impossible_hours_are_counted():
    """686 of 8.86 million hours are impossible; none of them is left."""
    hourly = pl.read_parquet(HOURLY)
    good, counts = clean(hourly)
    kinds = ("dew_point_lowered_to_dry_bulb", "dropped_dry_bulb_above_55_c", "dropped_dew_point_above_33_c")
    assert sum(counts[kind] for kind in kinds) == 686
    assert counts["hours"] == 8_856_360
    assert good.select((pl.col("dew_point_c") <= pl.col("dry_bulb_c")).all()).item()
    assert counts["dropped_dry_bulb_out_of_season"] < 1000  # counted apart; one hour in ten thousand


@with_hours
def test_impossible_hours_are_filled():
    """No hour is left out, and a filled one lies within what its station sees."""
    stations = ["703884", "722039"]
    hourly = pl.scan_parquet(HOURLY).filter(pl.col("station").is_in(stations)).collect()
    whole, counts = repaired(hourly)
    assert whole.height == hourly.height == 2 * 8760
    assert whole.select(pl.col("dry_bulb_c", "dew_point_c").is_not_null().all()).row(0) == (True, True)
    assert counts["repaired"] > 300
    july = whole.filter((pl.col("station") == "703884") & (pl.col("month") == 7))
    assert july["dry_bulb_c"].max() < 40  # 46 to 65 degC for 18 days before
    assert whole.filter(pl.col("station") == "722039")["dry_bulb_c"].min() > -5
    assert whole.select((pl.col("dew_point_c") <= pl.col("dry_bulb_c")).all()).item()


@with_hours
def test_sensors_that_failed_for_weeks_are_not_believed():
    """On the coast of Alaska no July has 45 degC, in Florida no hour -9 degC (record of the far north: -19)."""
    stations = climate.stations().filter(pl.col("station").is_in(["703884", "722039"])).sort("station")
    assert stations["dry_bulb_04_c"][0] < 25
    assert stations["heating_996_c"][1] > 0


def test_design_conditions_by_hand():
    """A made-up year of 8760 temperatures 0, 0.01 ... 87.59: 0.4 % of the hours lie above 87.24, 99.6 % above 0.35."""
    year = pl.DataFrame({"outdoor_c": [i / 100 for i in range(8760)]}).with_columns(
        weather_id=pl.lit("x"),
        pressure_pa=pl.lit(101_325.0),
        outdoor_humidity_ratio=0.005 + pl.col("outdoor_c") / 10_000,
    )
    found = figures.design_conditions(year).row(0, named=True)
    assert found["dry_bulb_04_c"] == pytest.approx(87.24, abs=0.02)
    assert found["heating_996_c"] == pytest.approx(0.35, abs=0.02)
    assert found["dry_bulb_04_humidity_ratio"] == pytest.approx(0.0137166, abs=2e-5)  # mean of the hours within 0.5 K
    assert found["dew_point_04_humidity_ratio"] == pytest.approx(0.005 + 87.24 / 10_000, rel=1e-4)
    assert found["dew_point_04_dry_bulb_c"] > 80


def test_design_conditions_of_known_cities():
    """Published annual design conditions, rounded [ASHRAE Fundamentals 2013 ch. 14, from memory]: 0.4 % dry-bulb, 0.4 % dew
    point, 99.6 % heating dry-bulb; one typical year comes within 2 K of a long record, 5 K in the cold."""
    published = {"722020": (33.2, 25.7, 9.0), "722780": (43.5, 21.7, 3.7), "725300": (33.3, 23.6, -18.5)}
    for station, (hot, humid, cold) in published.items():
        found = climate.design_conditions([station]).row(0, named=True)
        assert found["dry_bulb_04_c"] == pytest.approx(hot, abs=2)
        assert found["dew_point_04_c"] == pytest.approx(humid, abs=2)
        assert found["heating_996_c"] == pytest.approx(cold, abs=5)


def test_monthly_figures_add_up():
    table = climate.monthly_figures("722020")
    months, year = table.head(12), table.row(12, named=True)
    assert months["month"].to_list() == [str(m) for m in range(1, 13)]
    assert year["month"] == "year"
    for column in ("hours", "hours_above_12_8_c_dew_point", "latent_ton_hours_per_cfm", "moisture_index_kg"):
        assert months[column].sum() == pytest.approx(year[column])
    assert year["hours"] == pytest.approx(8760)
    assert year["dry_bulb_max_c"] == months["dry_bulb_max_c"].max()
