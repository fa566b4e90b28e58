"""Fog on door glass and frost on goods: thresholds against psychrolib, hours against dew points counted one by one."""

import polars as pl
import psychrolib
import pytest

from screener import climate
from screener.formula import plain
from screener.physics import case_surfaces
from tests.engine_cases import STATIONS, accounts, filled, in_sequence

psychrolib.SetUnitSystem(psychrolib.SI)
SEA, HIGH = 101_325.0, 84_000.0
DRY = 0.0025  # [kg/kg] air from a case's coil, practice


@pytest.mark.parametrize("pressure_pa", [SEA, HIGH])
@pytest.mark.parametrize("glass_c", [15.0, 11.0, -3.0])
def test_glass_fogs_from_its_own_temperature_as_dew_point_on(glass_c: float, pressure_pa: float) -> None:
    """psychrolib finds dew points to a thousandth of a kelvin."""
    ratio = plain(case_surfaces.fog_humidity_ratio(glass_c, pressure_pa))
    assert psychrolib.GetTDewPointFromHumRatio(22.0, ratio, pressure_pa) == pytest.approx(glass_c, abs=0.003)


@pytest.mark.parametrize(("goods_c", "share"), [(-1.0, 0.14), (-1.0, 1.0), (-5.0, 0.3)])
def test_frost_forms_where_the_air_at_the_goods_is_saturated_over_ice(goods_c: float, share: float) -> None:
    """Air of the store and of the coil mixed by hand; all of it air of the store: frost from the goods' own temperature on."""
    ratio = plain(case_surfaces.frost_humidity_ratio(goods_c, share, DRY, SEA))
    at_goods = share * ratio + (1 - share) * DRY
    assert psychrolib.GetTDewPointFromHumRatio(5.0, at_goods, SEA) == pytest.approx(goods_c, abs=0.003)


def test_goods_colder_than_the_coils_air_frost_in_any_store() -> None:
    assert plain(case_surfaces.frost_humidity_ratio(-20.0, 0.14, DRY, SEA)) == 0


def test_a_store_just_above_its_usual_limit_frosts_goods() -> None:
    """Stores hold 52-55 F, 11.1-12.8 degC, to keep frost away (practice): the usual surfaces must say so."""
    frost = psychrolib.GetTDewPointFromHumRatio(
        22.0, plain(case_surfaces.frost_humidity_ratio(-1.0, 0.14, DRY, SEA)), SEA
    )
    assert 12.8 < frost < 13.8


def test_hours_are_those_whose_dew_point_lies_above_the_surface() -> None:
    """Eight days of Houston at a store that controls no humidity: dew points of its hours by psychrolib, counted."""
    store = {"building_type": "supermarket", "floor_area_m2": 3000.0, "station": STATIONS["Houston"]}
    store |= {"current_strategy": "temperature_only"}
    rows = [store, store | {"door_heaters": "off"}, store | {"open_case_length_m": 0.0, "door_case_length_m": 0.0}]
    hours = climate.hours([STATIONS["Houston"]]).with_columns(number=pl.int_range(pl.len()).over("month"))
    hours = hours.filter((pl.col("number") < 48) & (pl.col("month") % 3 == 1)).drop("number")
    totals, _ = accounts(filled(rows), hours)
    found = totals.filter(strategy="temperature_only").sort("site_id")
    worked = in_sequence(filled(rows[:1]), hours, "temperature_only")
    dew_points = [
        psychrolib.GetTDewPointFromHumRatio(t, w, p)
        for t, w, p in worked.select("hour.space_c", "hour.humidity_ratio", "pressure_pa").rows()
    ]
    heated, unheated = (sum(each > glass for each in dew_points) for glass in (15.0, 11.0))
    mixed = [0.0025 + 0.14 * (w - 0.0025) for w in worked["hour.humidity_ratio"]]
    frosted = sum(psychrolib.GetTDewPointFromHumRatio(5.0, w, SEA) > -1.0 for w in mixed)
    assert 0 < heated < frosted < unheated < len(dew_points)
    assert found["hours_door_glass_fogged"].to_list() == [heated, unheated, None]
    assert found["hours_frost_on_goods"].to_list() == [frosted, frosted, None]
