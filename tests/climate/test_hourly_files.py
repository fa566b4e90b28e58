"""A site's own weather: the forms it may take, and what is said of one that cannot be used."""

from pathlib import Path

import polars as pl
import pytest

from screener import climate
from screener.calendar import Dates
from screener.climate import hourly_files
from screener.errors import ContractError
from screener.formula import of_columns

DAYS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)


@pytest.fixture
def year() -> pl.DataFrame:
    """A made-up year: warm, damp, sunny at noon."""
    rows = [(m + 1, d + 1, h) for m, days in enumerate(DAYS) for d in range(days) for h in range(24)]
    return pl.DataFrame(rows, schema=["month", "day", "hour"], orient="row").with_columns(
        dry_bulb_c=20.0 + (pl.col("hour") % 12) / 2,
        dew_point_c=14.0 + (pl.col("month") % 6),
        pressure_pa=pl.lit(100_000.0),
        irradiance_w_m2=pl.when(pl.col("hour").is_between(8, 16)).then(500.0).otherwise(0.0),
    )


def written(tmp_path: Path, year: pl.DataFrame, name: str = "own.csv") -> Path:
    (tmp_path / "weather").mkdir(exist_ok=True)
    path = tmp_path / "weather" / name
    year.write_parquet(path) if name.endswith("parquet") else year.write_csv(path)
    return tmp_path


def test_csv_parquet_and_other_units_are_the_same(tmp_path, year):
    us = year.select(
        "month",
        "day",
        pl.col("hour") + 1,
        dry_bulb_f=pl.col("dry_bulb_c") * 1.8 + 32,
        dew_point_f=pl.col("dew_point_c") * 1.8 + 32,
        pressure_mbar=pl.col("pressure_pa") / 100,
        ghi_w_m2="irradiance_w_m2",
    )
    written(tmp_path, year), written(tmp_path, year, "own.parquet"), written(tmp_path, us, "us.csv")
    first, *others = (hourly_files.read(n, tmp_path).drop("weather_id") for n in ("own.csv", "own.parquet", "us.csv"))
    for other in others:
        for column in first.columns:
            assert first[column].to_list() == pytest.approx(other[column].to_list(), rel=1e-9), column


def test_used_as_it_is(tmp_path, year):
    hours = climate.hours(["file:own.csv", "722020"], written(tmp_path, year))
    own = hours.filter(pl.col("weather_id") == "file:own.csv")
    assert own.height == 8760
    assert own["weight_h"].sum() == 8760
    assert own["day_of_week"].to_list()[::24][:8] == [0, 1, 2, 3, 4, 5, 6, 0]
    assert own["outdoor_c"].to_list() == year["dry_bulb_c"].to_list()
    conditions = climate.design_conditions(["file:own.csv", "722020"], climate.hours(["file:own.csv"], tmp_path))
    assert conditions["weather_id"].sort().to_list() == ["722020", "file:own.csv"]
    assert conditions.filter(pl.col("weather_id") == "file:own.csv")["dew_point_04_c"][0] == pytest.approx(19, abs=0.01)


def test_a_year_keeps_its_dates(tmp_path, year):
    """1 January 2023 was a Sunday; the year of the portfolio does not move it. Years of many months leave it open."""
    dated = written(tmp_path, year.with_columns(year=pl.lit(2023)))
    hours = climate.hours(["file:own.csv"], dated)
    assert hours["dated"].all()
    assert hours["day_of_week"].to_list()[::24][:3] == [6, 0, 1]
    assert Dates(2026).of(hours)["day_of_week"].to_list()[::24][:3] == [6, 0, 1]
    many = written(tmp_path, year.with_columns(year=1990 + pl.col("month")))
    undated = climate.hours(["file:own.csv"], many)
    assert not undated["dated"].any()
    assert Dates(2026).of(undated)["day_of_week"].to_list()[::24][:3] == [3, 4, 5]  # a Thursday


def test_relative_humidity_instead_of_dew_point(tmp_path, year):
    damp = year.with_columns(relative_humidity_pct=pl.lit(100.0)).drop("dew_point_c", "pressure_pa", "irradiance_w_m2")
    hours = hourly_files.read("own.csv", written(tmp_path, damp))
    from screener.physics import psychrometrics as air

    saturated = hours.select(of_columns(air.humidity_ratio_from_dew_point, "outdoor_c", "pressure_pa")).to_series()
    assert hours["outdoor_humidity_ratio"].to_list() == pytest.approx(saturated.to_list())
    assert hours["pressure_pa"].unique().to_list() == [101325]


def test_tmy3_as_published(tmp_path, year):
    """Station line, header line, dates as MM/DD/YYYY, hours 01:00 to 24:00 [NREL/TP-581-43156, 2008]."""
    lines = ['722020,"MIAMI INTL AP",FL,-5.0,25.817,-80.300,11']
    lines.append("Date (MM/DD/YYYY),Time (HH:MM),GHI (W/m^2),Dry-bulb (C),Dew-point (C),Pressure (mbar)")
    for r in year.iter_rows(named=True):
        lines.append(
            f"{r['month']:02}/{r['day']:02}/1995,{r['hour'] + 1:02}:00,{r['irradiance_w_m2']},{r['dry_bulb_c']},"
            f"{r['dew_point_c']},1000"
        )
    (tmp_path / "weather").mkdir()
    (tmp_path / "weather" / "tmy3.csv").write_text("\n".join(lines) + "\n")
    written(tmp_path, year)
    a, b = (hourly_files.read(n, tmp_path).drop("weather_id") for n in ("tmy3.csv", "own.csv"))
    assert a.equals(b)


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda y: y.drop("dew_point_c"), "there is no dew_point_c or relative_humidity_pct; add it to the header"),
        (lambda y: y.head(8000), "8000 rows; give the 8760 (or 8784) hours of one year"),
        (
            lambda y: y.with_columns(
                dry_bulb_c=pl.when(pl.int_range(pl.len()) == 3)
                .then(pl.lit("warm"))
                .otherwise(pl.col("dry_bulb_c").cast(str))
            ),
            "warm is not a number from -70 to 60; correct it",
        ),
        (
            lambda y: y.with_columns(relative_humidity_pct=pl.lit(120.0)),
            "120.0 is not a number from 0 to 100; correct it",
        ),
        (
            lambda y: pl.concat([y.head(8759), y.head(1)]),
            "1 hours of the calendar are missing, such as month 12, day 31; give each hour of one year once",
        ),
        (
            lambda y: y.with_columns(dry_bulb_f=pl.lit(68.0)),
            "dry_bulb_c is given more than once; keep one of the columns",
        ),
    ],
    ids=[
        "missing column",
        "too short",
        "text in a number",
        "relative humidity above 100",
        "an hour twice",
        "two units",
    ],
)
def test_bad_files_are_told(tmp_path, year, spoil, words):
    folder = written(tmp_path, spoil(year))
    with pytest.raises(ContractError) as error:
        hourly_files.read("own.csv", folder)
    fault = error.value.faults.row(0, named=True)
    assert fault["message"] == words
    assert fault["table"] == "weather/own.csv"
    if "warm" in words:
        assert (fault["row"], fault["column"], fault["value"]) == (5, "dry_bulb_c", "warm")


@pytest.mark.parametrize("name", ["../sites.csv", "/etc/hostname", "missing.csv"])
def test_files_stay_in_the_weather_folder(tmp_path, year, name):
    folder = written(tmp_path, year)
    (tmp_path / "sites.csv").write_text("x")
    with pytest.raises(ContractError, match=r"outside the portfolio|missing file"):
        hourly_files.read(name, folder)


def test_a_bad_file_costs_only_the_sites_that_name_it(tmp_path, year):
    folder = written(tmp_path, year.head(10))
    row = {"postal_code": "33101", "latitude": None, "longitude": None, "climate_zone": None, "elevation_m": None}
    rows = [
        row | {"site_id": "a", "row": 2, "weather_file": "own.csv"},
        row | {"site_id": "b", "row": 3, "weather_file": None},
    ]
    schema = {"latitude": pl.Float64, "longitude": pl.Float64, "climate_zone": pl.String, "elevation_m": pl.Float64}
    sites, faults = climate.locate(pl.DataFrame(rows, schema_overrides=schema), folder)
    assert sites["site_id"].to_list() == ["b"]
    assert "its weather file cannot be used: 10 rows" in faults.filter(pl.col("table") == "sites")["message"][0]


def place(site_id: str, row: int, **given) -> dict:
    blank = dict.fromkeys(("postal_code", "latitude", "longitude", "climate_zone", "weather_file", "elevation_m"))
    return blank | {"site_id": site_id, "row": row} | given


def located(folder: Path, *places: dict) -> tuple[pl.DataFrame, pl.DataFrame]:
    number = dict.fromkeys(("latitude", "longitude", "elevation_m"), pl.Float64)
    text = dict.fromkeys(("postal_code", "climate_zone", "weather_file"), pl.String)
    return climate.locate(pl.DataFrame(list(places), schema_overrides=number | text), folder)


def test_rows_of_a_weather_file_are_not_rows_of_the_sites(tmp_path, year):
    """A bad cell in row 3 of a weather file says nothing of the site in row 3."""
    spoilt = year.with_columns(dew_point_c=pl.when(pl.int_range(pl.len()) == 1).then(99.0).otherwise("dew_point_c"))
    folder = written(tmp_path, spoilt)
    sites, faults = located(folder, place("a", 2, weather_file="own.csv"), place("b", 3, climate_zone="1A"))
    assert sites["site_id"].to_list() == ["b"]
    assert faults.select("table", "row").rows() == [("weather/own.csv", 3), ("sites", 2)]


def test_without_pressure_the_elevation_gives_it(tmp_path, year):
    """Standard atmosphere at 1609 m: 83.4 kPa [ASHRAE Fundamentals 2017 ch. 1 table 1: 84.56 at 1500, 79.50 at 2000 m]."""
    folder = written(tmp_path, year.drop("pressure_pa", "irradiance_w_m2"))
    sites, _ = located(
        folder,
        place("high", 2, weather_file="own.csv", elevation_m=1609.0),
        place("by its station", 3, weather_file="own.csv", postal_code="33101"),
        place("unknown", 4, weather_file="own.csv"),
    )
    assert sites["weather_id"].to_list() == ["file:own.csv@1609", "file:own.csv@11", "file:own.csv@0"]
    assert sites["elevation_m"][2] == 0.0  # which the loads take their pressure from
    assert sites["climate_note"][0] == (
        "the weather file has no pressure: taken from an elevation of 1609 m; "
        "the weather file has no irradiance: the sun is left out"
    )
    hours = climate.hours(sites["weather_id"].to_list(), folder)
    pressures = hours.group_by("weather_id", maintain_order=True).agg(pl.col("pressure_pa").mean() / 1000)
    assert pressures["pressure_pa"].to_list() == pytest.approx([83.4, 101.19, 101.325], abs=0.1)
    assert hours["irradiance_w_m2"].sum() == 0


def test_with_pressure_the_file_says_its_elevation(tmp_path, year):
    folder = written(tmp_path, year.with_columns(pressure_pa=pl.lit(84_560.0)))
    sites, _ = located(folder, place("a", 2, weather_file="own.csv"))
    assert sites["weather_id"].to_list() == ["file:own.csv"]
    assert sites["elevation_m"][0] == pytest.approx(1500, abs=5)
    assert sites["climate_note"][0] is None


def test_the_example_portfolio_s_own_weather_reads():
    """Its file has neither fault nor gap; no station stands beside it."""
    folder = Path(__file__).parents[2] / "portfolios" / "ferrowmere_district"
    sites, faults = located(folder, place("a", 2, weather_file="dunlin_bay.csv"))
    assert faults.is_empty()
    assert sites["station"].to_list() == [None]
    hours = climate.hours(sites["weather_id"].to_list(), folder)
    assert hours.height == 8760
    conditions = climate.design_conditions(
        sites["weather_id"].to_list(), climate.hours(sites["weather_id"].to_list(), folder)
    )
    assert conditions["station_elevation_m"].to_list() == pytest.approx(sites["elevation_m"].to_list(), abs=1)


def test_rows_in_any_order(tmp_path, year):
    """Only the calendar counts: shuffled rows make the same year."""
    written(tmp_path, year), written(tmp_path, year.sample(fraction=1.0, shuffle=True, seed=1), "shuffled.csv")
    a, b = (hourly_files.read(n, tmp_path).drop("weather_id") for n in ("own.csv", "shuffled.csv"))
    assert a.equals(b)


def test_a_leap_year(tmp_path, year):
    leap_day = year.filter((pl.col("month") == 2) & (pl.col("day") == 28)).with_columns(day=pl.lit(29, dtype=pl.Int64))
    hours = hourly_files.read("own.csv", written(tmp_path, pl.concat([year, leap_day])))
    assert hours["weight_h"].sum() == 8784


def test_dew_point_and_relative_humidity_agree(tmp_path, year):
    """Saturation pressures at 20 and 10 degC are 2338.8 and 1228.0 Pa [ASHRAE Fundamentals 2017 ch. 1 table 3], so 52.5 %."""
    still = year.with_columns(dry_bulb_c=pl.lit(20.0), dew_point_c=pl.lit(10.0))
    damp = still.drop("dew_point_c").with_columns(relative_humidity_pct=pl.lit(100 * 1228.0 / 2338.8))
    written(tmp_path, still), written(tmp_path, damp, "rh.csv")
    a, b = (hourly_files.read(n, tmp_path)["outdoor_humidity_ratio"][0] for n in ("own.csv", "rh.csv"))
    assert a == pytest.approx(b, rel=1e-3)
