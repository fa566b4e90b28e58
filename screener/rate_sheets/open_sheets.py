"""The open sheet form: a row per charge, with its window of months, weekdays and hours and the amount it holds from.

Rows of one kind add up wherever they hold together. A charge in blocks has several rows of one period and different amounts: a
row holds from its amount to the next one of its period, whichever months have that one (so the open billing library that
defines the form reads it). Rows without a period belong together by their order among those of the same amount.
"""

import csv
import io
import math
from collections import defaultdict
from collections.abc import Iterable, Mapping
from typing import Any

from screener.rate_sheets.sheet import DAILY, DAYS, SINGLE_DAYS, Sheet, days_text, free_times, months_text, times

# Columns under their names here, and the names they are published under; the imperial ones where there are both.
NAMES = {
    "sheet": ("sheet", "label"),
    "service": ("service",),
    "utility": ("utility",),
    "type": ("type",),
    "assessed": ("assessed",),
    "period": ("period", "name"),
    "from_amount": ("from_amount", "basic_charge_limit (imperial)", "basic_charge_limit"),
    "charge": ("charge", "charge (imperial)"),
    "units": ("units",),
    **{f"{what}_{end}": (f"{what}_{end}",) for what in ("month", "hour", "weekday") for end in ("start", "end")},
}
NEEDED = ("utility", "type", "charge")
# Kind of charge: the column of its price, of its blocks' unit, the units it may be in.
PRICES: Mapping[tuple[str, str], tuple[str, str, str | None]] = {
    ("electric", "energy"): ("electricity_price_per_kwh", "$/kwh", None),
    ("electric", "demand"): ("demand_price_per_kw", "$/kw", None),
    ("gas", "energy"): ("fuel_price_per_therm", "$/therm", "therm"),
    ("gas", "demand"): ("fuel_demand_price_per_therm_h", "$/therm/hr", "therm_h"),
}
Row = dict[str, Any]


def is_sheets(header: Iterable[str]) -> bool:
    """Whether a table with these columns is of the open sheet form."""
    found = {name.strip().lower() for name in header}
    return all(found & {*NAMES[name]} for name in NEEDED) and "month_start" in found


def of_text(text: str, label: str) -> list[Sheet]:
    """The sheets of a CSV text; `label` names one that does not name itself."""
    rows = csv.reader(io.StringIO(text))
    header = next(rows, [])
    return of_rows((dict(zip(header, row, strict=False)) for row in rows if any(row)), label)


def of_rows(rows: Iterable[Mapping[str, Any]], label: str) -> list[Sheet]:
    """The sheets of rows under published names; a sheet's name may stand in its first row alone."""
    found: dict[str, list[Row]] = defaultdict(list)
    last = label
    for row in rows:
        known = _known(row)
        last = str(known["sheet"] or last)
        found[last].append(known)
    return [_sheet(name, mine) for name, mine in found.items()]


def _known(row: Mapping[str, Any]) -> Row:
    """A row under the names here: texts, numbers and None for what is empty."""
    plain = {str(name).strip().lower(): value for name, value in row.items()}
    found: Row = {}
    for name, published in NAMES.items():
        text = next((plain[each] for each in published if each in plain), None)
        text = None if text is None or (isinstance(text, float) and math.isnan(text)) else str(text).strip()
        found[name] = text or None
    return found


def _sheet(label: str, rows: list[Row]) -> Sheet:
    sheet = Sheet(label)
    if any(row["service"] == "delivery_only" for row in rows):
        sheet.remark("delivery only: what supply costs is not in it")
    rows = [row | {"place": place} for place, row in enumerate(rows)]
    kinds: dict[tuple[str, str, str], list[Row]] = defaultdict(list)
    for row in rows:
        utility, kind = (str(row[name] or "").lower() for name in ("utility", "type"))
        if kind == "customer":
            _customer(sheet, row, utility)
        elif kind == "export":
            sheet.remark("what is paid for exported electricity is left out: nothing here exports")
        elif (utility, kind) not in PRICES:
            sheet.lose(f"a charge of {utility or 'no utility'} {kind or 'without a type'} is not known")
        elif kind == "demand" and (assessed := (row["assessed"] or "monthly").lower()) != "monthly":
            if assessed == "daily" and utility == "electric":
                sheet.remark(DAILY)
                kinds[utility, kind, assessed].append(row)
            else:
                sheet.lose(f"{utility} demand assessed {row['assessed']}: ledgers keep the highest hour of the month")
        else:
            kinds[utility, kind, "monthly"].append(row)
    for (utility, kind, assessed), mine in kinds.items():
        _charges(sheet, utility, kind, mine, assessed)
    _gaps(sheet, "electric", kinds)
    _gas_gaps(sheet)
    _evenly(sheet)
    return sheet


def _customer(sheet: Sheet, row: Row, utility: str) -> None:
    price = _number(row["charge"])
    if price is None or (row["units"] or "$/month").lower() != "$/month":
        sheet.lose(f"customer charge {row['charge']} {row['units']} is not one by the month")
        return
    amount = _number(row["from_amount"])
    if amount:
        sheet.lose(f"customer charge from {amount:g}: only those that hold for all are known")
    sheet.lines.append(
        {"tariff_id": sheet.label, "charge": f"{utility} customer charge", "fixed_price_per_month": price}
    )


def _charges(sheet: Sheet, utility: str, kind: str, rows: list[Row], assessed: str) -> None:
    """The rows of one kind of charge as lines, each in its block."""
    price, unit, block_unit = PRICES[utility, kind]
    named = _named(sheet, rows, unit)
    starts = {
        name: sorted({row["from"] for row in named if row["name"] == name}) for row in named for name in [row["name"]]
    }
    named_kind = f"{utility} {'daily ' if assessed == 'daily' else ''}{kind}"
    plain = kind == "energy" and not any(row["period"] or row["from"] for row in named)  # one after another in time
    seen: dict[tuple[Any, ...], int] = defaultdict(int)
    for row in named:
        blocks, begin = starts[row["name"]], row["from"]
        end = next((each for each in blocks if each > begin), None)
        window = _window(sheet, row)
        if window is None:
            continue
        in_block = begin > 0 or end is not None
        cells = {
            **window,
            "above": begin or None,
            "up_to": end,
            "block_unit": block_unit if in_block else None,
            price: row["price"],
            "demand_assessed": "daily" if assessed == "daily" else None,
        }
        key = (row["name"], begin, tuple(window.items()))
        seen[key] += 1
        if seen[key] > 1:
            sheet.remark(
                f"{utility} {kind}: two rows of {row['name']} from {begin:g} hold at the same times; they add up"
            )
        sheet.lines.append(
            {"tariff_id": sheet.label, "charge": f"{named_kind} {'' if plain else row['name']}".rstrip()}
            | {name: value for name, value in cells.items() if value is not None}
        )


def _named(sheet: Sheet, rows: list[Row], unit: str) -> list[Row]:
    """The rows with `name`, `from` and `price`; those that lack one are told."""
    named: list[Row] = []
    order: dict[float, int] = defaultdict(int)
    for row in rows:
        price, begin = _number(row["charge"]), _number(row["from_amount"] or 0)
        if price is None or begin is None or begin < 0:
            sheet.lose(f"charge {row['charge']} from {row['from_amount']} is no number")
            continue
        if row["units"] and not row["units"].lower().replace(" ", "").startswith(unit):
            sheet.lose(f"unit {row['units']} where {unit} was expected")
            continue
        number = order[begin]
        order[begin] += 1
        named.append(row | {"name": row["period"] or f"{number + 1}", "from": begin, "price": price})
    return named


def _window(sheet: Sheet, row: Row) -> Row | None:
    """Months, days and hours as a line has them; None where it cannot, which is told."""
    spans: dict[str, tuple[int, int]] = {}
    for what, whole in (("month", (1, 12)), ("hour", (0, 24)), ("weekday", (0, 6))):
        ends = [_number(row[f"{what}_{end}"]) for end in ("start", "end")]
        first_last = [usual if end is None else end for end, usual in zip(ends, whole, strict=True)]
        if any(end % 1 for end in first_last):
            sheet.lose("windows that begin or end within an hour: ledgers keep whole hours")
            return None
        spans[what] = (int(first_last[0]), int(first_last[1]))
    (first, last), (opens, closes), (begin, end) = spans["month"], spans["hour"], spans["weekday"]
    if first > last or opens >= closes or begin > end:
        sheet.lose(
            f"a window that ends before it begins: months {first}-{last}, hours {opens}-{closes}, days {begin}-{end}"
        )
        return None
    if not {first, last} <= {*range(1, 13)} or not {begin, end} <= {*range(7)} or closes > 24 or opens < 0:
        sheet.lose(f"a window that is none: months {first}-{last}, hours {opens}-{closes}, days {begin}-{end}")
        return None
    if (begin, end) not in DAYS:
        sheet.remark(SINGLE_DAYS)
    all_day = (opens, closes) == (0, 24)
    return {
        "months": months_text(range(first, last + 1)),
        "days": days_text(begin, end),
        "from_hour": None if all_day else opens,
        "to_hour": None if all_day else closes,
    }


def _evenly(sheet: Sheet) -> None:
    """A remark where the energy of a month has blocks and prices by the hour: hours in order are not known to a ledger."""
    energy = [line for line in sheet.lines if "electricity_price_per_kwh" in line]
    blocks = {(line.get("above"), line.get("up_to")) for line in energy} - {(None, None)}
    for block in blocks:
        prices: dict[tuple[int, int, int], float] = defaultdict(float)
        for line in energy:
            if (line.get("above"), line.get("up_to")) == block:
                for time in times(line):
                    prices[time] += line["electricity_price_per_kwh"]
        months = {month for month, _, _ in prices}
        for month in months:
            of_month = [price for (each, _, _), price in prices.items() if each == month]
            if len(of_month) < 168 or max(of_month) != min(of_month):
                sheet.remark(
                    "blocks together with hours: in a run the energy of a month fills its blocks evenly over its hours"
                )
                return


def _gaps(sheet: Sheet, utility: str, kinds: Mapping[tuple[str, str, str], list[Row]]) -> None:
    if (utility, "energy", "monthly") in kinds and (free := free_times(sheet)):
        sheet.remark(f"no charge for energy at {free} of the 576 times of a year (month, kind of day, hour)")


def _gas_gaps(sheet: Sheet) -> None:
    gas = [line for line in sheet.lines if "fuel_price_per_therm" in line or "fuel_demand_price_per_therm_h" in line]
    priced = {month for line in gas if "fuel_price_per_therm" in line for month, _, _ in times(line)}
    if gas and (unpriced := {*range(1, 13)} - priced):
        sheet.remark(f"no charge for gas in months {months_text(unpriced) or '1-12'}: what is burnt then has no price")


def _number(value: Any) -> float | None:
    try:
        number = float(value)
    except (TypeError, ValueError):
        return None
    return number if math.isfinite(number) else None
