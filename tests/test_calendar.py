"""Open days, closed months, holidays and the weekdays of a year, against the calendar of Python's standard library."""

import datetime
import json

import polars as pl
import pytest
from polars import selectors

from screener import calendar, climate, engine, pipeline
from screener.contracts.hour import SHARES
from screener.loads import at_rest, site_terms
from screener.sizing import design_hours
from screener.strategies import REFERENCE
from tests.engine_cases import STATIONS, accounts, filled, sized
from tests.test_cli import screener

CHURCH = {"building_type": "retail", "floor_area_m2": 900.0, "station": STATIONS["Miami"]}


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("Mon-Fri", [0, 1, 2, 3, 4]),
        ("Sunday", [6]),
        ("Sundays, Wed", [2, 6]),
        ("Tue, Thu and Sat to Sun", [1, 3, 5, 6]),
        ("fri-mon", [0, 4, 5, 6]),
        ("Weekdays; sat.", [0, 1, 2, 3, 4, 5]),
        ("daily, holidays", [0, 1, 2, 3, 4, 5, 6, 7]),
        ("1111101", [0, 1, 2, 3, 4, 6]),
        ("00000011", [6, 7]),
        ("Mo-Tu", [0, 1]),
        ("", None),
        ("M-F", None),
        ("111110", None),
        ("Mon-holidays", None),
        ("when the owner likes", None),
    ],
)
def test_days_as_people_write_them(text, found):
    assert calendar.days(text) == found


@pytest.mark.parametrize("year", [None, 2023, 2025, 2026])
def test_weekdays_of_a_year(year):
    """The standard library's calendar; without a year 1 January is the Monday of 2018."""
    dates = calendar.Dates(year, ("07-04",))
    hours = engine.dated(climate.hours([STATIONS["Miami"]]), dates)
    first = datetime.date(year or 2018, 1, 1)
    for number, (month, day, week) in enumerate(hours.select("month", "day", "day_of_week").rows()[::24]):
        at = first + datetime.timedelta(number)
        assert (at.month, at.day) == (month, day)
        assert week == (calendar.HOLIDAY if (month, day) == (7, 4) else at.weekday())
    kinds = hours.filter((pl.col("month") == 7) & (pl.col("day") == 4)).select(calendar.of_slot(pl.col("slot"))[1])
    assert kinds["day_kind"].unique().to_list() == ["other"]


def open_hours(row: dict, dates: calendar.Dates) -> pl.DataFrame:
    hours = engine.dated(climate.hours([STATIONS["Miami"]]), dates)
    site = at_rest(sized(filled([CHURCH | row])))
    known = engine.by_the_hour(site.join(hours, on="weather_id")).drop(SHARES.values())
    return engine.plan([REFERENCE.name])[0].apply(known.lazy()).collect()


def test_open_as_the_site_says():
    dates = calendar.Dates(2025, ("12-25",))
    row = {"open_days": "Sun, Wed", "closed_months": "7-8", "opens_hour": 9.0, "closes_hour": 12.0}
    worked = open_hours(row, dates)
    due = [
        day
        for number in range(365)
        if (day := datetime.date(2025, 1, 1) + datetime.timedelta(number)).weekday() in (2, 6)
        and day.month not in (7, 8)
    ]
    found = worked.filter(pl.col("open") == 1).select("month", "day", "hour").sort(pl.all()).rows()
    assert found == [(day.month, day.day, hour) for day in due for hour in (9, 10, 11)]


def test_closed_on_holidays_unless_named():
    dates = calendar.Dates(2025, ("12-24", "12-25"))
    days = [open_hours({"open_days": text}, dates)["open"].sum() for text in ("daily", "daily, holidays")]
    hours = (sized(filled([CHURCH])).select(pl.col("closes_hour") - pl.col("opens_hour"))).item()
    assert days[1] - days[0] == 2 * hours


def test_counted_days_are_the_same_as_named_ones():
    """Nothing moves where names say what the number said, to the last bit."""
    named, _ = accounts(filled([CHURCH | {"open_days": "Mon-Fri"}]))
    counted, _ = accounts(filled([CHURCH | {"open_days_per_week": 5}]))
    assert named.equals(counted)


def test_how_many_days_is_said():
    used = filled([CHURCH | {"open_days": "Sat, Sun, holidays"}, CHURCH])
    assert used["open_days_per_week"].to_list()[0] == 2
    assert used["open_days_per_week_origin"].str.head(9).to_list() == ["converted", "assumed: "]


def test_sized_for_a_day_it_opens():
    """A site that opens on Sundays alone is sized for people and air, not for a closed Monday."""
    sites = filled([CHURCH | {"open_days": "Sun"}, CHURCH | {"open_days": "Mon"}])
    conditions = climate.design_conditions([STATIONS["Miami"]])
    assert design_hours(sites, conditions)["day_bit"].unique().sort().to_list() == [1.0, 64.0]
    found = sized(sites)
    assert found["cooling_capacity_kw"][0] == found["cooling_capacity_kw"][1]
    assert site_terms(sites)["closed_months_bits"].to_list() == [0.0, 0.0]


def test_a_closed_summer_saves():
    """A school shut in July and August, as schools are unless they say none, takes less in these months than one that is open,
    with any strategy."""
    school = {"building_type": "school", "floor_area_m2": 3000.0, "station": STATIONS["Houston"]}
    _, ledger = accounts(filled([school | {"closed_months": "none"}, school]))
    used = selectors.ends_with(".electricity_kwh")
    summer = (
        ledger.filter(pl.col("month").is_in([7, 8])).group_by("site_id").agg(used.sum()).sort("site_id").drop("site_id")
    )
    always, shut = summer.rows()
    assert all(less < more or less == more == 0 for less, more in zip(shut, always, strict=True))
    assert shut[0] > 0


def test_closed_months_of_a_building_type(tmp_path):
    """Schools' own, a type of the owner's own, a site's own word against both, and a word that is none."""
    types = "building_type,based_on,closed_months\ncamp,school,Sep to May\nresort,retail,winter\n"
    rows = ["A,school,", "B,school,none", "C,camp,", "D,camp,12", "E,office,", "F,school,summer"]
    header = "site_id,building_type,closed_months,floor_area_m2,climate_zone,tariff_id\n"
    (tmp_path / "building_types.csv").write_text(types, encoding="utf-8")
    (tmp_path / "sites.csv").write_text(header + "".join(f"{row},1000,2A,t\n" for row in rows), encoding="utf-8")
    (tmp_path / "tariffs.csv").write_text(
        "tariff_id,electricity_price_per_kwh,fuel_price_per_kwh\nt,0.12,0.04\n", encoding="utf-8"
    )
    portfolio, sites = pipeline.check(tmp_path)
    found = calendar.open_bits(sites).select("site_id", "closed_months_bits").rows()
    assert found == [
        ("A", calendar.bits([7, 8])),
        ("B", 0.0),
        ("C", calendar.bits([9, 10, 11, 12, 1, 2, 3, 4, 5])),
        ("D", calendar.bits([12])),
        ("E", 0.0),
    ]
    assert sites["closed_months_origin"].str.head(8).to_list() == ["assumed:", "given", "assumed:", "given", "assumed:"]
    wrong = portfolio.faults.select("table", "row", "column", "value").rows()
    assert wrong == [("building_types", 3, "closed_months", "winter"), ("sites", 7, "closed_months", "summer")]


def test_from_the_tables_to_explain(tmp_path):
    """The workbook's own words go through: Sundays only, a holiday on one of them, and `explain` works the same year again."""
    folder = tmp_path / "chapels"
    folder.mkdir()
    header = "site_id,building_type,floor_area_ft2,climate_zone,tariff_id,open_days,closed_months"
    rows = ["A,retail,9000,2A,t,Sunday,1 to 2", "B,retail,9000,2A,t,1111111,"]
    (folder / "sites.csv").write_text("\n".join([header, *rows]) + "\n", encoding="utf-8")
    (folder / "tariffs.csv").write_text(
        "tariff_id,electricity_price_per_kwh,fuel_price_per_kwh\nt,0.12,0.04\n", encoding="utf-8"
    )
    settings = 'calendar_year = 2027\nholidays = ["07-04", "12-25"]\n'  # 4 July 2027 is a Sunday
    (folder / "portfolio.toml").write_text(settings, encoding="utf-8")
    out = tmp_path / "run"
    assert screener("run", folder, "--out", out).exit_code == 0
    shut, opened = (
        json.loads(screener("explain", out, "--site", "A", "--at", at, "--json").stdout)
        for at in ("07-04T12", "07-11T12")
    )
    assert shut["checks"]["agree"]
    assert opened["checks"]["agree"]
    people = [each["hour"]["heat_w"]["people"] for each in (shut, opened)]
    assert people[0] == 0.0 < people[1]
    settings = 'holidays = ["02-30"]\ncalendar_year = "this"\n'
    (folder / "portfolio.toml").write_text(settings, encoding="utf-8")
    told = screener("check", folder)
    assert told.exit_code == 3
    assert "a list of months and days" in told.output
    assert "a year, such as 2026" in told.output
