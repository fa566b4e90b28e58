"""Ratings that Carnot's law forbids are refused in words, row by row; good ones stay."""

import pytest

from screener.errors import describe
from screener.tables import read_portfolio

HEADER = (
    "equipment_id,strategy,litres_per_kwh,rating_dry_bulb_c,rating_rh_pct,sensible_effectiveness,latent_effectiveness"
)
TYPES = "building_type,based_on,rated_sensible_heat_ratio,supply_air_l_s_kw,fan_power_w_l_s,cooling_cop\n"
SITES = "site_id,building_type,floor_area_m2,postal_code,tariff_id,current_strategy,equipment_id\n"
TARIFFS = "tariff_id,electricity_price_per_kwh,fuel_price_per_kwh\nt,0.12,0.04\n"


def folder(tmp_path, *machines: str):
    rows = "\n".join([HEADER, *machines])
    (tmp_path / "equipment.csv").write_text(rows + "\n", encoding="utf-8")
    (tmp_path / "tariffs.csv").write_text(TARIFFS, encoding="utf-8")
    names = [machine.split(",")[:2] for machine in machines]
    sites = "".join(f"of_{own},retail,2000,33101,t,{strategy},{own}\n" for own, strategy in names)
    (tmp_path / "sites.csv").write_text(f"{SITES}other,retail,2000,33101,t,,\n{sites}", encoding="utf-8")
    return tmp_path


def test_all_impossible_ratings_are_told_at_once(tmp_path):
    """10 L/kWh for an outdoor-air unit gave negative energy; between its temperatures 4.3 are possible, behind a wheel 5.3; a
    standalone unit rated in dry heat lifts heat from a dew point far below."""
    machines = [
        "A,outdoor_air_dehumidifier,10,,,,",
        "B,outdoor_air_dehumidifier_with_recovery,6,,,,",
        "C,standalone_dehumidifier,9.9,45,5,,",
        "D,outdoor_air_dehumidifier,2.2,,,,",
        "E,standalone_dehumidifier,3.5,22.8,60,,",
        "F,outdoor_air_dehumidifier_with_recovery,4.5,,,,",
    ]
    portfolio = read_portfolio(folder(tmp_path, *machines))
    told = portfolio.faults.filter(portfolio.faults["table"] == "equipment")
    assert told.select("row", "column", "value").rows() == [
        (2, "litres_per_kwh", "10"),
        (3, "litres_per_kwh", "6"),
        (4, "litres_per_kwh", "9.9"),
    ]
    words = describe(told)
    assert "beyond Carnot: between its temperatures a machine that loses nothing takes 4.3 L/kWh" in words
    assert "takes 5.3 L/kWh" in words
    assert "Give the rated water per kilowatt-hour (2 to 4 are usual), or leave it empty." in words
    assert portfolio.equipment["equipment_id"].to_list() == ["D", "E", "F"]
    assert sorted(portfolio.sites["site_id"]) == ["of_D", "of_E", "of_F", "other"]
    assert sorted(portfolio.rejects.drop_nulls("site_id")["site_id"]) == ["of_A", "of_B", "of_C"]


@pytest.mark.parametrize(("rated", "refused"), [("4.27", False), ("4.28", True)])
def test_the_bound_of_an_outdoor_air_unit(tmp_path, rated, refused):
    """4.277 L/kWh with the whole of Carnot's efficiency between its refrigerant's temperatures, and its fan."""
    portfolio = read_portfolio(folder(tmp_path, f"A,outdoor_air_dehumidifier,{rated},,,,"))
    assert portfolio.equipment.is_empty() == refused


def test_a_device_of_less_than_a_litre_a_day_is_refused(tmp_path):
    path = folder(tmp_path, "A,standalone_dehumidifier,3,,,,")
    table = "equipment_id,strategy,capacity_l_day\nA,standalone_dehumidifier,0.4\n"
    (path / "equipment.csv").write_text(table, encoding="utf-8")
    portfolio = read_portfolio(path)
    assert "0.4" in describe(portfolio.faults)
    assert portfolio.sites["site_id"].to_list() == ["other"]


def test_offers_are_held_to_the_same_law(tmp_path):
    path = folder(tmp_path, "A,standalone_dehumidifier,3,,,,")
    offer = "offer_id,strategy,litres_per_kwh,investment_fixed\nq,outdoor_air_dehumidifier,10,5000\n"
    (path / "offers.csv").write_text(offer, encoding="utf-8")
    portfolio = read_portfolio(path)
    assert "offers: beyond Carnot" in describe(portfolio.faults)
    assert {*portfolio.sites["site_id"]} == {"of_A", "other"}


def test_a_sensible_heat_ratio_that_no_saturated_air_has_is_refused(tmp_path):
    """At 0.55 the coil came out with a fifth of its capacity, and nothing was said. 0.58 is the least beside the usual fan, whose
    heat the coil takes too: with five times that fan 0.52 can be, but leaves the compressor less power than Carnot's."""
    rows = [
        "low,retail,0.55,,,",
        "least,retail,0.58,,,",
        "hot_fan,retail,0.52,,3.9,",
        "plain,retail,0.72,,,",
        "fan,retail,,,0,5.6",
    ]
    (tmp_path / "building_types.csv").write_text(TYPES + "\n".join(rows), encoding="utf-8")
    (tmp_path / "tariffs.csv").write_text(TARIFFS, encoding="utf-8")
    sites = "".join(f"of_{row.split(',')[0]},{row.split(',')[0]},2000,33101,t,,\n" for row in rows)
    (tmp_path / "sites.csv").write_text(SITES + sites, encoding="utf-8")
    portfolio = read_portfolio(tmp_path)
    told = portfolio.faults.filter(portfolio.faults["table"] == "building_types")
    assert told.select("row", "column", "rule", "value").rows() == [
        (2, "rated_sensible_heat_ratio", "no apparatus dew point", "0.55"),
        (4, "fan_power_w_l_s", "beyond Carnot", "3.9"),
    ]
    assert "so no coil does; at least 0.58 is possible and 0.68 to 0.8 are usual" in told["message"][0]
    assert sorted(portfolio.sites["site_id"]) == ["of_fan", "of_least", "of_plain"]


def test_an_efficiency_beyond_carnot_beside_the_fan_of_its_type_is_refused(tmp_path):
    """A fan of 2 W per L/s at 50 L/s per kW takes 100 W of the 179 W that a net kilowatt may cost at COP 5.6; the rest would have
    to bring 1.1 kW across 37 K, which takes 140 W at least."""
    (tmp_path / "building_types.csv").write_text(TYPES + "own,retail,,,2,3.2", encoding="utf-8")
    (tmp_path / "tariffs.csv").write_text(TARIFFS, encoding="utf-8")
    header = "site_id,building_type,floor_area_m2,postal_code,tariff_id,cooling_cop\n"
    rows = "A,own,2000,33101,t,5.6\nB,own,2000,33101,t,\nC,retail,2000,33101,t,5.6\n"
    (tmp_path / "sites.csv").write_text(header + rows, encoding="utf-8")
    portfolio = read_portfolio(tmp_path)
    assert portfolio.faults.select("row", "site_id", "column", "rule").rows() == [
        (2, "A", "cooling_cop", "beyond Carnot")
    ]
    assert sorted(portfolio.sites["site_id"]) == ["B", "C"]
