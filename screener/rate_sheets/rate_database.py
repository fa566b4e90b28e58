"""The JSON of the open rate database: prices by period and tier, and 12 x 24 schedules that say which period an hour is in.

Fields and units as its interface describes them, version 7 and 8, from memory. Tiers hold from where the one before ends; those
of energy count what the month uses in all, spread evenly over its hours.
"""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from typing import Any

from screener.rate_sheets.sheet import DAILY, Sheet, free_times, hour_spans, months_text

KIND_OF_DAY = {"weekday": "Mon-Fri", "weekend": "Sat-Sun"}
ENERGY_UNITS = {"": None, "kwh": None, "kwh/kw": "kwh_per_kw"}
LEFT_OUT = {  # fields that charge something which the tables cannot hold
    "coincidentratestructure": "demand at the hour of the system's highest load",
    "demandwindowratchet": "a ratchet by windows",
}
REMARKS = {
    "demandreactivepowercharge": "a charge for reactive power is left out: nothing is known of it here",
    "sell": "what is paid for exported electricity is left out: nothing here exports",
}
MONTHS = range(1, 13)
Item = Mapping[str, Any]


def is_rates(document: object) -> bool:
    """Whether a JSON document is of this form."""
    return any("energyratestructure" in item or "flatdemandstructure" in item for item in items(document))


def items(document: object) -> list[dict[str, Any]]:
    """The rates of a document: one of them, a list, or a list under `items`."""
    listed = document.get("items", [document]) if isinstance(document, dict) else document
    return (
        [{str(name).lower(): value for name, value in item.items()} for item in listed if isinstance(item, dict)]
        if isinstance(listed, list)
        else []
    )


def of_document(document: object, label: str) -> list[Sheet]:
    """The sheets of a document; `label` names one that does not name itself."""
    return [_sheet(item, str(item.get("label") or label)) for item in items(document)]


def _sheet(item: Item, label: str) -> Sheet:
    sheet = Sheet(label)
    try:
        _energy(sheet, item)
        _demand_by_period(sheet, item)
        _flat_demand(sheet, item)
        _fixed(sheet, item)
    except (TypeError, ValueError, IndexError, KeyError, AttributeError) as error:
        sheet.lose(f"not of the form of the database: {error}")
    for name, what in LEFT_OUT.items():
        if item.get(name):
            sheet.lose(f"{what} ({name})")
    for name, what in REMARKS.items():
        if item.get(name):
            sheet.remark(what)
    if not any("electricity_price_per_kwh" in line for line in sheet.lines):
        sheet.remark("no charge for energy")
    elif free := free_times(sheet):
        sheet.remark(f"no charge for energy at {free} of the 576 times of a year (month, kind of day, hour)")
    return sheet


def _energy(sheet: Sheet, item: Item) -> None:
    structure = item.get("energyratestructure") or []
    windows = _windows(item, "energy", len(structure))
    for number, tiers in enumerate(structure):
        below = 0.0
        for tier in tiers:
            unit = str(tier.get("unit") or "").lower()
            if unit not in ENERGY_UNITS:
                sheet.lose(f"energy tiers in {tier['unit']}")
                continue
            if tier.get("sell"):
                sheet.remark(REMARKS["sell"])
            end = _end(tier)
            for window in windows[number]:
                sheet.lines.append(
                    _line(sheet, f"energy period {number + 1}", window, below, end, ENERGY_UNITS[unit])
                    | {"electricity_price_per_kwh": _price(tier)}
                )
            below = end if end is not None else below
    adjusted = item.get("fueladjustmentsmonthly") or []
    for price in sorted({*adjusted}):
        months = [month for month in MONTHS if adjusted[month - 1] == price]
        if price:
            sheet.lines.append(
                _line(sheet, "fuel adjustment", {"months": months_text(months)})
                | {"electricity_price_per_kwh": float(price)}
            )
    if structure and len(windows) > 1 and any(len(tiers) > 1 for tiers in structure):
        sheet.remark("tiers together with periods: the month's energy fills the tiers evenly over its hours")


def _demand_by_period(sheet: Sheet, item: Item) -> None:
    structure = item.get("demandratestructure") or []
    if structure and not _by_kw(sheet, item, "demandrateunit"):
        return
    windows = _windows(item, "demand", len(structure))
    for number, tiers in enumerate(structure):
        below = 0.0
        for tier in tiers:
            end = _end(tier)
            for window in windows[number] if _price(tier) else ():
                line = _line(sheet, f"demand period {number + 1}", window, below, end)
                sheet.lines.append(line | {"demand_price_per_kw": _price(tier)} | _assessed(item, "demandrateunit"))
            below = end if end is not None else below
    ratchets = {*(item.get("demandratchetpercentage") or ())} - {0, None}
    if ratchets:
        sheet.lose("a ratchet by month on demand by period (demandratchetpercentage)")


def _flat_demand(sheet: Sheet, item: Item) -> None:
    structure = item.get("flatdemandstructure") or []
    if not structure or not _by_kw(sheet, item, "flatdemandunit"):
        return
    of_month = item.get("flatdemandmonths") or [0] * 12
    ratchet, assessed = _ratchet(item), _assessed(item, "flatdemandunit")
    if ratchet and assessed:
        sheet.lose("a ratchet on demand by the day (lookbackpercent)")
    for number, tiers in enumerate(structure):
        months = [month for month in MONTHS if of_month[month - 1] == number]
        below = 0.0
        for tier in tiers if months else ():
            end = _end(tier)
            line = _line(sheet, "highest demand", {"months": months_text(months)}, below, end)
            if _price(tier):
                sheet.lines.append(line | {"demand_price_per_kw": _price(tier)} | ratchet | assessed)
            below = end if end is not None else below


def _ratchet(item: Item) -> dict[str, Any]:
    """Share of the highest hour in earlier months that is billed at least."""
    share = float(item.get("lookbackpercent") or 0.0)
    if not share:
        return {}
    percent = share * 100 if share <= 1 else share
    counting = [month for month, counts in zip(MONTHS, item.get("lookbackmonths") or [1] * 12, strict=False) if counts]
    found = {
        "ratchet_percent": percent,
        "ratchet_months": months_text(counting) if counting else None,
        "ratchet_lookback_months": int(item["lookbackrange"]) if item.get("lookbackrange") else None,
    }
    return {name: value for name, value in found.items() if value is not None}


def _fixed(sheet: Sheet, item: Item) -> None:
    for name, unit, column in (
        ("fixedchargefirstmeter", "fixedchargeunits", "fixed_price_per_month"),
        ("fixedmonthlycharge", "", "fixed_price_per_month"),
        ("mincharge", "minchargeunits", "minimum_price_per_month"),
    ):
        price = float(item.get(name) or 0.0)
        per = str(item.get(unit) or "$/month").lower() if unit else "$/month"
        if not price:
            continue
        if per == "$/day":
            sheet.remark(f"{name} by the day: a month is charged 365/12 days")
            price *= 365 / 12
        elif per == "$/year" and column == "fixed_price_per_month":
            price /= 12
        elif per != "$/month":
            sheet.lose(f"{name} in {per}")
            continue
        charge = "minimum bill" if column.startswith("minimum") else "electric customer charge"
        sheet.lines.append({"tariff_id": sheet.label, "charge": charge, column: price})


def _by_kw(sheet: Sheet, item: Item, name: str) -> bool:
    """Whether demand is by the kilowatt and month; what else it is by is told."""
    unit = str(item.get(name) or "kW")
    if _assessed(item, name):
        sheet.remark(DAILY)
    elif unit.lower() == "kva":
        sheet.remark("demand by the kVA: give the power_factor of the tariff, without it kW are taken for kVA")
    elif unit.lower() != "kw":
        sheet.lose(f"demand by the {unit}: ledgers keep the highest hour of the month [kW]")
        return False
    return True


def _assessed(item: Item, name: str) -> dict[str, str]:
    return {"demand_assessed": "daily"} if str(item.get(name) or "").lower() == "kw daily" else {}


def _windows(item: Item, what: str, periods: int) -> Mapping[int, list[dict[str, Any]]]:
    """The windows of each period: months, days and hours, as few as say it."""
    hours: dict[tuple[int, str, tuple[int, ...]], list[int]] = defaultdict(list)
    for kind in KIND_OF_DAY:
        schedule: Sequence[Sequence[int]] = item.get(f"{what}{kind}schedule") or [[0] * 24] * 12
        for month in MONTHS:
            for number in {*schedule[month - 1]}:
                if not 0 <= number < max(periods, 1):
                    raise ValueError(f"{what}{kind}schedule names period {number} of {periods}")
                mine = tuple(hour for hour in range(24) if schedule[month - 1][hour] == number)
                hours[number, kind, mine].append(month)
    found: dict[int, list[dict[str, Any]]] = defaultdict(list)
    for (number, kind, mine), months in hours.items():
        same_at_weekends = hours.get((number, "weekend", mine)) == months and kind == "weekday"
        if kind == "weekend" and hours.get((number, "weekday", mine)) == months:
            continue  # stands with the weekdays
        for first, last in hour_spans(mine):
            whole = (first, last) == (0, 24)
            found[number].append(
                {
                    "months": months_text(months),
                    "days": None if same_at_weekends else KIND_OF_DAY[kind],
                    "from_hour": None if whole else first,
                    "to_hour": None if whole else last,
                }
            )
    return found


def _line(
    sheet: Sheet,
    charge: str,
    window: Mapping[str, Any],
    above: float = 0.0,
    up_to: float | None = None,
    unit: str | None = None,
) -> dict[str, Any]:
    in_block = above > 0 or up_to is not None
    cells = {**window, "above": above or None, "up_to": up_to, "block_unit": unit if in_block else None}
    named = {"tariff_id": sheet.label, "charge": charge}
    return named | {name: value for name, value in cells.items() if value is not None}


def _price(tier: Item) -> float:
    return float(tier.get("rate") or 0.0) + float(tier.get("adj") or 0.0)


def _end(tier: Item) -> float | None:
    """Where a tier ends; the database writes very large numbers for no end too."""
    end = tier.get("max")
    return None if end is None or float(end) >= 1e15 else float(end)
