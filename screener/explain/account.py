"""One site's year and one of its hours, from the very plan that computed the run: never a second implementation.

The run folder tells the site and its weather; sizing and the worksheets of the engine are worked again for this site alone,
with every step kept. What the year adds up to is set beside the strategy table, and what an hour says can be checked with
a psychrometric chart.
"""

import re
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path
from typing import Any

import polars as pl

from screener import climate, engine, loads, outputs
from screener.contracts.end_uses import CARRIERS, END_USES, ENERGIES_KWH, POWERS_W
from screener.errors import UsageError
from screener.explain import type_figures
from screener.explain.bill import bill, of_year
from screener.explain.day import of_day
from screener.explain.states import agree, apart, state
from screener.explain.water import water
from screener.formula import Number, col, plain, polars
from screener.physics import psychrometrics as air
from screener.strategies import REFERENCE, REGISTRY
from screener.strategies.strategy import FIELDS
from screener.tables import Settings
from screener.worksheet import Worksheet

Document = dict[str, Any]
AS_THE_TABLE = 1e-7  # of the larger energy: the table has nine figures, both evaluators agree within 1e-9
CARRIED_APART = 1e-6  # K, or g/kg
AT = re.compile(r"(\d{2})-(\d{2})T(\d{2})")
BALANCE = {"reheat": "reheat_w", "device": "device_heat_w", "heating": "heating_w"}
TAKEN = {"cooling coil": "coil_sensible_w", "not met": "unmet_cooling_w"}
REMOVED = {"cooling coil": "coil_kg_s", "device": "device_kg_s", "condenses on surfaces": "condenses_kg_s"}
MONEY = (
    *("energy_cost", "demand_cost", "fuel_cost", "annual_cost", "upkeep_per_year", "investment", "investment_basis"),
    *("published_low", "published_high"),
    *("energy_pv", "upkeep_pv", "replacement_pv", "residual_pv", "life_cycle_cost", "net_savings"),
)
REACHED = (
    *(
        "hours_above_limit",
        "hours_door_glass_fogged",
        "hours_frost_on_goods",
        "hours_above_90_rh",
        "hours_in_fog",
        "cooling_not_met_kwh",
    ),
    *("dew_point_p95_c", "dew_point_highest_c", "water_removed_kg", "litres_per_kwh"),
)
DEHUMIDIFICATION = ("dehumidification_kwh", "dehumidification_electricity_kwh", "dehumidification_fuel_kwh")
CASES = ("refrigeration_saved_kwh", "refrigeration_saved_high_kwh", "anti_sweat_saved_kwh")
CONDITIONS = ("dry_bulb_04_c", "dry_bulb_04_humidity_ratio", "dew_point_04_c", "dew_point_04_dry_bulb_c")
EQUIPMENT = (
    "cooling_capacity_kw",
    "cooling_units",
    "sizing_margin",
    "supply_l_s",
    "fan_w",
    "rated_adp_c",
    "carnot_fraction",
)
DEVICE = ("device_capacity_l_day", "device_capacity_pints_day", "device_units", "note")


def of_folder(folder: Path, site_id: str, strategy: str | None = None, at: str | None = None) -> Document:
    """`explain` of the run in a folder."""
    return explain(outputs.open_run(folder), site_id, strategy, at)


def explain(run: outputs.RunFolder, site_id: str, strategy: str | None = None, at: str | None = None) -> Document:
    """The account of a site's year with a strategy (its best one unless named) and of one hour, `MM-DDTHH`.

    Without `at` the hour with the most moisture to remove. Returns plain
    numbers and texts, units in the names. UsageError where the run has no such site, strategy or hour.
    """
    site(run, site_id)
    results = run.table("strategies").filter(pl.col("site_id") == site_id).collect()
    ranked = run.table("ranking").filter(pl.col("site_id") == site_id).collect().row(0, named=True)
    name = _strategy(results, strategy or ranked["best_strategy"])
    worked = worked_again(run, site_id, name)
    conditions, sized, sheets = worked.conditions, worked.sized, worked.sheets
    every, damp, told_by = worked.every, worked.damp, worked.told_by
    about = worked.used.row(0, named=True)
    year = _year(results, name, told_by, every, damp)
    hour = _hour(run, told_by, sheets, every, damp, at)
    month, date = int(hour["at"][:2]), int(hour["at"][3:5])
    return {
        "site": {key: about[key] for key in ("site_id", "name", "building_type", "climate_zone", "station")}
        | {key: about[key] for key in ("station_name", "station_distance_km", "elevation_m", "floor_area_m2")},
        "strategy": name,
        "summary": REGISTRY[name].summary,
        "current_strategy": ranked["current_strategy"],
        "best_strategy": ranked["best_strategy"],
        "year": year,
        "design_conditions": {key: conditions[key].item() for key in CONDITIONS},
        "equipment": {key: sized[key].item() for key in EQUIPMENT} | {"bypass": 1 - sized["contact"].item()},
        "assumptions": _assumptions(about),
        "assumed_share": about["assumed_share"],
        "day": of_day(every, damp, told_by, REFERENCE.name, month, date).to_dicts(),
        "bills": of_year(run, site_id, name).to_dicts(),
        "hour": hour,
        "checks": _checks(results, name, _added_up(every, damp, told_by), hour, worked.carried_apart),
    }


@dataclass(frozen=True)
class Worked:
    """A site worked again with one strategy: what it is, its weather, and its hours with every step kept.

    `every` has each hour of the year, in order, worked for the reference from what the strategy left an hour before, `damp` those
    that are then above the limit, with `told_by`: the strategy, or today's where it is one without equipment. `carried_apart`:
    how far hours begin from where the one before ended [K, or g/kg]: the states are those of the engine, the hours those of
    Polars.
    """

    used: pl.DataFrame
    told_by: str
    hours: pl.DataFrame
    conditions: pl.DataFrame
    sized: pl.DataFrame
    sheets: tuple[Worksheet, Worksheet]
    every: pl.DataFrame
    damp: pl.DataFrame
    carried_apart: float


def worked_again(run: outputs.RunFolder, site_id: str, strategy: str) -> Worked:
    """The hours of a site with a strategy it can have. UsageError where the run has no such site."""
    used = site(run, site_id)
    hours = _weather(run, used["weather_id"].item())
    conditions = climate.design_conditions(used["weather_id"].to_list(), hours)
    sized = engine.size(used, conditions, run.input("equipment"), run.input("profiles"), run.input("offers"))
    told_by = strategy
    if REGISTRY[strategy].sets is not None:
        sized, told_by = engine.as_run(sized, strategy), used["current_strategy"].item()
    sheets, dates = engine.plan([told_by]), Settings(**run.settings).dates
    year = engine.years(hours, dates)[used["weather_id"].item()]
    begun = engine.states(sized, year, told_by)
    known = engine.dated(hours, dates).with_columns(at=pl.int_range(pl.len()))
    known = known.drop("pressure_pa")  # the site's counts
    begun = begun.drop({*begun.columns} & {*known.columns} - {"at"})
    every = sheets[0].apply(begun.join(known, on="at", maintain_order="left").lazy()).collect()
    whole = sheets[1].apply(every.lazy()).collect()
    return Worked(used, told_by, hours, conditions, sized, sheets, every, whole.filter("damp"), _carried_apart(whole))


def _carried_apart(hours: pl.DataFrame) -> float:
    """How far the state an hour begins with lies from the one in which the hour before ended [K, or g/kg], at most."""
    ends = {
        "last_c": ("space_c", 1.0),
        "last_mass_c": ("mass_c", 1.0),
        "last_humidity_ratio": ("humidity_ratio", 1000.0),
    }
    apart = ((pl.col(f"hour.{end}").shift() - pl.col(name)).abs() * unit for name, (end, unit) in ends.items())
    return float(hours.select(pl.max_horizontal(each.max() for each in apart)).item())


def site(run: outputs.RunFolder, site_id: str) -> pl.DataFrame:
    """The row of a site as it was used. UsageError where the run has no such site."""
    sites = run.table("sites_used")
    used = sites.filter(pl.col("site_id") == site_id).collect()
    if used.height == 1:
        return used
    known = sites.select("site_id").collect()["site_id"].to_list()
    near = get_close_matches(site_id, known, n=3) or known[:3]
    raise UsageError(f"the run has no site {site_id}; it has {len(known):,} sites, such as {', '.join(near)}")


def _strategy(results: pl.DataFrame, name: str) -> str:
    if name not in REGISTRY:
        raise UsageError(f"there is no strategy {name}; use one of {', '.join(REGISTRY)}")
    reason = results.filter(pl.col("strategy") == name)["unavailable"].item()
    if reason is not None:
        raise UsageError(f"{name} cannot work at this site: {reason}")
    return name


def _weather(run: outputs.RunFolder, weather_id: str) -> pl.DataFrame:
    if weather_id.startswith(climate.OWN_WEATHER):
        return run.input("weather").filter(pl.col("weather_id") == weather_id)
    return climate.hours([weather_id])


def _added_up(every: pl.DataFrame, damp: pl.DataFrame, name: str) -> dict[str, float]:
    """Electricity and fuel of the year [kWh] with the strategy: the Polars hours, added up."""
    told = [(every, [REFERENCE.name])]
    if name != REFERENCE.name:
        told = [(every.filter(~pl.col("damp")), [REFERENCE.name, f"{name}.standby"]), (damp, [name])]
    sums = dict.fromkeys((f"{carrier}_kwh" for carrier in CARRIERS), 0.0)
    for frame, prefixes in told:
        for carrier in CARRIERS:
            powers = [f"{prefix}.{carrier}_w" for prefix in prefixes if f"{prefix}.{carrier}_w" in frame.columns]
            kwh = frame.select((pl.col(power) * pl.col("weight_h") / 1000).sum() for power in powers)
            sums[f"{carrier}_kwh"] += sum(kwh.row(0))
    return sums


def _checks(
    results: pl.DataFrame, name: str, added_up: dict[str, float], hour: Document, carried_apart: float
) -> Document:
    """How well the hours agree with the run's table, and the printed states with psychrolib."""
    row, reference = (results.filter(pl.col("strategy") == s).row(0, named=True) for s in (name, REFERENCE.name))
    less = {key: kwh - row[key] for key, kwh in added_up.items()}
    room = AS_THE_TABLE * max(abs(each[key]) for each in (row, reference) for key in added_up)
    states_apart = apart(hour["states"], hour["weather"]["pressure_pa"])
    return {
        "added_up_less_table_kwh": less,
        "carried_apart": carried_apart,
        "states": len(hour["states"]),
        "states_apart_from_psychrolib": states_apart,
        "agree": all(abs(kwh) <= room for kwh in less.values())
        and agree(states_apart)
        and carried_apart < CARRIED_APART,
    }


def _year(results: pl.DataFrame, name: str, told_by: str, every: pl.DataFrame, damp: pl.DataFrame) -> Document:
    row, reference = (results.filter(pl.col("strategy") == s).row(0, named=True) for s in (name, REFERENCE.name))
    dry = every if told_by == REFERENCE.name else every.filter(~pl.col("damp"))
    shares = [_shares(dry, REFERENCE.name)] + ([_shares(damp, told_by)] if told_by != REFERENCE.name else [])
    heat = {key: sum(share[0][key] for share in shares) / 1000 for key in shares[0][0]}
    kg = {key: sum(share[1][key] for share in shares) * 3600 for key in shares[0][1]}
    uses = [use for use in ENERGIES_KWH if row[use] or reference[use]]
    return {
        "heat_kwh": heat,
        "heat_residual_kwh": sum(heat.values()),
        "water_kg": kg,
        "water_residual_kg": sum(kg.values()),
        "hours": every["weight_h"].sum(),
        "damp_hours": damp["weight_h"].sum(),
        "energy_kwh": {use: row[use] for use in uses},
        "reference_energy_kwh": {use: reference[use] for use in uses},
        "electricity_kwh": row["electricity_kwh"],
        "fuel_kwh": row["fuel_kwh"],
        **{name: row[name] for name in DEHUMIDIFICATION},
        "energy_for_water": water(results, name, damp),
        "reached": {key: row[key] for key in REACHED},
        "refrigeration": {key: row[key] for key in CASES},
        "device": {key: row[key] for key in DEVICE},
        "money": {key: row[key] for key in MONEY},
    }


def _shares(frame: pl.DataFrame, strategy: str) -> tuple[dict[str, float], dict[str, float]]:
    """What brings and takes heat [Wh] and water [kg/s h] over the hours of a frame; each adds up to nothing."""
    worked, heat, water = balance_terms(frame, strategy)
    return _weighted(worked, heat), _weighted(worked, water)


def balance_terms(frame: pl.DataFrame, strategy: str) -> tuple[pl.DataFrame, dict[str, pl.Expr], dict[str, pl.Expr]]:
    """What brings and takes heat [W] and water [kg/s] in each hour, as columns of the frame that is returned."""
    sheet = Worksheet()
    state = (col(f"{strategy}.{column}") for column in ("space_c", "humidity_ratio"))
    heats, waters = loads.gains_by_source(sheet.section("part"), *state)
    worked = sheet.apply(frame.lazy()).collect()
    heat = {key: pl.col(f"part.heat.{key}") for key in heats}
    heat |= {key: _there(frame, strategy, column) for key, column in BALANCE.items()}
    heat |= {key: -_there(frame, strategy, column) for key, column in TAKEN.items()}
    water = {key: pl.col(f"part.water.{key}") for key in waters}
    water |= {use: -_there(frame, strategy, column) for use, column in REMOVED.items()}
    return worked, heat, water


def _weighted(worked: pl.DataFrame, shares: dict[str, pl.Expr]) -> dict[str, float]:
    sums = worked.select((share * pl.col("weight_h")).sum().alias(key) for key, share in shares.items())
    return sums.row(0, named=True)


def _there(frame: pl.DataFrame, strategy: str, column: str) -> pl.Expr:
    """A column of the strategy's outcome; what it never has is nothing."""
    if column not in FIELDS:
        raise KeyError(f"no hour has {column}")
    name = f"{strategy}.{column}"
    return pl.col(name) if name in frame.columns else pl.lit(0.0)


def _assumptions(about: Document) -> list[Document]:
    """Every figure of the site, and where it is from; after its own those that its building type alone has."""
    told = {key: about[f"{key}_origin"] for key in about if f"{key}_origin" in about and about[key] is not None}
    known = {key: origin for key, origin in told.items() if origin is not None} | type_figures.origins(about)
    return [{"name": key, "value": about[key], "origin": origin} for key, origin in known.items()]


def _hour(
    run: outputs.RunFolder,
    name: str,
    sheets: tuple[Worksheet, Worksheet],
    every: pl.DataFrame,
    damp: pl.DataFrame,
    at: str | None,
) -> Document:
    hour = _chosen(every, damp, at)
    when = pl.all_horizontal(pl.col(key) == hour[key].item() for key in ("month", "day", "hour"))
    acts = name != REFERENCE.name and hour["damp"].item()
    frame, strategy = (damp.filter(when), name) if acts else (hour, REFERENCE.name)
    sheet = sheets[1] if acts else sheets[0]
    heat, water = _shares(frame, strategy)
    weight = frame["weight_h"].item()
    heat, water = ({key: share / weight for key, share in shares.items()} for shares in (heat, water))
    powers = {use.power_w: frame.select(_there(frame, strategy, use.power_w)).item() for use in END_USES}
    standby = _standby(frame, name) if not acts else {}
    drawn = {power_w: power + standby.get(power_w, 0.0) for power_w, power in powers.items()}
    return {
        "at": f"{int(hour['month'].item()):02}-{int(hour['day'].item()):02}T{int(hour['hour'].item()):02}",
        "weight_h": weight,
        "damp": bool(hour["damp"].item()),
        "strategy": strategy,
        "weather": hour.select(*engine.WEATHER, "pressure_pa").row(0, named=True),
        "states": _states(frame, sheet, strategy),
        "processes": _processes(frame, sheet),
        "heat_w": heat,
        "heat_residual_w": sum(heat.values()),
        "water_kg_s": water,
        "water_residual_kg_s": sum(water.values()),
        "power_w": {use.name: powers[use.power_w] for use in END_USES if powers[use.power_w]},
        "standby_w": standby,
        "bill": bill(run, hour["tariff_id"].item(), hour, drawn),
        "steps": _steps(frame, sheets if acts else sheets[:1]),
    }


def _chosen(every: pl.DataFrame, damp: pl.DataFrame, at: str | None) -> pl.DataFrame:
    """The one hour asked for, or the one with the most moisture to remove, or else the most cooling."""
    if at is None:
        frame, most = (damp, "moisture_at_limit_kg_s") if not damp.is_empty() else (every, "cooling_load_w")
        row = frame.sort(most, "month", "day", "hour", descending=[True, False, False, False]).head(1)
        return every.join(row.select("month", "day", "hour"), on=["month", "day", "hour"], how="semi")
    found = AT.fullmatch(at)
    if not found:
        raise UsageError(f"--at is MM-DDTHH, such as 07-12T15, not {at}")
    month, day, hour = map(int, found.groups())
    row = every.filter((pl.col("month") == month) & (pl.col("day") == day) & (pl.col("hour") == hour))
    if row.is_empty():
        last: Any = every.filter(pl.col("month") == month)["day"].max()
        days = f"; month {month:02} has days 01 to {last:02} here" if last else "; months are 01 to 12"
        raise UsageError(f"the year of this site has no hour {at}{days}, hours are 00 to 23")
    return row


def _states(frame: pl.DataFrame, sheet: Worksheet, strategy: str) -> list[Document]:
    """States of air: of the weather and the space, and those the strategy showed.

    Air that holds more water than it can is shown saturated: outdoor air that was so at the pressure of its hour, at a site whose
    standard atmosphere is heavier, and mixtures of cold outdoor air and damp air of the space, in which fog forms.
    """
    shown: list[tuple[str, Number, Number]] = [
        ("outdoor air", col("outdoor_c"), col("outdoor_humidity_ratio")),
        ("space", col(f"{strategy}.space_c"), col(f"{strategy}.humidity_ratio")),
        ("limit at the cooling set point", col("cooling_setpoint_c"), col("limit_humidity_ratio")),
    ]
    shown += [(state.name, state.dry_bulb_c, state.humidity_ratio) for state in sheet.states.values()]
    pressure = frame["pressure_pa"].item()
    found = (frame.select(t=polars(t), w=polars(w)).row(0) for _, t, w in shown)
    held = [(t, min(w, plain(air.humidity_ratio_from_relative_humidity(t, 1.0, pressure)))) for t, w in found]
    return [state(name, t, w, pressure) for (name, _, _), (t, w) in zip(shown, held, strict=True)]


def _processes(frame: pl.DataFrame, sheet: Worksheet) -> list[Document]:
    told = []
    for process in sheet.processes.values():
        figures = frame.select(
            flow_kg_s=polars(process.flow_kg_s),
            heat_w=polars(process.heat_w),
            water_kg_s=polars(process.water_kg_s),
            power_w=polars(process.power_w),
        )
        about = {"name": process.name, "from": process.entering, "to": process.leaving}
        told.append(about | figures.row(0, named=True) | {"law": process.law})
    return told


def _standby(frame: pl.DataFrame, name: str) -> dict[str, float]:
    """What the strategy's equipment draws, or saves, in an hour that is not damp."""
    known = {power: f"{name}.standby.{power}" for power in POWERS_W}
    return {power: frame[column].item() for power, column in known.items() if column in frame.columns}


def _steps(frame: pl.DataFrame, sheets: tuple[Worksheet, ...]) -> list[Document]:
    """The worksheet itself, line by line, with the reason of each."""
    row = frame.row(0, named=True)
    return [
        {"name": step.name, "value": row[step.name], "why": step.why}
        for sheet in sheets
        for step in sheet.steps.values()
        if step.name in row
    ]
