"""A site heated by racks must have cases."""

from screener.errors import describe
from screener.tables import read_portfolio

SITES = """site_id,building_type,floor_area_m2,postal_code,tariff_id,heating_source,open_case_length_m,cannot_have
store,supermarket,4000,33101,t,heat reclaim,,
shop,retail,2000,33101,t,reclaimed,,
cold,retail,2000,33101,t,reclaimed,20,
self,supermarket,4000,33101,t,reclaimed,,self-contained cases
"""


def test_heated_by_racks_it_has_none_of(tmp_path):
    (tmp_path / "sites.csv").write_text(SITES, encoding="utf-8")
    (tmp_path / "tariffs.csv").write_text("tariff_id,electricity_price_per_kwh\nt,0.12\n", encoding="utf-8")
    portfolio = read_portfolio(tmp_path)
    assert portfolio.sites["site_id"].to_list() == ["store", "cold"]
    assert portfolio.sites["heating_source"].to_list() == ["reclaimed", "reclaimed"]
    words = describe(portfolio.faults)
    assert 'row 3, heating_source, "reclaimed": heated by the racks of its display cases, but it has no cases' in words
    assert 'row 5, cannot_have, "self-contained cases": racks heat the site, says heating_source' in words
    assert "give open_case_length_m or door_case_length_m, or another heating_source" in words
