"""Loads of a year to try bills on, hour by hour: 8,760 of them, 1 January a Monday. All are whole 1/64 kW, so that sums are
exact whatever their order."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

DAYS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)


@dataclass(frozen=True)
class Hour:
    """An hour of the year and what is drawn in it [kW]; `weekday` 0 is Monday."""

    month: int
    weekday: int
    hour: int
    electricity: float
    fuel: float


def _flat(at: int, month: int, weekday: int, hour: int) -> tuple[float, float]:
    return 100.0, 50.0


def _office(at: int, month: int, weekday: int, hour: int) -> tuple[float, float]:
    """Closed at weekends, more in summer; heated in the mornings of winter."""
    occupied = weekday < 5 and 8 <= hour < 18
    summer = 1.5 if 5 <= month <= 9 else 1.0
    return 40.0 + (140.0 * summer if occupied else 0.0) + (
        at * 37 % 101
    ) / 16, 300.0 if month < 4 and hour < 9 else 10.0


def _shop(at: int, month: int, weekday: int, hour: int) -> tuple[float, float]:
    """Small, open seven days, uneven: low blocks of demand and energy."""
    return 4.0 + (at * 7 % 29) / 4 + (6.0 if 7 <= hour < 22 else 0.0), (at * 11 % 17) / 8


SHAPES: dict[str, Callable[[int, int, int, int], tuple[float, float]]] = {
    "flat": _flat,
    "office": _office,
    "shop": _shop,
}


def hours(shape: str) -> Iterator[Hour]:
    """The hours of the year with a shape, in their order."""
    at = 0
    for month, days in enumerate(DAYS, start=1):
        for _ in range(days):
            for hour in range(24):
                weekday = at // 24 % 7
                yield Hour(month, weekday, hour, *SHAPES[shape](at, month, weekday, hour))
                at += 1
