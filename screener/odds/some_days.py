"""A year cut down to four days in a row of each month, for draws: what a figure does to a year shows in them as in the whole.

Thursday to Sunday: two working days and two others, each kind of day standing for all of its kind in the month, by weight.
Of each month those are taken whose weather is most like that of the month. What comes out is only ever compared with what
the same days come to with the run's own figures, so what they lack beside the year cancels out (a control variate: from memory,
common practice in simulation). All places have the same hour classes in the same order, so that the engine can take any
sites side by side.
"""

from dataclasses import replace

import numpy as np
import polars as pl
from numpy.typing import NDArray

from screener.engine import PLACE_COLUMNS
from screener.formula import of_columns
from screener.physics import psychrometrics as air
from screener.worksheet.hours import Hours

DAY_H, DAY_KINDS, WEEK_H = 24, 2, 7 * 24
SLOTS_A_MONTH = DAY_H * DAY_KINDS
KINDS = (0, 0, 1, 1)  # of the days: working, working, other, other
LATENT_REFERENCE = 0.0093  # [kg/kg] 24 degC, 50 %: what the ventilation load index counts from (Harriman et al. 1997)
COOLING_C = 18.0  # from which it is warm: common practice, no source
SEA_LEVEL_PA = 101_325.0
WEIGHT, TEMPERATURE, HUMIDITY, SUN = (
    PLACE_COLUMNS.index(name) for name in ("weight_h", "outdoor_c", "outdoor_humidity_ratio", "irradiance_w_m2")
)
Places = NDArray[np.int64]


def some_days(hours: Hours) -> Hours:
    """The hours of a year that stand for it, in their order. Of a month without such days the seven in a row are taken that are
    most like it, and one with fewer hours than a week keeps them all."""
    chosen, weights = [], []
    month = hours.slots // SLOTS_A_MONTH
    for number in np.unique(month):
        mine = np.flatnonzero(month == number)
        kind = hours.slots[mine] // DAY_H % DAY_KINDS
        due = np.concatenate([number * SLOTS_A_MONTH + each * DAY_H + np.arange(DAY_H) for each in KINDS])
        starts = _starts(hours.slots[mine], due)
        if len(starts):
            found = [starts + at for at in range(len(due))]
        elif len(mine) >= WEEK_H:
            found, kind = (
                [np.arange(0, len(mine) - WEEK_H + 1, DAY_H) + at for at in range(WEEK_H)],
                np.zeros_like(kind),
            )
        else:
            found, kind = [np.zeros(1, np.int64) + at for at in range(len(mine))], np.zeros_like(kind)
        kept, times = _most_like(hours.columns[:, mine], kind, np.stack(found, axis=1))
        chosen.append(mine[kept])
        weights.append(times)
    order = np.concatenate(chosen)
    columns = np.ascontiguousarray(hours.columns[:, order])
    columns[WEIGHT] *= np.concatenate(weights)
    return replace(hours, columns=columns, slots=hours.slots[order])


def _starts(slots: Places, due: Places) -> Places:
    """From where on the slots are those due."""
    if len(slots) < len(due):
        return np.empty(0, np.int64)
    return np.flatnonzero((np.lib.stride_tricks.sliding_window_view(slots, len(due)) == due).all(axis=1))


def _most_like(month: NDArray[np.float64], kind: Places, tried: Places) -> tuple[Places, NDArray[np.float64]]:
    """Of the places `tried` [trial, hour] in a month [column, hour] those whose weather is most like all of it, each `kind` of
    hour as heavy as in the month, and how many times its own weight each hour then weighs."""
    heat, humidity, sun, weight = month[[TEMPERATURE, HUMIDITY, SUN, WEIGHT]]
    beyond = np.maximum(humidity - LATENT_REFERENCE, 0.0)
    marks = np.stack([heat, np.maximum(heat - COOLING_C, 0.0), humidity, beyond, beyond**2 / LATENT_REFERENCE, sun])
    times = np.zeros(tried.shape)
    for each in np.unique(kind):
        of_kind = kind[tried] == each
        times += of_kind * (weight[kind == each].sum() / (weight[tried] * of_kind).sum(axis=1, keepdims=True))
    heavy = weight[tried] * times
    means = (marks[:, tried] * heavy).sum(axis=2) / heavy.sum(axis=1)
    whole = np.average(marks, axis=1, weights=weight)
    scale = marks.std(axis=1) + 1e-12
    distance = (((means - whole[:, None]) / scale[:, None]) ** 2).sum(axis=0)
    best = int(np.argmin(distance))
    return tried[best], times[best]


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
