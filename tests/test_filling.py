"""Every site complete, by figures worked out by hand, and every figure with its origin."""

from pathlib import Path

import polars as pl
import pytest

from screener.assumptions.filling import SAME, SCALED, fill
from screener.contracts import load
from screener.contracts.limits import LIMIT_COLUMNS
from screener.tables import read_portfolio
from tests.tables.portfolios import SITE, sites, table, write

# A made-up type with round figures, so that the arithmetic below can be followed.
HALL = {
    "building_type": "hall",
    "based_on": "office",
    "occupants_per_100_m2": "20",
    "outdoor_air_l_s_person": "3",
    "outdoor_air_l_s_m2": "0.5",
    "infiltration_l_s_m2": "0.2",
    "infiltration_closed_l_s_m2": "0.3",
    "process_moisture_g_h_m2": "4",
    "open_case_m_per_100_m2": "2",
    "door_case_m_per_100_m2": "1.5",
    "humidity_limit_rh_pct": "55",
    "current_strategy": "standalone_dehumidifier",
}
OWN = "assumed: building_types table of the portfolio"


def filled(folder: Path, *changes: dict[str, str]) -> list[dict[str, object]]:
    halls = [{"building_type": "hall"} | change for change in changes]
    return fill(read_portfolio(write(folder, sites=sites(*halls), building_types=table(HALL)))).to_dicts()


def test_figures_per_area_become_the_sites_own(tmp_path: Path) -> None:
    _, hall = filled(tmp_path, {"floor_area_m2": "500"})
    assert hall["peak_occupants"] == pytest.approx(100)  # 20 x 5
    assert hall["outdoor_air_l_s"] == pytest.approx(550)  # 3 x 100 + 0.5 x 500 [ASHRAE 62.1-2019 eq. 6-1]
    assert hall["process_moisture_kg_h"] == pytest.approx(2)  # 4 g x 500
    assert (hall["open_case_length_m"], hall["door_case_length_m"]) == pytest.approx((10, 7.5))
    assert (hall["infiltration_l_s_m2"], hall["infiltration_closed_l_s_m2"]) == (0.2, 0.3)
    assert (hall["humidity_limit_rh_pct"], hall["humidity_limit_dew_point_c"]) == (55, None)
    assert hall["current_strategy"] == "standalone_dehumidifier"
    assert hall["cooling_capacity_kw"] is None
    assert hall["peak_occupants_origin"] == hall["outdoor_air_l_s_origin"] == OWN
    assert hall["humidity_limit_rh_pct_origin"] == OWN
    assert hall["humidity_limit_dew_point_c_origin"] is None


def test_office_of_5000_ft2_has_425_cfm(tmp_path: Path) -> None:
    # Worked example of the ventilation rate procedure: 25 persons x 5 cfm + 5000 ft2 x 0.06 cfm/ft2
    # [ASHRAE 62.1-2019 table 6-1, office space]; the shipped figures are rounded to five places.
    change = {"building_type": "office", "floor_area_m2": "", "floor_area_ft2": "5000"}
    _, office = filled(tmp_path, change)
    assert office["peak_occupants"] == pytest.approx(25, rel=1e-3)
    assert office["outdoor_air_l_s"] == pytest.approx(425 * 0.4719474, rel=1e-3)
    assert str(office["outdoor_air_l_s_origin"]).count("ASHRAE 62.1") == 2


def test_what_a_site_gives_stays_and_carries_through(tmp_path: Path) -> None:
    given = {"peak_occupants": "10", "infiltration_l_s_m2": "0.4", "humidity_limit_dew_point_f": "50"}
    _, hall = filled(tmp_path, given)
    assert hall["outdoor_air_l_s"] == pytest.approx(530)  # 3 x 10 + 0.5 x 1000
    assert hall["infiltration_closed_l_s_m2"] == pytest.approx(0.6)  # the type's 0.3 / 0.2 kept
    assert hall["humidity_limit_dew_point_c"] == pytest.approx(10)
    assert hall["humidity_limit_rh_pct"] is None
    origins = [hall[f"{name}_origin"] for name in ("peak_occupants", "infiltration_l_s_m2", *LIMIT_COLUMNS)]
    assert origins == ["given", "given", "converted", None]


def test_zero_area_has_no_loads_of_area(tmp_path: Path) -> None:
    _, hall = filled(tmp_path, {"floor_area_m2": "0"})
    names = ("peak_occupants", "outdoor_air_l_s", "process_moisture_kg_h", "open_case_length_m", "door_case_length_m")
    assert [hall[name] for name in names] == [0.0] * 5


def test_every_shipped_type_fills_a_bare_site(tmp_path: Path) -> None:
    types = read_portfolio(write(tmp_path / "types")).building_types["building_type"].to_list()
    rows = [SITE | {"site_id": name, "building_type": name} for name in types]
    frame = fill(read_portfolio(write(tmp_path / "bare", sites=table(*rows))))
    assert frame["site_id"].to_list() == types
    figures = [name for name in load("building_types").columns if name not in ("based_on", *LIMIT_COLUMNS)]
    needed = list(dict.fromkeys([*figures, *SAME, *SCALED]))
    assert frame.select(pl.col(needed).null_count()).row(0) == (0,) * len(needed)
    assert frame.select(limits=pl.sum_horizontal(pl.col(LIMIT_COLUMNS).is_not_null()))["limits"].to_list() == [1] * len(
        types
    )
    assumed = [f"{name}_origin" for name in (*SAME, *SCALED)]
    assert frame.select(pl.all_horizontal(pl.col(assumed).str.starts_with("assumed: ")).all()).item()


def test_name_falls_back_to_the_id(tmp_path: Path) -> None:
    assert [row["name"] for row in filled(tmp_path, {"name": "Town hall"})] == ["A", "Town hall"]
