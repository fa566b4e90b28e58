"""A year cut down to one real week of each month, for draws: what a figure does to a year shows in them as in the whole.

Of each month the week is taken whose weather is most like that of the month; its hours stand for all of the month's, by
their weight. What comes out is only ever compared with what the same weeks come to with the run's own figures, so what
weeks lack beside the year cancels out (a control variate: from memory, common practice in simulation).
"""

from dataclasses import replace

import numpy as np
import polars as pl
from numpy.typing import NDArray

from screener.engine import PLACE_COLUMNS
from screener.formula import of_columns
from screener.physics import psychrometrics as air
from screener.worksheet.hours import Hours

WEEK_H, DAY_H, SLOTS_A_MONTH = 7 * 24, 24, 48
LATENT_REFERENCE = 0.0093  # [kg/kg] 24 degC, 50 %: what the ventilation load index counts from (Harriman et al. 1997)
COOLING_C = 18.0  # from which it is warm: common practice, no source
SEA_LEVEL_PA = 101_325.0
WEIGHT, TEMPERATURE, HUMIDITY, SUN = (
    PLACE_COLUMNS.index(name) for name in ("weight_h", "outdoor_c", "outdoor_humidity_ratio", "irradiance_w_m2")
)
Hour = NDArray[np.int64]


def weeks(hours: Hours) -> Hours:
    """The hours of a year that stand for it, in their order. A month with fewer hours than a week keeps them all."""
    chosen, weights = [], []
    month = hours.slots // SLOTS_A_MONTH
    for number in np.unique(month):
        mine = np.flatnonzero(month == number)
        kept = mine if len(mine) < WEEK_H else mine[_most_like(hours.columns[:, mine])]
        chosen.append(kept)
        weights.append(np.full(len(kept), hours.columns[WEIGHT, mine].sum() / hours.columns[WEIGHT, kept].sum()))
    order = np.concatenate(chosen)
    columns = np.ascontiguousarray(hours.columns[:, order])
    columns[WEIGHT] *= np.concatenate(weights)
    return replace(hours, columns=columns, slots=hours.slots[order])


def _most_like(month: NDArray[np.float64]) -> Hour:
    """The places of the seven days in a month [column, hour] whose weather is most like all of it."""
    heat, humidity, sun = month[TEMPERATURE], month[HUMIDITY], month[SUN]
    beyond = np.maximum(humidity - LATENT_REFERENCE, 0.0)
    marks = np.stack([heat, np.maximum(heat - COOLING_C, 0.0), humidity, beyond, beyond**2 / LATENT_REFERENCE, sun])
    starts = np.arange(0, month.shape[1] - WEEK_H + 1, DAY_H)
    sums = np.concatenate([np.zeros((len(marks), 1)), marks.cumsum(axis=1)], axis=1)
    means = (sums[:, starts + WEEK_H] - sums[:, starts]) / WEEK_H
    scale = marks.std(axis=1, keepdims=True) + 1e-12
    distance = (((means - marks.mean(axis=1, keepdims=True)) / scale) ** 2).sum(axis=0)
    return np.asarray(np.arange(WEEK_H) + starts[np.argmin(distance)])


class Dampness:
    """The hours of a place with other latent loads of outdoor air."""

    def __init__(self, hours: Hours) -> None:
        self.hours = hours
        humidity, outdoor = hours.columns[HUMIDITY], pl.DataFrame({"outdoor_c": hours.columns[TEMPERATURE]})
        fog = outdoor.select(of_columns(air.humidity_ratio_from_dew_point, "outdoor_c", SEA_LEVEL_PA))
        self._most = np.maximum(humidity, fog.to_series().to_numpy())
        self._beyond = np.maximum(humidity - LATENT_REFERENCE, 0.0)

    def times(self, factor: float) -> Hours:
        """The hours with `factor` times the latent load, counted as the ventilation load index counts it: only what lies above
        LATENT_REFERENCE, and no damper than fog."""
        if factor == 1.0:
            return self.hours
        columns = self.hours.columns.copy()
        columns[HUMIDITY] = np.minimum(columns[HUMIDITY] + (factor - 1.0) * self._beyond, self._most)
        return replace(self.hours, columns=columns)
