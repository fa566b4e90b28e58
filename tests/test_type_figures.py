"""Figures that a site has by its building type alone are shown with their source: explain and the page of a site."""

from screener.assumptions.filling import SCALED
from screener.contracts import load
from screener.contracts.limits import LIMIT_COLUMNS
from screener.explain import origins_of_type
from screener.tables import shipped
from tests.engine_cases import filled

STORE = {"building_type": "convenience_store", "floor_area_m2": 280.0}


def test_every_figure_of_the_type_is_told_with_its_source() -> None:
    """All columns of building types but those that become the site's own figures, by name or by floor area and people."""
    site = filled([STORE]).row(0, named=True)
    told = origins_of_type(site)
    sites = load("sites").columns
    scaled = {name for each in SCALED.values() for name in each.sources}
    there = {name for name, value in site.items() if value is not None}
    assert {*told} == (({*load("building_types").columns} - {*sites} - scaled - {*LIMIT_COLUMNS, "based_on"}) & there)
    assert told["internal_gain_w_m2"].startswith("assumed: common practice, no source: lights 10, coffee")
    assert "EIA CBECS 2003" in told["internal_gain_w_m2"]
    assert "Emmerich, Persily 2005" in told["infiltration_closed_l_s_m2"]


def test_figures_of_the_portfolio_are_told_apart() -> None:
    """A row of the owner's building types, and a leakage of the site's own, which the closed hours follow."""
    site = filled([STORE | {"infiltration_l_s_m2": 0.5}]).row(0, named=True)
    told = origins_of_type(site | {"building_type": "kiosk", "based_on": "convenience_store", "envelope_w_k_m2": 2.0})
    assert told["envelope_w_k_m2"] == shipped.OWN_SOURCE
    assert told["infiltration_closed_l_s_m2"] == ("assumed: infiltration_l_s_m2 in the proportion of the building type")
