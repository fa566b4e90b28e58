"""Days that stand for a year, and years that are damper than the typical one."""

import numpy as np
import pytest

from screener import climate
from screener.engine import PLACE_COLUMNS
from screener.engine.weather_cache import years
from screener.odds import some_days
from screener.tables import Settings
from screener.worksheet.hours import Hours

MIAMI, HOUSTON, CHICAGO = "722020", "722430", "725300"
WEIGHT, HUMIDITY, HEAT = (PLACE_COLUMNS.index(n) for n in ("weight_h", "outdoor_humidity_ratio", "outdoor_c"))


@pytest.fixture(scope="module", params=[MIAMI, HOUSTON, CHICAGO])
def year(request: pytest.FixtureRequest) -> Hours:
    return years([request.param], climate.own_hours([]), Settings().dates)[request.param]


def test_four_real_days_of_each_month_weigh_as_much_as_it_kind_by_kind(year: Hours) -> None:
    cut = some_days.some_days(year)
    assert cut.columns.shape[1] == 12 * 4 * 24
    for slots in range(0, 576, 24):  # a month's working days, or its others
        mine, whole = (np.flatnonzero(each.slots // 24 == slots // 24) for each in (cut, year))
        assert len(mine) == 48
        assert cut.columns[WEIGHT, mine].sum() == pytest.approx(year.columns[WEIGHT, whole].sum())
    for month in range(12):
        mine, whole = (np.flatnonzero(each.slots // 48 == month) for each in (cut, year))
        first = cut.columns[[HEAT, HUMIDITY]][:, mine]
        of_month = year.columns[[HEAT, HUMIDITY]][:, whole]
        starts = range(0, of_month.shape[1] - first.shape[1] + 1, 24)
        assert any((of_month[:, at : at + first.shape[1]] == first).all() for at in starts)


def test_places_have_the_same_hours_in_the_same_order() -> None:
    """So that sites of any of them go side by side."""
    found = years([MIAMI, CHICAGO], climate.own_hours([]), Settings().dates)
    one, other = (some_days.some_days(found[place]) for place in (MIAMI, CHICAGO))
    assert (one.slots == other.slots).all()


def test_a_month_without_such_days_has_seven_of_its_own_and_a_short_one_all_its_hours(year: Hours) -> None:
    """All of June holidays, and of July only two days measured."""
    month = year.slots // 48
    slots = np.where(month == 5, 5 * 48 + 24 + year.slots % 24, year.slots)
    kept = (month != 6) | (np.cumsum(month == 6) <= 48)
    odd = Hours(year.columns[:, kept], slots[kept])
    cut = some_days.some_days(odd)
    for number, hours in ((5, 168), (6, 48), (7, 96)):
        mine, whole = (np.flatnonzero(each.slots // 48 == number) for each in (cut, odd))
        assert len(mine) == hours
        assert cut.columns[WEIGHT, mine].sum() == pytest.approx(odd.columns[WEIGHT, whole].sum())


def test_days_are_as_warm_and_damp_as_the_year(year: Hours) -> None:
    """Weighted means over the year: within 1 K and 5 % (common practice, no source)."""
    cut = some_days.some_days(year)
    means = [
        [np.average(each.columns[row], weights=each.columns[WEIGHT]) for row in (HEAT, HUMIDITY)]
        for each in (cut, year)
    ]
    assert means[0][0] == pytest.approx(means[1][0], abs=1.0)
    assert means[0][1] == pytest.approx(means[1][1], rel=0.05)


@pytest.mark.parametrize("factor", [0.8, 1.0, 1.1])
def test_the_latent_load_index_goes_with_the_factor(year: Hours, factor: float) -> None:
    """As far as fog allows; hours drier than 24 degC and 50 % stay as they are."""
    made = some_days.Dampness(year).times(factor)
    beyond = [np.maximum(each.columns[HUMIDITY] - some_days.LATENT_REFERENCE, 0).sum() for each in (made, year)]
    assert beyond[0] / beyond[1] == pytest.approx(factor, abs=0.05)
    dry = year.columns[HUMIDITY] <= some_days.LATENT_REFERENCE
    assert (made.columns[HUMIDITY, dry] == year.columns[HUMIDITY, dry]).all()
