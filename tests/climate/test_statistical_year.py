"""Statistical years: what must hold by construction, and the ventilation load index of six cities.

Index: method and Miami's figure Harriman, Plager, Kosar, ASHRAE Journal, November 1997 (from memory); the values asserted
were computed from typical-year hours at 1076 Btu/lb: latent / sensible ton-hours a year per scfm of outdoor air.
"""

import polars as pl
import pytest

from screener import climate
from screener.climate import carried, figures
from screener.climate.statistical_year import MULTIPLIER, lattice
from screener.formula import of_columns
from screener.physics import psychrometrics as air
from tests.derive import station_data
from tests.derive.cleaning import clean
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


def measured(stations: list[str]) -> pl.DataFrame:
    hourly = pl.scan_parquet(HOURLY).filter(pl.col("station").is_in(stations)).collect()
    return station_data.as_hours(clean(hourly)[0]).with_columns(weight_h=pl.lit(1.0))


@pytest.fixture(scope="module")
def years() -> pl.DataFrame:
    return climate.hours(climate.stations()["station"].to_list()[::25] + list(INDEX))


@pytest.mark.parametrize("station", list(INDEX))
def test_ventilation_load_index_of_the_statistical_year(station):
    index = figures.ventilation_load(climate.hours([station]), "weather_id").row(0, named=True)
    latent, sensible = INDEX[station]
    assert index["latent_ton_hours_per_cfm"] == pytest.approx(latent, rel=0.10)
    assert index["sensible_ton_hours_per_cfm"] == pytest.approx(sensible, rel=0.10)


@with_hours
@pytest.mark.parametrize("station", list(INDEX))
def test_ventilation_load_index_of_the_hours(station):
    index = figures.ventilation_load(measured([station]), "station").row(0, named=True)
    latent, sensible = INDEX[station]
    assert index["latent_ton_hours_per_cfm"] == pytest.approx(latent, rel=0.10)
    assert index["sensible_ton_hours_per_cfm"] == pytest.approx(sensible, rel=0.10)


@with_hours
def test_latent_load_of_many_stations():
    """Every fourth station; rms and largest error by class of load, in ton-hours per scfm: as in data/README.md."""
    stations = climate.stations()["station"].to_list()[::4]
    assert len(stations) > 100
    statistical = figures.ventilation_load(climate.hours(stations), "weather_id").rename({"weather_id": "station"})
    both = figures.ventilation_load(measured(stations), "station").join(
        statistical, on="station", suffix="_statistical"
    )
    error = pl.col("latent_ton_hours_per_cfm_statistical") / pl.col("latent_ton_hours_per_cfm") - 1
    for low, high, rms, largest in (
        (6, 99, 0.01, 0.02),
        (2.5, 6, 0.015, 0.03),
        (0.75, 2.5, 0.03, 0.08),
        (0.1, 0.75, 0.10, 0.30),
    ):
        e = both.filter(pl.col("latent_ton_hours_per_cfm").is_between(low, high)).select(error).to_series()
        assert len(e) > 20
        assert (e**2).mean() ** 0.5 < rms
        assert e.abs().max() < largest


def test_weights_make_a_year_and_every_weekday_counts_alike(years):
    per_day = years.group_by("weather_id", "day_of_week").agg(pl.col("weight_h").sum())["weight_h"]
    assert per_day.to_list() == pytest.approx([8760 / 7] * len(per_day))


def test_never_above_saturation(years):
    saturated = of_columns(air.humidity_ratio_from_dew_point, "outdoor_c", "pressure_pa")
    assert years.select((pl.col("outdoor_humidity_ratio") <= saturated * (1 + 1e-9)).all()).item()
    assert years["outdoor_humidity_ratio"].min() > 0


def test_hourly_means_are_restored(years):
    """Dry-bulb to rounding; humidity within 0.3 g/kg, and 0.05 g/kg in 99 % of the hours: clipping at saturation can hold a
    foggy hour's mean down."""
    means = years.group_by("weather_id", "month", "hour").agg(pl.col("outdoor_c", "outdoor_humidity_ratio").mean())
    monthly = carried.unpack(carried.statistics()).rename({"station": "weather_id"})
    for name, column, scale in (("dry_bulb", "outdoor_c", 1.0), ("humidity", "outdoor_humidity_ratio", 1000.0)):
        columns = carried.BY_NAME[name].columns
        long = monthly.unpivot(columns, index=["weather_id", "month"], variable_name="hour", value_name="mean")
        long = long.with_columns(hour=pl.col("hour").str.slice(-2).cast(pl.Int8))
        both = means.join(long, on=["weather_id", "month", "hour"])
        apart = both.select((pl.col(column) * scale - pl.col("mean")).abs()).to_series()
        assert apart.max() < (1e-6 if name == "dry_bulb" else 0.3)
        assert apart.quantile(0.99) < 0.05


@pytest.mark.parametrize("days", list(MULTIPLIER))
def test_lattice_is_balanced_on_every_weekday(days):
    """Opposite points share a weekday, so each day kind sees the mean weather at every hour."""
    scores = lattice(days).with_columns(weekday=pl.col("day") % 7)
    for name in ("z_dry_bulb", "z_humidity"):
        assert scores.group_by("hour", "weekday").agg(pl.col(name).sum())[name].abs().max() < 1e-9


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
def test_carried_statistics_are_derived_by_the_project():
    """A few stations derived anew equal what the package carries."""
    stations = ["722020", "690150", "726580"]
    hourly = pl.scan_parquet(HOURLY).filter(pl.col("station").is_in(stations)).collect()
    packed = carried.pack(station_data.monthly_statistics(station_data.as_hours(clean(hourly)[0]))).sort(
        "station", "month"
    )
    mine = carried.statistics().filter(pl.col("station").is_in(stations)).sort("station", "month")
    steps = (packed.drop("station", "month") - mine.drop("station", "month")).select(pl.all().abs().max())
    assert max(steps.row(0)) == 0


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
