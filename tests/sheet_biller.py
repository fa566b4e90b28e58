"""A biller of the open sheet form in plain Python, hour by hour, that shares no code with the package.

It reads the rows as they are published: of a charge in blocks a row holds from its amount to the next amount of its period;
rows without a period belong together by their order among those of one amount; rows of one period, amount and hour add up; the
energy of a month fills its blocks hour after hour; demand is charged at the hour that costs most. Written from the description of
the form in the data's own README. Over all sheets and the three loads its bills are those of the open billing library that the
README names, to a cent, but where a window's demand in blocks meets a higher load outside the window.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from typing import Any

from tests.load_shapes import Hour

THERM_KWH = 105.4804e6 / 3.6e6
Bill = dict[str, float]


def bills(rows: Iterable[Mapping[str, Any]], hours: Iterable[Hour]) -> dict[int, Bill]:
    """For each month what energy, demand and fuel of a sheet come to. `rows`: columns of `sheets.parquet`."""
    charges = [row for row in rows if row["type"] in ("energy", "demand")]
    by_month: dict[int, list[Hour]] = defaultdict(list)
    for hour in hours:
        by_month[hour.month].append(hour)
    return {month: _bill(charges, loads) for month, loads in by_month.items()}


def _bill(charges: list[Mapping[str, Any]], loads: list[Hour]) -> Bill:
    bill = {"energy": 0.0, "demand": 0.0, "fuel": 0.0}
    for utility in ("electric", "gas"):
        drawn = [load.electricity if utility == "electric" else load.fuel / THERM_KWH for load in loads]
        for kind in ("energy", "demand"):
            blocks = _blocks([row for row in charges if (row["utility"], row["type"]) == (utility, kind)])
            for rows, begin, end in blocks:
                prices = [_price(rows, load) for load in loads]
                work = _energy if kind == "energy" else _demand
                bill["fuel" if utility == "gas" else kind] += work(prices, drawn, begin, end)
    return bill


def _blocks(rows: list[Mapping[str, Any]]) -> list[tuple[list[Mapping[str, Any]], float, float]]:
    """The rows of each period and amount, with the amounts between which they hold."""
    order: dict[float, int] = defaultdict(int)
    periods: dict[Any, dict[float, list[Mapping[str, Any]]]] = defaultdict(lambda: defaultdict(list))
    for row in rows:
        begin = row["from_amount"] or 0.0
        period = row["period"] or order[begin]
        order[begin] += 1
        periods[period][begin].append(row)
    found = []
    for period in periods.values():
        begins = sorted(period)
        ends = [*begins[1:], float("inf")]
        found += [(period[begin], begin, end) for begin, end in zip(begins, ends, strict=True)]
    return found


def _price(rows: list[Mapping[str, Any]], load: Hour) -> float:
    """What the rows that hold at an hour add up to."""
    return sum(
        row["charge"]
        for row in rows
        if row["month_start"] <= load.month <= row["month_end"]
        and row["weekday_start"] <= load.weekday <= row["weekday_end"]
        and row["hour_start"] <= load.hour < row["hour_end"]
    )


def _energy(prices: list[float], drawn: list[float], begin: float, end: float) -> float:
    cost = used = 0.0
    for price, energy in zip(prices, drawn, strict=True):
        inside = min(used + energy, end) - max(used, begin)
        used += energy
        cost += price * max(inside, 0.0)
    return cost


def _demand(prices: list[float], drawn: list[float], begin: float, end: float) -> float:
    return max(price * max(min(power, end) - begin, 0.0) for price, power in zip(prices, drawn, strict=True))
