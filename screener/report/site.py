"""The page of one site: its account, its moisture, the humidity it is held at, and the air of its design hour."""

import calendar
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote

import polars as pl

from screener import text
from screener.contracts import load
from screener.contracts.origins import ASSUMED
from screener.explain import assumed_in_words, origins_of_type
from screener.report.charts.day import day
from screener.report.charts.end_uses import end_uses
from screener.report.charts.humidity import humidity
from screener.report.charts.moisture import moisture
from screener.report.charts.psychrometric import Path, Process, Space, State, numbered, psychrometric
from screener.report.page import render
from screener.report.palette import END_USES
from screener.report.svg import Chart
from screener.report.tables import Column, Table, table
from screener.report.words import figure_name, unit_name
from screener.units import figure_to_us

TOLD_ABOVE = ("site_id", "name")
MONTHS = tuple(calendar.month_name)[1:]
AT_CASES = ("hours_door_glass_fogged", "hours_frost_on_goods")
DAYS = {"working": "on a working day", "other": "on another day"}


@dataclass(frozen=True)
class SiteFindings:
    """What a run knows of a site, and its hours worked out again.

    `ranked`, `used`: its rows of the ranking and of the sites used. `results`: its rows of the strategy results, with
    `holds`: whether the limit is held as well as today.
    `hours`: the air of the design hour by strategy, today's first: `at`, `states` and `processes` as `explain` has them.
    `outdoor`: outdoor_c [degC], outdoor_humidity_ratio [kg/kg], weight_h [h]. `months`: see `charts.moisture`.
    `held`: see `charts.humidity`, as is `called`. `day`: see `charts.day`, of month and day `date`.
    `odds`: its row of the odds with `find_out`, where the run has some.
    `own`: heading and text of the owner's own columns. `peaks`: strategy, month, day_kind, hour, peak_kw.
    `bills`: of the strategies of `hours`, see `explain.bills`.
    """

    settings: Mapping[str, Any]
    ranked: Mapping[str, Any]
    used: Mapping[str, Any]
    results: pl.DataFrame
    hours: Mapping[str, Mapping[str, Any]]
    outdoor: pl.DataFrame
    months: pl.DataFrame
    held: pl.DataFrame
    day: pl.DataFrame
    date: tuple[int, int]
    called: Mapping[str, str]
    peaks: pl.DataFrame
    bills: pl.DataFrame
    space: Space
    limit_dew_point_c: float
    summaries: Mapping[str, str]
    placeholders: Sequence[str]
    odds: Mapping[str, Any] | None = None
    run_date: str = ""
    own: Sequence[tuple[str, str]] = ()

    @property
    def now(self) -> str:
        """Today's strategy."""
        return str(self.ranked["current_strategy"])

    @property
    def is_assumed(self) -> bool:
        """Whether nobody stated today's strategy."""
        return str(self.used["current_strategy_origin"]).startswith(ASSUMED)

    @property
    def best(self) -> str:
        """The best one, which may be today's."""
        return str(self.ranked["best_strategy"])


def file_name(site_id: str) -> str:
    """A name for the files of a site, whatever its id: other signs than letters, digits, - and _ are written as %xx."""
    return "site-" + quote(site_id, safe="").replace(".", "%2E")


def site_page(found: SiteFindings) -> str:
    """The page of a site as one HTML document that needs nothing else."""
    return render(
        "site.html",
        found=found,
        site=found.ranked,
        money=found.settings["currency"],
        charts=site_charts(found),
        tables={each.name: each for each in _tables(found)},
        peaks=[_peak(row) for row in found.peaks.iter_rows(named=True)],
        facts=_facts(found),
        assumed=assumed_in_words(_figures(found)["origin"].to_list(), found.ranked["assumed_share"]),
    )


def site_charts(found: SiteFindings) -> dict[str, Chart]:
    """The pictures of the page, by name."""
    paths = _paths(found)
    hour = next(iter(found.hours.values()))
    charts = (
        psychrometric(found.outdoor, found.space, paths, f"Hour {hour['at']} (month-day, hour of the day)."),
        moisture(found.months, found.now, found.best),
        day(found.day, found.now, found.best, found.date),
        humidity(found.held, found.limit_dew_point_c, dict(found.called)),
        end_uses(_bars(found), "kWh a year", f"Every strategy that {found.ranked['site_id']} can have"),
    )
    return {chart.name: chart for chart in charts}


def _paths(found: SiteFindings) -> list[Path]:
    return [_path(strategy, hour) for strategy, hour in found.hours.items()]


def _path(strategy: str, hour: Mapping[str, Any]) -> Path:
    """The states and processes of a strategy's hour; the limit is drawn as a line of its own."""
    states = [
        State(s["name"], s["dry_bulb_c"], s["humidity_ratio"], s["dew_point_c"])
        for s in hour["states"]
        if not s["name"].startswith("limit")
    ]
    known = {state.name for state in states}
    processes = [Process(p["name"], p["from"], p["to"]) for p in hour["processes"]]
    return Path(strategy, states, [p for p in processes if {p.start, p.end} <= known])


def _bars(found: SiteFindings) -> pl.DataFrame:
    """The strategies of the site for the chart of end uses, today's and the best one marked."""
    there = found.results.filter(pl.col("unavailable").is_null())
    order = pl.DataFrame({"strategy": list(found.summaries)})
    role = (
        pl.when(pl.col("strategy") == found.now)
        .then(pl.lit("today"))
        .when(pl.col("strategy") == found.best)
        .then(pl.lit("best"))
    )
    hours = pl.when(pl.col("hours_above_limit") >= 1).then(
        pl.concat_str(pl.lit("above the limit "), pl.col("hours_above_limit").round().cast(pl.Int64), pl.lit(" h/yr"))
    )
    note = pl.concat_list(role, hours).list.drop_nulls().list.join(", ")
    ordered = order.join(there, on="strategy", maintain_order="left").filter(pl.col("is_current").is_not_null())
    return ordered.select(
        label=pl.col("strategy").str.replace_all("_", " "), note=note, **{name: pl.col(name) for name in END_USES}
    )


def _peak(row: Mapping[str, Any]) -> str:
    """The hour of the highest power in words."""
    hour = row["hour"]
    return (
        f"{text.words(row['strategy'])}: {row['peak_kw']:,.1f} kW in {MONTHS[row['month'] - 1]}, "
        f"{DAYS[row['day_kind']]}, {hour} to {hour + 1} o'clock"
    )


def _facts(found: SiteFindings) -> list[tuple[str, str]]:
    """What the site is, in both systems of units."""
    values = {**found.used, "limit_dew_point_c": found.limit_dew_point_c}
    named = {
        "floor_area_m2": ("floor area", "m²", "ft²"),
        "outdoor_air_l_s": ("outdoor air while open", "L/s", "cfm"),
        "cooling_setpoint_c": ("cooling set point", "°C", "°F"),
        "limit_dew_point_c": ("humidity limit, dew point", "°C", "°F"),
        "cooling_capacity_kw": ("installed cooling", "kW", "tons"),
    }
    told = []
    for column, (name, si, us) in named.items():
        value = values[column]
        if value is not None:
            form = text.tenths if abs(value) < 100 else text.whole
            told.append((name, f"{form(value)} {si} ({form(figure_to_us(value, column))} {us})"))
    return [*told, *found.own]


def _tables(found: SiteFindings) -> list[Table]:
    money = found.settings["currency"]
    strategies = [
        Column("strategy", "strategy", width="some"),
        Column("dehumidification_electricity_kwh", "electricity for humidity", "kWh/yr", text.whole),
        Column("dehumidification_fuel_kwh", "fuel for it", "kWh/yr", text.whole),
        Column("peak_kw", "highest power", "kW", text.tenths),
        Column("hours_above_limit", "above limit", "h/yr", text.whole),
        Column("hours_door_glass_fogged", "door glass fogged", "h/yr", text.whole),
        Column("hours_frost_on_goods", "frost on goods", "h/yr", text.whole),
        Column("holds_limit", "holds it as well as today"),
        Column("annual_cost", "energy cost", f"{money}/yr", text.whole),
        Column("cost_saved", "saved", f"{money}/yr", text.whole),
        Column("investment", "investment", money, text.whole),
        Column("net_savings", "net savings", money, text.whole),
        Column("simple_payback_years", "payback", "years", text.tenths),
    ]
    behind = [
        Column("electricity_kwh", "electricity", "kWh/yr", text.whole),
        Column("fuel_kwh", "fuel", "kWh/yr", text.whole),
        Column("water_removed_kg", "water removed", "L/yr", text.whole),
        Column("case_savings", "spared at cases", f"{money}/yr", text.whole),
    ]
    cannot = [Column("strategy", "strategy", width="some"), Column("unavailable", "why not", width="wide")]
    figures = [
        Column("figure", "figure", width="some"),
        Column("value", "value"),
        Column("unit", "unit"),
        Column("origin", "where it is from", width="wide"),
    ]
    states = [
        Column("point", "point", form=text.whole),
        Column("strategy", "strategy", width="some"),
        Column("name", "state", width="some"),
        Column("dry_bulb_c", "dry-bulb", "°C", text.decimals(2)),
        Column("g_kg", "humidity ratio", "g/kg", text.decimals(3)),
        Column("dew_point_c", "dew point", "°C", text.decimals(2)),
        Column("kj_kg", "enthalpy", "kJ/kg", text.decimals(2)),
    ]
    bills = [
        Column("strategy", "strategy", width="some"),
        Column("month", "month"),
        Column("electricity_kwh", "electricity", "kWh", text.whole),
        Column("peak_kw", "air system's peak", "kW", text.tenths),
        Column("peak_at", "at"),
        Column("meter_kw", "meter's", "kW", text.tenths),
        Column("energy_cost", "energy", money, text.decimals(2)),
        Column("demand_cost", "demand", money, text.decimals(2)),
        Column("fuel_cost", "fuel", money, text.decimals(2)),
        Column("total", "total", money, text.decimals(2)),
    ]
    find_out = [
        Column("figure", "figure", width="some"),
        Column("worth_knowing", "worth knowing", money, text.rounded),
    ]
    asked = pl.DataFrame(schema={"figure": pl.String, "worth_knowing": pl.Float64})
    asked = asked if found.odds is None else found.odds["find_out"]
    named = pl.col("month").replace_strict(dict(enumerate(MONTHS, start=1)), return_dtype=pl.String)
    results = found.results.with_columns(role=pl.col("is_current").cast(int) * 2 + (pl.col("strategy") == found.best))
    results = results.sort(
        "role", "holds_limit", "net_savings", "strategy", descending=[True, True, True, False], nulls_last=True
    )
    there = results.filter(pl.col("unavailable").is_null())
    there = there.with_columns(holds_limit=pl.when("holds_limit").then(pl.lit("yes")).otherwise(pl.lit("no")))
    absent = results.filter(pl.col("unavailable").is_not_null())
    empty = {name for name in AT_CASES if there[name].null_count() == there.height}
    strategies = [column for column in strategies if column.name not in empty]
    return [
        table("strategies", "Every strategy that this site can have", there, strategies, behind),
        table("cannot", "What it cannot have, and why", absent, cannot),
        table("bills", "What the air system is charged, month by month", found.bills.with_columns(named), bills),
        table("states", "The air of the design hour", _states(found), states),
        table("find-out", "Blanks, and what knowing each before choosing is worth", asked, find_out),
        table("figures", "What the site is, and where each figure is from", _figures(found), figures),
    ]


def _states(found: SiteFindings) -> pl.DataFrame:
    """Every state of the hour with the number it has on the chart; the limit has none."""
    paths = _paths(found)
    points = {(p.strategy, state.name): number for p in paths for number, state in numbered(paths, p)}
    rows = [
        {"strategy": strategy, "point": points.get((strategy, state["name"])), **state}
        for strategy, hour in found.hours.items()
        for state in hour["states"]
    ]
    return pl.DataFrame(rows, infer_schema_length=None).with_columns(
        g_kg=pl.col("humidity_ratio") * 1000, kj_kg=pl.col("enthalpy_j_kg") / 1000
    )


def _figures(found: SiteFindings) -> pl.DataFrame:
    """Every figure of the site that has an origin, its own and those of its building type, in the words of their contracts."""
    fields = {field.name: field for table in ("building_types", "sites") for field in load(table).fields}
    own = {name: found.used.get(f"{name}_origin") for name in load("sites").columns if name not in TOLD_ABOVE}
    rows = [
        {
            "figure": figure_name(fields[name]),
            "value": f"{value:,.6g}" if isinstance(value, float) else text.words(value),
            "unit": unit_name(fields[name].unit),
            "origin": origin,
        }
        for name, origin in (own | origins_of_type(found.used)).items()
        if (value := found.used.get(name)) is not None and origin is not None
    ]
    return pl.DataFrame(rows, schema={"figure": pl.String, "value": pl.String, "unit": pl.String, "origin": pl.String})
