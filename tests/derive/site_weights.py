"""Work out what each figure of a site is worth to the ranking: `python -m tests.derive.site_weights OUT.csv`.

For every building type, climate zone and way of controlling humidity a site with the type's own figures is worked out, then
worked out again with one figure changed at a time, up and down, by as much as real buildings commonly differ from it.
The worth of the figure is the mean move of what the best change would save in a year, per floor area, at the prices of
TARIFF. Investments are left out: they are the owner's, and would hide what a figure does to a site just below the line.
"""

import sys
import tempfile
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import polars as pl

from screener import pipeline
from screener.assumptions import weights
from screener.climate.places import REPRESENTATIVE
from screener.contracts import load
from screener.contracts.limits import LIMIT_COLUMNS
from screener.exact import significant
from screener.tables import shipped

TARIFF = "tariff_id,electricity_price_per_kwh,demand_price_per_kw,fuel_price_per_kwh\nT,0.12,10,0.04\n"
AREAS_M2 = {  # of an ordinary building of the type: common practice, no source
    "supermarket": 4000,
    "convenience_store": 280,
    "restaurant": 350,
    "retail": 2000,
    "office": 3000,
    "school": 6000,
    "manufacturing": 4000,
    "warehouse": 5000,
    "fitness_centre": 2500,
    "library_archive": 2500,
    "commissary": 2000,
}
# How far real buildings commonly lie from the figure of their type, down and up: common practice, no source.
TIMES = {
    "floor_area_m2": (0.75, 1.25),
    "peak_occupants": (0.5, 1.5),
    "outdoor_air_l_s": (0.7, 1.3),
    "infiltration_l_s_m2": (0.5, 2),
    "process_moisture_kg_h": (0.5, 2),
    "open_case_length_m": (0.7, 1.3),
    "door_case_length_m": (0.7, 1.3),
    "cooling_capacity_kw": (0.75, 1.35),
    "cooling_units": (0.5, 2),
    "thermal_mass": (0.5, 2),
    "moisture_buffer": (0.5, 2.5),
    "exhaust_share": (0.5, 1.4),
    "cooling_cop": (0.85, 1.15),
}
PLUS = {
    "opens_hour": (-2, 2),
    "closes_hour": (-2, 2),
    "open_days_per_week": (-1, 1),
    "cooling_setpoint_c": (-1, 1),
    "heating_setpoint_c": (-1.5, 1.5),
    "humidity_limit_dew_point_c": (-1.5, 1.5),
    "humidity_limit_rh_pct": (-5, 5),
}
TODAY = ("temperature_only", "overcool_electric_reheat", "overcool_fuel_reheat", "standalone_dehumidifier")
INSTEAD: Mapping[str, tuple[Any, ...]] = {
    "heating_source": ("fuel", "electric", "heat_pump"),
    "supply_fan": ("continuous", "cycling"),
    "fan_beside_unit": ("continuous", "cycling"),
    "re_evaporation": ("none", "moderate", "strong"),
    "current_strategy": TODAY,
}
HEAD = """\
# What each figure of a site is worth to the ranking: money a year and square metre of floor that hangs on it.
# Made by `python -m tests.derive.site_weights screener/assumptions/weights.csv`: {sites:,} sites through the engine, every figure
# changed by itself as the head of tests/derive/site_weights.py says, at the prices there.
# Rows: building type and climate zone. Sum over the columns of the cells a site leaves empty, over the sum of all: its
# assumed_share.
"""


def ordinary() -> list[dict[str, Any]]:
    """A bare site for each building type, climate zone and usual way of controlling humidity."""
    return [
        {
            "site_id": f"{kind}|{zone}|{strategy}",
            "building_type": kind,
            "climate_zone": zone,
            "floor_area_m2": area,
            "current_strategy": strategy,
            "tariff_id": "T",
        }
        for kind, area in AREAS_M2.items()
        for zone in REPRESENTATIVE
        for strategy in TODAY
    ]


def variants(site: Mapping[str, Any]) -> Iterator[dict[str, Any]]:
    """The site with one figure changed, as often as there are changes; site_id ends in the figure and a number."""
    for name, value in site.items():
        for number, changed in enumerate(_others(name, value)):
            figure = weights.LIMIT if name in LIMIT_COLUMNS else name
            yield {**site, name: changed, "site_id": f"{site['site_id']}|{figure}|{number}"}


def _others(name: str, value: Any) -> list[Any]:
    """What a figure may be instead, within the bounds of its contract."""
    if value is None:
        return []
    if name in INSTEAD:
        return [other for other in INSTEAD[name] if other != value]
    moved = [value * factor for factor in TIMES.get(name, ())] + [value + step for step in PLUS.get(name, ())]
    limits = load("sites").field(name).constraints or {}
    low, high = limits.get("minimum", -1e9), limits.get("maximum", 1e9)
    within = [min(max(each, low), high) for each in moved]
    return [round(each) for each in within] if load("sites").field(name).kind == "integer" else within


def ranked(sites: list[dict[str, Any]], folder: Path) -> Path:
    """The run folder of these sites; a change that the tables do not accept, such as heating above cooling, is left out."""
    portfolio = folder / "portfolio"
    portfolio.mkdir(exist_ok=True)
    (portfolio / "tariffs.csv").write_text(TARIFF, encoding="utf-8")
    pl.DataFrame(sites, infer_schema_length=None).write_parquet(portfolio / "sites.parquet")
    pipeline.run(portfolio, folder / "run", force=True)
    return folder / "run"


def best_savings(run: Path) -> pl.DataFrame:
    """`site_id` and `saved`: what the best change that holds the limit as well as today would save a year, or cost."""
    results = pl.read_parquet(run / "strategies.parquet").filter(pl.col("unavailable").is_null())
    able = results.filter(pl.col("candidate") & ~pl.col("is_current") & pl.col("holds_limit"))
    return able.group_by("site_id").agg(saved=pl.col("cost_saved").max()).sort("site_id")


def worked_weights(bare: list[dict[str, Any]], folder: Path) -> tuple[pl.DataFrame, int]:
    """Worth of each figure by building type and climate zone, and how many sites it took."""
    columns = [name for name in load("sites").columns if name in {*bare[0], *TIMES, *PLUS, *INSTEAD}]
    whole = pl.read_parquet(ranked(bare, folder) / "sites_used.parquet").select(columns).to_dicts()
    changed = [variant for site in whole for variant in variants(site)]
    answers = best_savings(ranked([*whole, *changed], folder))
    parts = pl.col("site_id").str.split("|")
    keyed = answers.select(
        "saved",
        site=parts.list.head(3).list.join("|"),
        building_type=parts.list.get(0),
        climate_zone=parts.list.get(1),
        figure=parts.list.get(3, null_on_oob=True),
    )
    before = keyed.filter(pl.col("figure").is_null()).select("site", before="saved")
    moved = keyed.drop_nulls("figure").join(before, on="site", maintain_order="left")
    area = pl.col("building_type").replace_strict(AREAS_M2, return_dtype=pl.Float64)
    moved = moved.with_columns(move=(pl.col("saved") - pl.col("before")).abs() / area)
    means = moved.group_by("building_type", "climate_zone", "figure").agg(pl.col("move").mean()).sort(pl.all())
    table = means.pivot("figure", index=["building_type", "climate_zone"], values="move").fill_null(0.0)
    order = [name if name not in LIMIT_COLUMNS else weights.LIMIT for name in columns]
    figures = [name for name in dict.fromkeys(order) if name in table.columns and name not in weights.KEYS]
    return significant(table.select(*weights.KEYS, *figures), 3), answers.height


def main(arguments: list[str]) -> int:
    """Command line of this module."""
    if len(arguments) != 1:
        print(__doc__, file=sys.stderr)
        return 2
    assert set(AREAS_M2) == set(shipped.building_types().values["building_type"])
    with tempfile.TemporaryDirectory() as folder:
        table, sites = worked_weights(ordinary(), Path(folder))
    Path(arguments[0]).write_text(HEAD.format(sites=sites) + table.write_csv(), encoding="utf-8", newline="\n")
    print(f"{table.height} rows from {sites:,} sites")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
