"""Profiles of the hours of the day: what ships, what the owner lays over it, and what a day of a restaurant comes to."""

import csv
from pathlib import Path

import polars as pl
import pytest

from screener import climate, contracts, engine, errors, tables
from screener.contracts.hour import QUANTITIES
from screener.tables import profiles, shipped
from tests.engine_cases import STATIONS, filled, sized

SHARES = [0.0] * 11 + [1.0, 4.0, 1.0] + [0.0] * 10
HOURS = [f"hour_{hour}" for hour in range(24)]


def day(resolved: pl.DataFrame, building_type: str, quantity: str, kind: str = "working") -> list[float]:
    found = resolved.filter(building_type=building_type, quantity=quantity, day_kind=kind).select(HOURS)
    return list(found.row(0))


def own(*rows: tuple[str, str, str | None], shares: list[float] = SHARES) -> pl.DataFrame:
    made = [(*row, *shares, None) for row in rows]
    return pl.DataFrame(made, schema=contracts.load("profiles").polars_schema(), orient="row")


def test_every_type_has_a_day_of_every_quantity_with_a_source() -> None:
    resolved, types = profiles.resolved(), shipped.building_types().values["building_type"]
    assert resolved.height == len(types) * len(QUANTITIES) * 2
    assert resolved.filter(pl.col("source").str.len_chars() < 10).is_empty()


@pytest.mark.parametrize("about", shipped.building_types().values.to_dicts(), ids=lambda about: about["building_type"])
def test_the_mean_of_the_open_hours_is_kept(about: dict) -> None:
    """A profile moves people, heat and moisture about the day and adds none: reckoned hour by hour over a week."""
    resolved = profiles.resolved()
    opens, closes, week = about["opens_hour"], about["closes_hour"], about["open_days_per_week"]
    hours = [h for h in range(24) if (opens <= h < closes if closes > opens else h >= opens or h < closes)]
    for quantity in QUANTITIES[:-1]:
        days = [day(resolved, about["building_type"], quantity, "working" if d < 5 else "other") for d in range(week)]
        shares = [shares[hour] for shares in days for hour in hours]
        assert sum(shares) / len(shares) == pytest.approx(1.0, abs=1e-9), quantity


@pytest.mark.parametrize("about", shipped.building_types().values.to_dicts(), ids=lambda about: about["building_type"])
def test_there_are_never_more_people_than_at_the_peak(about: dict) -> None:
    resolved = profiles.resolved()
    for kind in ("working", "other"):
        most = max(day(resolved, about["building_type"], "people", kind))
        assert most * about["occupancy_fraction"] <= 1.0


def test_ventilation_is_a_fraction_of_the_outdoor_air_and_not_of_a_mean() -> None:
    resolved = profiles.resolved(own(("office", "ventilation", None), shares=[0.5] * 24))
    assert day(resolved, "office", "ventilation") == [0.5] * 24
    assert day(resolved, "retail", "ventilation") == [1.0] * 24


def test_the_scale_of_a_profile_is_free_and_its_rows_go_before_those_that_ship() -> None:
    """An office opens from 7 to 18: eleven hours, with six of share in all."""
    due = [share / (6 / 11) for share in SHARES]
    for scale in (1.0, 100.0):
        got = profiles.resolved(own(("office", "people", None), shares=[scale * share for share in SHARES]))
        assert day(got, "office", "people") == pytest.approx(due)
    assert day(got, "office", "lights") == day(profiles.resolved(), "office", "lights")


def test_a_row_for_one_kind_of_day_goes_before_a_row_for_all() -> None:
    rows = pl.concat([own(("retail", "people", "other")), own(("retail", "people", "all"), shares=[1.0] * 24)])
    got = profiles.resolved(rows)
    assert len(set(day(got, "retail", "people"))) == 1
    assert day(got, "retail", "people", "other")[12] == pytest.approx(4 * day(got, "retail", "people", "other")[11])


def test_a_quantity_that_is_never_there_stays_away() -> None:
    got = profiles.resolved(own(("office", "process_moisture", "all"), shares=[0.0] * 24))
    assert day(got, "office", "process_moisture") == [0.0] * 24


def test_a_type_of_the_owner_has_the_day_of_the_one_it_is_based_on() -> None:
    types = shipped.building_types().values
    bistro = types.filter(building_type="restaurant").with_columns(
        building_type=pl.lit("bistro"), based_on=pl.lit("restaurant")
    )
    got = profiles.resolved(own(("bistro", "people", None)), pl.concat([types, bistro]))
    assert day(got, "bistro", "equipment") == day(got, "restaurant", "equipment")
    assert day(got, "bistro", "people") != day(got, "restaurant", "people")


def portfolio(folder: Path, *rows: list[str]) -> Path:
    (folder / "sites.csv").write_text(
        "site_id,building_type,floor_area_m2,climate_zone,tariff_id\na,restaurant,400,2A,t\n", encoding="utf-8"
    )
    (folder / "tariffs.csv").write_text(
        "tariff_id,electricity_price_per_kwh,fuel_price_per_kwh\nt,0.12,0.04\n", encoding="utf-8"
    )
    with (folder / "profiles.csv").open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([["building_type", "quantity", "day_kind", *HOURS], *rows])
    return folder


def test_the_owner_writes_it_in_words_of_the_trade(tmp_path: Path) -> None:
    shares = [str(share) for share in SHARES]
    read = tables.read_portfolio(portfolio(tmp_path, ["Diner", "Occupancy", "Weekends", *shares]))
    assert day(read.profiles, "restaurant", "people", "other")[12] > 5
    assert day(read.profiles, "restaurant", "people") != day(profiles.resolved(), "restaurant", "people", "other")


def test_what_cannot_be_meant_is_told_all_at_once(tmp_path: Path) -> None:
    shares = [str(share) for share in SHARES]
    lacking = [*shares[:-1], ""]
    folder = portfolio(
        tmp_path,
        ["restaurant", "people", "all", *shares],
        ["restaurant", "occupants", "", *shares],
        ["tavern", "people", "all", *shares],
        ["office", "music", "all", *shares],
        ["office", "lights", "all", *lacking],
        ["office", "equipment", "all", "-1", *shares[1:]],
    )
    faults = tables.read_portfolio(folder).faults.filter(table="profiles")
    told = dict(faults.select("row", "message").iter_rows())
    assert "rows 2, 3 give the same quantity" in told[2]
    assert told[3] == told[2]
    assert "tavern" in faults.filter(row=4)["value"].item()
    assert "process_moisture" in told[5]
    assert faults.filter(row=6)["column"].item() == "hour_23"
    assert faults.filter(row=7)["column"].item() == "hour_0"


def test_a_full_restaurant_hardly_needs_reheat_and_the_empty_one_after_the_rush_a_great_deal() -> None:
    """A full restaurant at lunch has heat enough; the same room after the rush, kitchen shut, needs a great deal of reheat
    (common practice, no source): its hours over the year, a default one in Houston."""
    sites = filled([{"building_type": "restaurant", "floor_area_m2": 400.0, "station": STATIONS["Houston"]}])
    hours = climate.hours([STATIONS["Houston"]])
    name, site = "overcool_electric_reheat", sized(sites)
    begun = engine.states(site, engine.years(hours)[STATIONS["Houston"]], name)
    any_hour, damp_hour = engine.plan([name])
    worked = damp_hour.apply(any_hour.apply(begun.lazy())).collect()
    reheat = pl.when("damp").then(f"{name}.reheat_w").otherwise(0.0).mean()
    by_hour = dict(worked.group_by("hour").agg(reheat).sort("hour").iter_rows())
    after = by_hour[22.0]  # the kitchen is shut, the last guests are leaving
    assert max(by_hour[hour] for hour in (11.0, 12.0, 13.0)) < 0.25 * after
    people = dict(worked.filter(pl.col("open") > 0).group_by("hour").agg(pl.col("people_now_w").mean()).iter_rows())
    assert people[12.0] > 4 * people[22.0]


def test_a_kitchen_that_draws_more_than_its_ventilation_brings_pulls_air_in() -> None:
    """Mass of air: what leaves through hoods comes in by fans or by doors and cracks; by hand from the columns."""
    sites = filled([{"building_type": "restaurant", "floor_area_m2": 400.0, "outdoor_air_l_s": 100.0}])
    drawing = sites.with_columns(hood_exhaust_l_s_m2=2.0)  # 800 L/s while cooking at its mean
    hours = climate.hours([STATIONS["Miami"]])
    for each, hoods_l_s in ((sites.with_columns(hood_exhaust_l_s_m2=0.0), 0.0), (drawing, 800.0)):
        begun = engine.states(sized(each), engine.years(hours)[STATIONS["Miami"]], "temperature_only")
        worked = engine.plan(["temperature_only"])[0].apply(begun.lazy()).collect()
        noon = worked.filter((pl.col("hour") == 12) & (pl.col("open") > 0)).row(0, named=True)
        l_s = 1000 * noon["air_kg_s"] / noon["air_density_kg_m3"]
        leaks = 1000 * noon["infiltration_open_kg_s"] / noon["air_density_kg_m3"]
        assert l_s == pytest.approx(max(100.0 + leaks, hoods_l_s * noon["process_moisture_share"]))
        assert (l_s > 1000) == (hoods_l_s > 0)


def test_less_ventilation_at_an_hour_is_less_outdoor_air_in_every_strategy() -> None:
    half = profiles.resolved(own(("office", "ventilation", None), shares=[0.5] * 24))
    sites = filled([{"building_type": "office", "floor_area_m2": 1000.0}])
    conditions = climate.design_conditions([STATIONS["Miami"]])
    hours = engine.years(climate.hours([STATIONS["Miami"]]))[STATIONS["Miami"]]
    tables_of = pl.DataFrame(schema=contracts.load("equipment").polars_schema())
    found = []
    for days in (None, half):
        site = engine.size(sites, conditions, tables_of, days)
        any_hour, _ = engine.plan(["temperature_only"])
        worked = any_hour.apply(engine.states(site, hours, "temperature_only").lazy()).collect()
        found.append(worked["ventilation_now_kg_s"].sum())
    assert found[1] == pytest.approx(found[0] / 2)


def test_faults_of_a_whole_table_end_in_words(tmp_path: Path) -> None:
    folder = portfolio(tmp_path)
    (folder / "profiles.csv").write_text("building_type,hour_0\nrestaurant,1\n", encoding="utf-8")
    with pytest.raises(errors.ContractError) as told:
        tables.read_portfolio(folder)
    assert "quantity" in str(told.value.faults["message"].to_list()) + str(told.value.faults["column"].to_list())
