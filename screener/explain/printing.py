"""The account of `account.explain` in words, for reading beside a psychrometric chart."""

import re
from calendar import month_name
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from screener import text
from screener.explain.account import Document
from screener.explain.type_figures import in_words

GUESS = re.compile(r"\b(rough|probe|damp\.at_limit)\.")
MONTHS = tuple(month_name)[1:]
NAMES = ("site_id", "name")  # no figures
WORKED = "The hour, line by line"
Columns = Mapping[str, tuple[str, text.Format]]
STATES: Columns = {
    "name": ("state", text.words),
    "dry_bulb_c": ("dry-bulb degC", text.decimals(2)),
    "g_kg": ("g/kg", text.decimals(3)),
    "kj_kg": ("kJ/kg", text.decimals(2)),
    "dew_point_c": ("dew point degC", text.decimals(2)),
    "rh_pct": ("RH %", text.decimals(1)),
    "wet_bulb_c": ("wet-bulb degC", text.decimals(2)),
    "volume_m3_kg": ("m3/kg", text.decimals(3)),
}
PROCESSES: Columns = {
    "name": ("process", text.words),
    "from": ("from", text.words),
    "to": ("to", text.words),
    "flow_kg_s": ("kg/s", text.decimals(3)),
    "heat_kw": ("heat taken kW", text.decimals(2)),
    "water_kg_h": ("water kg/h", text.decimals(2)),
    "power_kw": ("power kW", text.decimals(2)),
    "law": ("by", text.words),
}
BESIDE: Columns = {
    "strategy": ("Energy for the same water", text.words),
    "litres_per_kwh": ("alone L/kWh", text.decimals(2)),
    "pints_per_kwh": ("pints/kWh", text.decimals(1)),
    "times_alone": ("times the unit's", text.decimals(1)),
    "kwh_per_kg": ("in the building kWh/kg", text.decimals(2)),
    "times_in_building": ("times the unit's there", text.decimals(1)),
}
DAY: Columns = {
    "hour": ("hour", str),
    "outdoor_c": ("outdoor degC", text.decimals(1)),
    "people_w": ("people kW", text.decimals(1)),
    "machines_w": ("machines kW", text.decimals(1)),
    "sun_w": ("sun kW", text.decimals(1)),
    "water_kg_h": ("water kg/h", text.decimals(1)),
    "cooling_w": ("cooling kW", text.decimals(1)),
    "reheat_w": ("reheat kW", text.decimals(1)),
    "electricity_w": ("electricity kW", text.decimals(1)),
    "space_c": ("space degC", text.decimals(1)),
    "dew_point_c": ("dew point degC", text.decimals(1)),
}
AT_METER = "Demand is what the air system adds to the meter's; the rest of the load follows lights, equipment and display cases."
ALONE = "Demand is that of the air system alone: neither annual_electricity_kwh nor other_load_kwh tells of the rest."
BILLS: Columns = {
    "month": ("month", str),
    "electricity_kwh": ("electricity kWh", text.whole),
    "peak_kw": ("air system's peak kW", text.decimals(1)),
    "peak_at": ("at", text.words),
    "meter_kw": ("meter's kW", text.decimals(1)),
    "energy_cost": ("energy", text.decimals(2)),
    "demand_cost": ("demand", text.decimals(2)),
    "fuel_kwh": ("fuel kWh", text.whole),
    "fuel_cost": ("fuel", text.decimals(2)),
    "total": ("total", text.decimals(2)),
}
STEPS: Columns = {"name": ("name", str), "value": ("value", str), "why": ("what it is", str)}
FIGURES: Columns = {"name": ("figure", text.words), "value": ("value", str), "origin": ("where it is from", str)}


def printed(document: Document) -> str:
    """The whole account as text."""
    return "\n".join(
        [
            *_heading(document),
            *_year(document),
            *_assumed(document),
            *_bills(document),
            *_day(document),
            *_hour(document),
            checks(document),
        ]
    )


def checks(document: Document) -> str:
    """How well everything agrees, in a line."""
    found = document["checks"]
    kwh = max(abs(value) for value in found["added_up_less_table_kwh"].values())
    far = found["states_apart_from_psychrolib"]
    return (
        f"\nChecked: the hours add up to the run's table within {kwh:.1g} kWh; psychrolib has the "
        f"{text.count(found['states'], 'state')} within {far['dew_point_c']:.1g} K of dew point, "
        f"{far['enthalpy_j_kg']:.1g} J/kg and {100 * far['relative_humidity']:.1g} % RH"
        + ("." if found["agree"] else ": they DO NOT AGREE; do not use these figures.")
    )


def _heading(document: Document) -> Iterator[str]:
    site = document["site"]
    kind, zone = text.words(site["building_type"]), site["climate_zone"]
    yield f"{site['site_id']}  {site['name']}: {kind} of {site['floor_area_m2']:,.0f} m2, zone {zone}, " + (
        f"weather of {site['station_name'] or 'its own file'}"
    )
    yield f"{text.words(document['strategy'])}: {document['summary']}"
    current, best = text.words(document["current_strategy"]), text.words(document["best_strategy"])
    yield f"today {current}; best {best}"


def _year(document: Document) -> Iterator[str]:
    year = document["year"]
    yield ""
    yield "THE YEAR"
    yield f"Moisture has to be removed in {year['damp_hours']:,.0f} of {year['hours']:,.0f} hours."
    yield ""
    yield from _balance("Heat of the space, kWh", year["heat_kwh"], year["heat_residual_kwh"], 0)
    yield ""
    yield from _balance("Water of the space, kg", year["water_kg"], year["water_residual_kg"], 0)
    yield ""
    rows = [
        {"use": use.removesuffix("_kwh"), "with": value, "without": year["reference_energy_kwh"][use]}
        for use, value in year["energy_kwh"].items()
    ]
    rows.append({"use": "all", **{k: sum(r[k] for r in rows) for k in ("with", "without")}})
    for row in rows:
        row["more"] = row["with"] - row["without"]
    columns: dict[str, tuple[str, text.Format]] = {"use": ("Energy, kWh", text.words), "with": ("with it", text.whole)}
    columns |= {"without": ("temperature only", text.whole), "more": ("more", text.whole)}
    yield text.table(rows, columns)
    electricity, fuel = year["dehumidification_electricity_kwh"], year["dehumidification_fuel_kwh"]
    yield f"Dehumidification takes {electricity:,.0f} kWh of electricity and {fuel:,.0f} kWh of fuel a year."
    yield ""
    yield from _water(year["energy_for_water"])
    yield ""
    yield from _pairs(year["reached"] | year["device"])
    if any(year["refrigeration"].values()):
        yield from _pairs(year["refrigeration"])
    yield ""
    yield from _pairs(year["money"])
    yield ""
    yield "Design conditions, and the installed coil"
    yield from _pairs(document["design_conditions"] | document["equipment"])


def _water(told: Mapping[str, Any]) -> Iterator[str]:
    """Alone and in the building, a line each, and both ways to reheat beside a unit that stands in the space."""
    if told["litres_per_kwh"] is None:
        yield "No water is removed by a machine of its own."
    else:
        litres, pints = told["litres_per_kwh"], told["pints_per_kwh"]
        alone = ", run for nothing but water and all its cooling put back," if told["is_coil"] else ""
        yield f"The machine alone{alone} removes {litres:.2f} L/kWh ({pints:.1f} pints/kWh)."
    if told["kwh_per_kg"] is None:
        yield "In the building not a kilogram more is removed than with temperature only."
    else:
        yield (
            f"In the building a kilogram beyond temperature only takes {told['kwh_per_kg']:.3f} kWh: "
            f"{told['more_kwh']:,.0f} kWh for {told['more_water_kg']:,.0f} kg."
        )
    if told["beside"]:
        yield ""
        yield text.table(told["beside"], BESIDE)


def _balance(title: str, shares: Mapping[str, float], residual: float, places: int) -> Iterator[str]:
    yield title
    form = text.decimals(places)
    width = max(map(len, shares))
    yield from (f"  {name.ljust(width)}  {form(value + 0.0):>14}" for name, value in shares.items() if abs(value) > 0)
    yield f"  {'left over'.ljust(width)}  {residual + 0.0:>14.1g}"


def _pairs(values: Mapping[str, Any]) -> Iterator[str]:
    known = {name: value for name, value in values.items() if value is not None}
    width = max(map(len, known), default=0)
    yield from (f"  {name.ljust(width)}  {_figure(value)}" for name, value in known.items())


def _assumed(document: Document) -> Iterator[str]:
    yield ""
    yield "WHAT THE SITE IS, AND WHERE EACH FIGURE IS FROM"
    rows = [row | {"value": _figure(row["value"])} for row in document["assumptions"]]
    yield text.table(rows, FIGURES)
    yield in_words([row["origin"] for row in rows if row["name"] not in NAMES], document["assumed_share"])


def _bills(document: Document) -> Iterator[str]:
    """The bill of each month; the peak is the air system's own, the meter's, where it is known, may lie at another hour."""
    if document["bills"]:
        yield ""
        yield f"THE BILLS, {text.words(document['strategy'])}: what the air system is charged, month by month"
        rows = [row | {"month": MONTHS[row["month"] - 1]} for row in document["bills"]]
        known = any(row["meter_kw"] is not None for row in rows)
        yield text.table(rows, {name: column for name, column in BILLS.items() if known or name != "meter_kw"})
        yield AT_METER if known else ALONE


def _day(document: Document) -> Iterator[str]:
    """The day in which the hour lies: when people and machines bring heat, and when it has to be put back."""
    month, day = int(document["hour"]["at"][:2]), int(document["hour"]["at"][3:5])
    yield ""
    yield f"THE DAY: {day} {MONTHS[month - 1]}, {text.words(document['strategy'])}; closed hours in brackets"
    rows = []
    for row in document["day"]:
        powers = {name: value / 1000 for name, value in row.items() if name.endswith("_w")}
        clock = f"{row['hour']}" if row["open"] else f"({row['hour']})"
        rows.append(row | powers | {"hour": clock})
    yield text.table(rows, DAY)


def _hour(document: Document) -> Iterator[str]:
    hour = document["hour"]
    yield ""
    month, day, clock = int(hour["at"][:2]), int(hour["at"][3:5]), int(hour["at"][6:])
    yield f"THE HOUR {hour['at']}: {day} {MONTHS[month - 1]}, {clock} to {clock + 1} o'clock"
    if not hour["damp"]:
        yield "Temperature control alone keeps it below the limit, so every strategy does what temperature only does."
        if hour["standby_w"]:
            yield "Its equipment draws or saves:"
            yield from _pairs(hour["standby_w"])
    yield ""
    states = [s | {"g_kg": 1000 * s["humidity_ratio"], "kj_kg": s["enthalpy_j_kg"] / 1000} for s in hour["states"]]
    yield text.table([s | {"rh_pct": 100 * s["relative_humidity"]} for s in states], STATES)
    yield f"at {hour['weather']['pressure_pa']:,.0f} Pa"
    yield ""
    processes = [
        p | {"heat_kw": p["heat_w"] / 1000, "water_kg_h": 3600 * p["water_kg_s"], "power_kw": p["power_w"] / 1000}
        for p in hour["processes"]
    ]
    yield text.table(processes, PROCESSES)
    yield ""
    yield from _balance("Heat of the space, W", hour["heat_w"], hour["heat_residual_w"], 0)
    yield ""
    grams = {name: 3.6e6 * value for name, value in hour["water_kg_s"].items()}
    yield from _balance("Water of the space, g/h", grams, 3.6e6 * hour["water_residual_kg_s"], 0)
    yield ""
    yield "Power, W"
    yield from _pairs(hour["power_w"])
    yield ""
    yield "What this hour costs; demand is billed by the month"
    yield from _pairs(hour["bill"])
    yield ""
    yield WORKED
    yield text.table(_lines(hour["steps"]), STEPS)


def _lines(steps: Sequence[Document]) -> list[Document]:
    """The lines that say what they are; first guesses and intermediate ones are in the JSON document."""
    told = [step for step in steps if step["why"] and not GUESS.search(step["name"])]
    return [step | {"value": _figure(step["value"])} for step in told]


def _figure(value: Any) -> str:
    if isinstance(value, bool) or not isinstance(value, int | float):
        return str(value)
    if value == 0:
        return "0"
    return f"{value:,.0f}" if abs(value) >= 1e5 else f"{value:,.6g}"
