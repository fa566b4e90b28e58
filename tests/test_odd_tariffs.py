"""Invented tariffs, odd but legal, billed hour by hour in plain Python that shares no code with the package.

What `tariffs show` says of a load of 8,760 hours must be these bills to a cent. A row is a line: (charge, cells).
"""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import pytest

from screener.explain import tariff
from tests import load_shapes
from tests.load_shapes import Hour

THERM_KWH = 105.4804e6 / 3.6e6
DAYS = {
    "Mon-Fri": range(5),
    "Sat-Sun": (5, 6),
    "Mon-Thu": range(4),
    "Fri": (4,),
    "Mon-Sat": range(6),
    "Sun, holidays": (6,),
}
MONTHS = {"Nov-Feb": (11, 12, 1, 2), "Jun to Sep": range(6, 10), "3-5, 10": (3, 4, 5, 10), "12-3": (12, 1, 2, 3)}
KWH, KW, FUEL, GAS_KW = (
    "electricity_price_per_kwh",
    "demand_price_per_kw",
    "fuel_price_per_therm",
    "fuel_demand_price_per_kw",
)
TAX, MIN, FIXED = "electricity_percent", "minimum_price_per_month", "fixed_price_per_month"
Row = dict[str, Any]


def row(charge: str, **cells: Any) -> Row:
    return {"charge": charge, **cells}


ON_PEAK = {"months": "Jun to Sep", "days": "Mon-Thu", "from_hour": 13, "to_hour": 19}
TARIFFS: Mapping[str, Sequence[Row]] = {
    "blocks inside periods": (
        row("peak", **ON_PEAK, up_to=2000, block_counts="window", **{KWH: 0.31}),
        row("peak", **ON_PEAK, above=2000, block_counts="window", **{KWH: 0.22}),
        row("energy", **{KWH: 0.05}),
    ),
    "hours' use of demand": (
        row("use", up_to=150, block_unit="kwh_per_kw", **{KWH: 0.11}),
        row("use", above=150, up_to=300, block_unit="kwh_per_kw", **{KWH: 0.07}),
        row("use", above=300, block_unit="kwh_per_kw", **{KWH: 0.03}),
        row("demand", **{KW: 9}),
    ),
    "ratchet of summer over winter": (
        row("energy", **{KWH: 0.06}),
        row("demand", ratchet_percent=75, ratchet_lookback_months=11, ratchet_months="Jun to Sep", **{KW: 12}),
    ),
    "short ratchet": (
        row("energy", **{KWH: 0.06}),
        row("demand", ratchet_percent=90, ratchet_lookback_months=3, **{KW: 7}),
    ),
    "minimum with riders and taxes": (
        row("energy", **{KWH: 0.021}),
        row("rider", months="12-3", **{KWH: -0.004}),
        row("tax", **{TAX: 6.25}),
        row("city", **{TAX: 2}),
        row("customer", **{FIXED: 80}),
        row("minimum", **{MIN: 2200}),
    ),
    "seasons over the turn of the year": (
        row("winter", months="Nov-Feb", **{KWH: 0.04}),
        row("summer", months="Jun to Sep", **{KWH: 0.09}),
        row("between", months="3-5, 10", **{KWH: 0.06}),
        row("winter kW", months="Nov-Feb", days="Mon-Fri", from_hour=22, to_hour=6, **{KW: 3}),
        row("summer kW", months="Jun to Sep", **{KW: 8}),
    ),
    "weekdays by name": (
        row("energy", **{KWH: 0.05}),
        row("early", days="Mon-Thu", from_hour=8, to_hour=20, **{KWH: 0.03}),
        row("fridays", days="Fri", **{KWH: 0.01}),
        row("sundays", days="Sun, holidays", **{KWH: -0.02}),
        row("week", days="Mon-Sat", from_hour=0, to_hour=24, **{KW: 6}),
    ),
    "demand in blocks beside an on-peak one": (
        row("energy", **{KWH: 0.04}),
        row("maximum", up_to=50, **{KW: 4}),
        row("maximum", above=50, up_to=150, **{KW: 6}),
        row("maximum", above=150, **{KW: 5}),
        row("on peak", **ON_PEAK, **{KW: 11}),
    ),
    "energy in blocks of all hours, priced by the hour": (
        row("block", up_to=15000, from_hour=7, to_hour=23, **{KWH: 0.12}),
        row("block", up_to=15000, from_hour=23, to_hour=7, **{KWH: 0.06}),
        row("block", above=15000, **{KWH: 0.05}),
    ),
    "demand by the day": (
        row("energy", **{KWH: 0.04}),
        row("day", demand_assessed="daily", days="Mon-Thu", from_hour=9, to_hour=17, up_to=180, **{KW: 0.4}),
        row("month", **{KW: 3}),
    ),
    "gas in blocks with demand": (
        row("energy", **{KWH: 0.05}),
        row("gas", up_to=300, block_unit="therm", **{FUEL: 0.9}),
        row("gas", above=300, block_unit="therm", **{FUEL: 0.6}),
        row("gas winter", months="Nov-Feb", **{FUEL: 0.1}),
        row("gas demand", **{GAS_KW: 0.4}),
        row("gas tax", fuel_percent=5),
    ),
}


def bills(rows: Sequence[Row], hours: Sequence[Hour]) -> list[float]:
    """The total of each month."""
    months = [[hour for hour in hours if hour.month == month] for month in range(1, 13)]
    return [_month(rows, months, at) for at in range(12)]


def _month(rows: Sequence[Row], months: Sequence[Sequence[Hour]], at: int) -> float:
    hours = months[at]
    highest = max(hour.electricity for hour in hours)
    energy = sum(_energy(each, hours, highest, False) for each in rows if KWH in each)
    demand = sum(_demands([each for each in rows if KW in each], months, at))
    fuel = sum(_energy(each, hours, 0.0, True) for each in rows if FUEL in each)
    fuel += sum(each[GAS_KW] * max(hour.fuel for hour in hours) for each in rows if GAS_KW in each)
    fuel *= 1 + sum(each.get("fuel_percent", 0) for each in rows) / 100
    share = 1 + sum(each.get(TAX, 0) for each in rows) / 100
    fixed = sum(each.get(FIXED, 0) for each in rows)
    electric = fixed + (energy + demand) * share
    return max(electric, sum(each.get(MIN, 0) for each in rows)) + fuel


def _holds(each: Row, hour: Hour) -> bool:
    first, last = each.get("from_hour", 0), each.get("to_hour", 24)
    inside = first <= hour.hour < last if first < last else hour.hour >= first or hour.hour < last
    in_month = "months" not in each or hour.month in MONTHS[each["months"]]
    return inside and in_month and ("days" not in each or hour.weekday in DAYS[each["days"]])


def _energy(each: Row, hours: Sequence[Hour], highest: float, of_fuel: bool) -> float:
    unit = highest if each.get("block_unit") == "kwh_per_kw" else THERM_KWH if of_fuel else 1.0
    begin, end = each.get("above", 0) * unit, each.get("up_to", float("inf")) * unit
    price = each[FUEL] / THERM_KWH if of_fuel else each[KWH]
    cost = used = 0.0
    for hour in hours:
        if each.get("block_counts") == "window" and not _holds(each, hour):
            continue
        drawn = hour.fuel if of_fuel else hour.electricity
        if _holds(each, hour):
            cost += price * max(min(used + drawn, end) - max(used, begin), 0.0)
        used += drawn
    return cost


def _demands(rows: Sequence[Row], months: Sequence[Sequence[Hour]], at: int) -> list[float]:
    found = []
    for each in rows:
        if each.get("demand_assessed") == "daily":
            days = [months[at][first : first + 24] for first in range(0, len(months[at]), 24)]
            highest = [max((hour.electricity for hour in day if _holds(each, hour)), default=0.0) for day in days]
            found.append(sum(each[KW] * min(power, each["up_to"]) for power in highest))
            continue
        peaks = [max((hour.electricity for hour in month if _holds(each, hour)), default=0.0) for month in months]
        counted = [peak if _counts(each, month) else 0.0 for month, peak in enumerate(peaks, start=1)]
        before = [counted[(at - back) % 12] for back in range(1, each.get("ratchet_lookback_months", 0) + 1)]
        power = max([peaks[at], *(each.get("ratchet_percent", 0) / 100 * peak for peak in before)])
        found.append(each[KW] * max(min(power, each.get("up_to", float("inf"))) - each.get("above", 0), 0.0))
    return found


def _counts(each: Row, month: int) -> bool:
    return "ratchet_months" not in each or month in MONTHS[each["ratchet_months"]]


@pytest.fixture(scope="module")
def hours() -> list[Hour]:
    return list(load_shapes.hours("office"))


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory, hours: list[Hour]) -> Path:
    made = tmp_path_factory.mktemp("odd")
    ids = list(TARIFFS)
    columns = list(dict.fromkeys(cell for rows in TARIFFS.values() for each in rows for cell in each))
    lines = [",".join(["tariff_id", *columns])]
    for number, name in enumerate(ids):
        lines += [",".join([f"T{number}", *(f'"{each.get(cell, "")}"' for cell in columns)]) for each in TARIFFS[name]]
    (made / "tariff_charges.csv").write_text("\n".join(lines), encoding="utf-8")
    tariffs = ["tariff_id,fuel_price_per_kwh", *(f"T{at},0" for at in range(len(ids)))]
    (made / "tariffs.csv").write_text("\n".join(tariffs), encoding="utf-8")
    (made / "load.csv").write_text(
        "electricity_kw,fuel_kw\n" + "\n".join(f"{hour.electricity},{hour.fuel}" for hour in hours), encoding="utf-8"
    )
    return made


@pytest.mark.parametrize("name", TARIFFS)
def test_an_odd_tariff_is_billed_to_the_cent(name: str, folder: Path, hours: list[Hour]) -> None:
    shown = tariff.of_folder(folder, f"T{list(TARIFFS).index(name)}", folder / "load.csv")
    expected = bills(TARIFFS[name], hours)
    assert sum(expected) > 1000
    assert [bill["total"] for bill in shown["bills"]] == pytest.approx(expected, abs=0.01)
