"""The example portfolios read as plain text: complete, credible, in the units their headers say."""

import csv
import tomllib
from itertools import pairwise
from pathlib import Path

import pytest

PORTFOLIOS = Path(__file__).parents[1] / "portfolios"
FOOD, DISTRICT = PORTFOLIOS / "oddlebrook_foods", PORTFOLIOS / "ferrowmere_district"
BOTH = pytest.mark.parametrize("folder", [FOOD, DISTRICT], ids=lambda f: f.name)

PLACE = {"postal_code", "latitude", "longitude", "climate_zone", "weather_file"}
REQUIRED = {"site_id", "building_type", "floor_area_ft2", "floor_area_m2", "tariff_id"}
STRATEGIES = {
    "",
    "temperature_only",
    "overcool_electric_reheat",
    "overcool_fuel_reheat",
    "overcool_condenser_reheat",
    "standalone_dehumidifier",
    "outdoor_air_dehumidifier",
}
COOLEST_DEFAULT_C = 22.2  # set point of a food store that gives none
SI_ENDINGS = ("_m2", "_c", "_l_s", "_l_s_m2", "_m", "_kw", "_kg_h", "_cop")
US_ENDINGS = ("_ft2", "_f", "_cfm", "_cfm_ft2", "_ft", "_tons", "_btu_h", "_lb_h", "_eer")

# IECC climate zone map by postal area [metadata of the open-source package eeweather 0.3.30, Apache-2.0].
ZONE_OF_POSTAL_CODE = {
    "1A": "33015 33030 33076",
    "2A": "32219 32305 34233 36505 36527 36530 36549 36562 36564 36568 36576 36580 36603 77015 77076 78203 78215",
    "2B": "85375",
    "3A": "30075 30903 31030 31201 76248",
    "3B": "89118 90063",
    "3C": "93110 94005",
    "4A": "20705 20778 21206 21850",
    "4B": "88434",
    "4C": "98104 98362",
    "5A": "60469 60631 60656 62688",
    "5B": "80829",
    "6A": "55038 55102",
    "6B": "59101",
    "7": "55706 55709",
}

# Average commercial price of electricity, 2023, cents/kWh [EIA]; the largest state of a tariff that spans several.
EIA_2023_CENTS = {
    "florida_general": 11.95,
    "georgia_general": 10.70,
    "texas_general": 8.82,
    "california_general": 23.91,
    "midwest_general": 11.24,
    "northwest_general": 9.92,
}


def _rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def _sites(folder: Path) -> list[dict[str, str]]:
    return _rows(folder / "sites.csv")


def _zones(folder: Path) -> dict[str, str]:
    """Zone by site, where the place says it: by postal code, else as stated."""
    zone_of = {code: zone for zone, codes in ZONE_OF_POSTAL_CODE.items() for code in codes.split()}
    found = {s["site_id"]: zone_of[s["postal_code"]] if s["postal_code"] else s["climate_zone"] for s in _sites(folder)}
    return {site: zone for site, zone in found.items() if zone}


def _celsius(site: dict[str, str], column: str) -> float | None:
    if site.get(f"{column}_c"):
        return float(site[f"{column}_c"])
    return (float(site[f"{column}_f"]) - 32) / 1.8 if site.get(f"{column}_f") else None


def _empty_share(folder: Path) -> float:
    cells = [text for s in _sites(folder) for column, text in s.items() if column not in PLACE | REQUIRED]
    return cells.count("") / len(cells)


@BOTH
def test_site_ids_are_unique_and_no_row_is_ragged(folder: Path) -> None:
    sites = _sites(folder)
    assert len({s["site_id"] for s in sites}) == len(sites)
    assert not any(None in s or None in s.values() for s in sites)


def test_the_food_chain_has_its_kinds_of_building() -> None:
    types = [s["building_type"] for s in _sites(FOOD)]
    assert len(types) >= 55
    assert types.count("supermarket") > types.count("convenience_store") > types.count("restaurant") >= 3
    assert (types.count("commissary"), types.count("office")) == (1, 1)


def test_the_district_has_schools_offices_and_a_library() -> None:
    types = [s["building_type"] for s in _sites(DISTRICT)]
    assert set(types) == {"school", "office", "library_archive"}
    assert 12 <= len(types) <= 16


def test_the_food_chain_spans_at_least_twelve_climate_zones() -> None:
    assert len(set(_zones(FOOD).values())) >= 12


def test_stated_zones_agree_with_the_postal_code_save_one_on_purpose() -> None:
    stated = {s["site_id"]: s["climate_zone"] for f in (FOOD, DISTRICT) for s in _sites(f) if s["climate_zone"]}
    zones = _zones(FOOD) | _zones(DISTRICT)
    assert [site for site, zone in stated.items() if zones[site] != zone] == ["SC-06"]


def test_every_way_of_naming_a_place_is_used() -> None:
    sites = _sites(FOOD) + _sites(DISTRICT)
    by_zone_alone = [s for s in sites if s["climate_zone"] and not s["postal_code"] and not s["latitude"]]
    assert sum(bool(s["postal_code"]) for s in sites) > 20
    assert sum(bool(s["latitude"]) and not s["postal_code"] for s in sites) > 10
    assert len(by_zone_alone) > 5
    assert sum(bool(s.get("weather_file")) for s in sites) == 1


@BOTH
def test_every_site_has_a_place(folder: Path) -> None:
    nowhere = [s["site_id"] for s in _sites(folder) if not any(s.get(column) for column in PLACE)]
    assert nowhere == []


def test_about_a_third_of_the_optional_cells_are_empty() -> None:
    assert 0.28 <= _empty_share(FOOD) <= 0.40
    assert 0.15 <= _empty_share(DISTRICT) <= 0.40


def test_one_portfolio_is_in_us_units_and_one_in_si() -> None:
    food, district = set(_sites(FOOD)[0]), set(_sites(DISTRICT)[0])
    assert sum(c.endswith(US_ENDINGS) for c in food) >= 12
    assert sum(c.endswith(SI_ENDINGS) for c in food) == 0
    assert sum(c.endswith(SI_ENDINGS) for c in district) >= 6
    assert sum(c.endswith(US_ENDINGS) for c in district) == 0


@BOTH
def test_references_resolve(folder: Path) -> None:
    sites = _sites(folder)
    equipment = _rows(folder / "equipment.csv") if (folder / "equipment.csv").exists() else []
    tariffs = {t["tariff_id"] for t in _rows(folder / "tariffs.csv")}
    assert {s["tariff_id"] for s in sites} == tariffs
    assert {s.get("equipment_id", "") for s in sites} - {""} == {e["equipment_id"] for e in equipment}
    assert {s["current_strategy"] for s in sites} <= STRATEGIES
    for site in sites:
        assert not site.get("weather_file") or (folder / "weather" / site["weather_file"]).is_file()


def test_equipment_belongs_to_the_strategy_of_its_sites() -> None:
    strategy_of = {e["equipment_id"]: e["strategy"] for e in _rows(FOOD / "equipment.csv")}
    for site in _sites(FOOD):
        if site["equipment_id"]:
            assert strategy_of[site["equipment_id"]] == site["current_strategy"], site["site_id"]


def test_the_food_chain_controls_humidity_in_many_ways() -> None:
    used = [s["current_strategy"] for s in _sites(FOOD)]
    assert min(used.count(name) for name in STRATEGIES - {"outdoor_air_dehumidifier"}) >= 3


@BOTH
def test_set_points_stand_in_order(folder: Path) -> None:
    for site in _sites(folder):
        cooling, heating = _celsius(site, "cooling_setpoint"), _celsius(site, "heating_setpoint")
        dew_point = _celsius(site, "humidity_limit_dew_point")
        assert cooling is None or 18 <= cooling <= 25, site["site_id"]
        assert heating is None or 16 <= heating <= (cooling or COOLEST_DEFAULT_C), site["site_id"]
        assert dew_point is None or dew_point < (cooling or COOLEST_DEFAULT_C), site["site_id"]


@BOTH
def test_installed_cooling_is_credible(folder: Path) -> None:
    """10 to 26 m2 per kW for schools and offices, 160-1000 ft2 per ton for food: common practice, no source."""
    for site in _sites(folder):
        if site.get("cooling_capacity_kw"):
            assert 9 <= float(site["floor_area_m2"]) / float(site["cooling_capacity_kw"]) <= 26, site["site_id"]
        if site.get("cooling_capacity_tons"):
            assert 150 <= float(site["floor_area_ft2"]) / float(site["cooling_capacity_tons"]) <= 1050, site["site_id"]


def test_supermarkets_use_electricity_like_measured_ones() -> None:
    """CBECS 2003, food sales: 49.4 kWh/ft2-yr in total; a fleet's mean within 15 % of it."""
    known = [s for s in _sites(FOOD) if s["building_type"] == "supermarket" and s["annual_electricity_kwh"]]
    kwh = sum(float(s["annual_electricity_kwh"]) for s in known)
    assert kwh / sum(float(s["floor_area_ft2"]) for s in known) == pytest.approx(49.4, rel=0.15)


@pytest.mark.parametrize("tariff_id", EIA_2023_CENTS)
def test_a_tariff_comes_near_the_average_price_of_its_state(tariff_id: str) -> None:
    """Energy and demand together at a load factor of 0.65 (stores, practice) within 12 % of the state's average."""
    tariff = next(t for t in _rows(FOOD / "tariffs.csv") if t["tariff_id"] == tariff_id)
    energy, demand = float(tariff["electricity_price_per_kwh"]), float(tariff["demand_price_per_kw"])
    own, days = energy, {"working": 5 / 7, "other": 2 / 7, "all": 1.0}
    for window in _rows(FOOD / "tariff_periods.csv"):
        if window["tariff_id"] == tariff_id:
            first, last = window["months"].split("-")
            months = (int(last) - int(first)) % 12 + 1
            hours = (int(window["to_hour"]) - int(window["from_hour"])) % 24
            share = months / 12 * days[window["day_kind"]] * hours / 24
            energy += share * (float(window["electricity_price_per_kwh"] or own) - own)
            demand += months / 12 * float(window["demand_price_per_kw"] or 0)
    price = energy + demand / (0.65 * 8760 / 12)
    assert 100 * price == pytest.approx(EIA_2023_CENTS[tariff_id], rel=0.12)


def test_the_proposed_tariffs_are_for_the_same_sites_and_mostly_the_same() -> None:
    for table in ("tariffs.csv", "tariff_periods.csv"):
        assert (FOOD / "new_tariffs" / table).read_text() != (FOOD / table).read_text()
    now, proposed = ({t["tariff_id"]: t for t in _rows(f / "tariffs.csv")} for f in (FOOD, FOOD / "new_tariffs"))
    assert now.keys() == proposed.keys()
    assert [name for name in now if now[name] != proposed[name]] == ["florida_general", "texas_general"]


def test_some_emission_factors_are_left_to_the_settings() -> None:
    blank = [t["tariff_id"] for t in _rows(FOOD / "tariffs.csv") if not t["electricity_kg_co2_per_kwh"]]
    assert 0 < len(blank) < len(EIA_2023_CENTS)
    assert "electricity_kg_co2_per_kwh" in tomllib.loads((FOOD / "portfolio.toml").read_text(encoding="utf-8"))


@BOTH
def test_the_folder_says_it_is_invented_and_what_its_settings_are(folder: Path) -> None:
    assert "invented" in (folder / "README.md").read_text(encoding="utf-8")
    settings = tomllib.loads((folder / "portfolio.toml").read_text(encoding="utf-8"))
    assert {"name", "currency", "discount_rate", "study_years"} <= set(settings)


def test_the_weather_file_is_a_whole_damp_year() -> None:
    hours = _rows(DISTRICT / "weather" / "dunlin_bay.csv")
    keys = [(int(h["month"]), int(h["day"]), int(h["hour"])) for h in hours]
    dry, dew = [[float(h[c]) for h in hours] for c in ("dry_bulb_c", "dew_point_c")]
    sun = [float(h["irradiance_w_m2"]) for h in hours]
    assert len(keys) == 8760
    assert all(early < late for early, late in pairwise(keys))
    assert all(d <= t for d, t in zip(dew, dry, strict=True))
    assert all(s == 0 for s, (_, _, hour) in zip(sun, keys, strict=True) if hour < 4 or hour > 20)
    # Mobile, typical year [TMY3]: means 19.2 and 14.0 degC, 1 640 kWh/m2; an island is milder and damper.
    assert sum(dry) / 8760 == pytest.approx(19.2, abs=1.5)
    assert sum(dew) / 8760 == pytest.approx(14.0, abs=2.0)
    assert sum(sun) / 1000 == pytest.approx(1640, rel=0.15)
