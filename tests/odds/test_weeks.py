"""Weeks that stand for a year, and years that are damper than the typical one."""

import numpy as np
import pytest

from screener import climate
from screener.engine import PLACE_COLUMNS
from screener.engine.weather_cache import years
from screener.odds import weeks
from screener.tables import Settings
from screener.worksheet.hours import Hours

MIAMI, HOUSTON, CHICAGO = "722020", "722430", "725300"
WEIGHT, HUMIDITY, HEAT = (PLACE_COLUMNS.index(n) for n in ("weight_h", "outdoor_humidity_ratio", "outdoor_c"))


@pytest.fixture(scope="module", params=[MIAMI, HOUSTON, CHICAGO])
def year(request: pytest.FixtureRequest) -> Hours:
    return years([request.param], climate.own_hours([]), Settings().dates)[request.param]


def test_twelve_real_weeks_in_order_weigh_as_much_as_the_year(year: Hours) -> None:
    cut = weeks.weeks(year)
    assert cut.columns.shape[1] == 12 * 7 * 24
    assert cut.columns[WEIGHT].sum() == pytest.approx(year.columns[WEIGHT].sum())
    for month in range(12):
        mine, whole = (np.flatnonzero(each.slots // 48 == month) for each in (cut, year))
        assert cut.columns[WEIGHT, mine].sum() == pytest.approx(year.columns[WEIGHT, whole].sum())
        first = cut.columns[[HEAT, HUMIDITY]][:, mine]
        of_month = year.columns[[HEAT, HUMIDITY]][:, whole]
        starts = range(0, of_month.shape[1] - first.shape[1] + 1, 24)
        assert any((of_month[:, at : at + first.shape[1]] == first).all() for at in starts)


def test_weeks_are_as_warm_and_damp_as_the_year(year: Hours) -> None:
    """Weighted means over the year: within 1 K and 5 % (common practice, no source)."""
    cut = weeks.weeks(year)
    means = [
        [np.average(each.columns[row], weights=each.columns[WEIGHT]) for row in (HEAT, HUMIDITY)]
        for each in (cut, year)
    ]
    assert means[0][0] == pytest.approx(means[1][0], abs=1.0)
    assert means[0][1] == pytest.approx(means[1][1], rel=0.05)


@pytest.mark.parametrize("factor", [0.8, 1.0, 1.1])
def test_the_latent_load_index_goes_with_the_factor(year: Hours, factor: float) -> None:
    """As far as fog allows; hours drier than 24 degC and 50 % stay as they are."""
    made = weeks.Dampness(year).times(factor)
    beyond = [np.maximum(each.columns[HUMIDITY] - weeks.LATENT_REFERENCE, 0).sum() for each in (made, year)]
    assert beyond[0] / beyond[1] == pytest.approx(factor, abs=0.05)
    dry = year.columns[HUMIDITY] <= weeks.LATENT_REFERENCE
    assert (made.columns[HUMIDITY, dry] == year.columns[HUMIDITY, dry]).all()
