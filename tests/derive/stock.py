"""Default buildings beside surveyed ones: `python -m tests.derive.stock` prints the tables of DEVELOPERS.md.

A building of each type with nothing given but floor area and place is worked out with temperature_only in five climates:
electricity of compressor and supply fans per floor area. Beside it stand the quartiles of cooling and ventilation in the
Commercial Buildings Energy Consumption Survey of 2003 (US energy information administration, public domain), by building
activity. The defaults heat with fuel, so electric heating is left out on both sides. The file holds no weights: each surveyed
building counts once, and only those that are cooled and ventilated count at all. The survey measured whole buildings;
its end uses are estimates made from them.

A second table has what heats the space from inside: lights and equipment of the defaults, as a mean of the year, beside lighting,
office equipment, computers and the rest of all surveyed buildings, and refrigeration, part of which stands in the space.
"""

import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import polars as pl

from screener import climate, engine, ledger, loads
from screener.climate.places import REPRESENTATIVE
from screener.contracts.hour import SHARES
from screener.strategies import REFERENCE
from screener.units import BTU_J, FOOT_M, J_PER_KWH
from tests.derive.site_weights import AREAS_M2
from tests.engine_cases import SHARED, filled, sized

SURVEY = SHARED / "stock" / "cbecs2003_electricity_end_uses_kbtu.csv"
USES = ("cooling", "ventilat")  # of the survey
INTERNAL = ("lighting", "office", "computer", "misc")  # of the survey
COMPARED = ("compressor_kwh", "fans_kwh")  # of ours
SOUTH = 3  # census region: the humid part of the country and its neighbours (code from memory)
KWH_PER_KBTU = 1000 * BTU_J / J_PER_KWH
M2_PER_FT2 = FOOT_M**2
CLIMATES = {"Houston, humid": "2A", "Baltimore, mixed": "4A", "Chicago, cold": "5A", "Phoenix, dry": "2B"}
CLIMATES |= {"Seattle, marine": "4C"}
QUARTILES = {"low": 0.25, "median": 0.5, "high": 0.75}
LARGE_FT2 = (
    10_000  # a food store above it counts as supermarket, below as convenience store: common practice, no source
)


@dataclass(frozen=True)
class Activity:
    """Buildings of the survey: code of the principal activity, its name, and floor areas [ft2] to count."""

    code: int
    name: str
    at_least_ft2: float = 0.0
    below_ft2: float = float("inf")


# Codes from memory; the survey has neither factories nor plants that prepare food.
ACTIVITIES = {
    "supermarket": Activity(6, f"food sales from {LARGE_FT2:,} ft2", at_least_ft2=LARGE_FT2),
    "convenience_store": Activity(6, f"food sales below {LARGE_FT2:,} ft2", below_ft2=LARGE_FT2),
    "restaurant": Activity(15, "food service"),
    "retail": Activity(25, "retail other than mall"),
    "office": Activity(2, "office"),
    "school": Activity(14, "education"),
    "warehouse": Activity(5, "warehouse, not refrigerated"),
    "fitness_centre": Activity(13, "public assembly"),
    "library_archive": Activity(13, "public assembly"),
}


def surveyed(file: Path = SURVEY) -> pl.DataFrame:
    """A row per building type that the survey has: its `activity`, how many `buildings`, quartiles [kWh/m2 a].

    low, median and high are those of the whole country, south_low and so on those of its South.
    """
    used = pl.sum_horizontal(USES) * KWH_PER_KBTU / (pl.col("area") * M2_PER_FT2)
    cooled = (pl.col("area") > 0) & (pl.col("cooling") > 0) & (pl.col("ventilat") > 0)
    buildings = pl.read_csv(file).filter(cooled).select("activity", "region", "area", used=used)
    return pl.concat([_quartiles(buildings, kind, activity) for kind, activity in ACTIVITIES.items()])


def _quartiles(buildings: pl.DataFrame, kind: str, activity: Activity) -> pl.DataFrame:
    of_size = pl.col("area").is_between(activity.at_least_ft2, activity.below_ft2, closed="left")
    south = pl.col("used").filter(pl.col("region") == SOUTH)
    return buildings.filter((pl.col("activity") == activity.code) & of_size).select(
        building_type=pl.lit(kind),
        activity=pl.lit(activity.name),
        buildings=pl.len(),
        **{name: pl.col("used").quantile(part, "linear") for name, part in QUARTILES.items()},
        **{f"south_{name}": south.quantile(part, "linear") for name, part in QUARTILES.items()},
    )


def worked() -> pl.DataFrame:
    """A row per building type: electricity of the air system at temperature control [kWh/m2 a], a column per climate."""
    rows = [
        {"site_id": f"{kind}|{place}", "building_type": kind, "floor_area_m2": area, "station": REPRESENTATIVE[zone]}
        for kind, area in AREAS_M2.items()
        for place, zone in CLIMATES.items()
    ]
    hours = climate.hours(sorted({row["station"] for row in rows}))
    elevations = climate.stations().select("station", "elevation_m")
    rows = pl.DataFrame(rows).join(elevations, on="station", maintain_order="left").to_dicts()
    names = (REFERENCE.name,)
    batches = list(engine.simulate(sized(filled(rows)), engine.years(hours), names))
    totals = ledger.totals(pl.concat([batch.years for batch in batches]), names, REFERENCE.name)
    kind, place = (pl.col("site_id").str.split("|").list.get(part) for part in (0, 1))
    per_area = pl.sum_horizontal(COMPARED) / kind.replace_strict(AREAS_M2, return_dtype=pl.Float64)
    long = totals.select(building_type=kind, place=place, kwh_m2=per_area)
    return long.pivot("place", index="building_type").select("building_type", *CLIMATES)


def table(file: Path = SURVEY) -> str:
    """Markdown: default buildings in each climate, bold outside the survey's quartiles, and those quartiles [kWh/m2 a]."""
    beside = pl.DataFrame({"building_type": [*AREAS_M2]}).join(worked(), on="building_type", maintain_order="left")
    beside = beside.join(surveyed(file), on="building_type", how="left", maintain_order="left")
    head = ["building type", *CLIMATES, "surveyed as", "buildings", "quartiles", "in the South"]
    lines = [head, ["---", *["---:"] * len(CLIMATES), "---", *["---:"] * 3]]
    for row in beside.iter_rows(named=True):
        survey = [row["activity"], str(row["buildings"]), _three(row, ""), _three(row, "south_")]
        places = [_beside(row[place], row["low"], row["high"]) for place in CLIMATES]
        lines.append([row["building_type"].replace("_", " "), *places, *(survey if row["activity"] else [""] * 4)])
    return "".join(f"| {' | '.join(cells)} |\n" for cells in lines)


def heated() -> pl.DataFrame:
    """A row per building type: `internal_w_m2`, lights and equipment of the default as a mean of the year, and
    `electricity_w_m2` of the display cases."""
    sites = sized(filled([{"building_type": kind, "floor_area_m2": area} for kind, area in AREAS_M2.items()]))
    hours = engine.dated(climate.hours([sites["weather_id"][0]]))
    any_hour, _ = engine.plan([REFERENCE.name])
    known = engine.by_the_hour(loads.at_rest(sites).join(hours, on="weather_id")).drop(SHARES.values())
    every = any_hour.apply(known.lazy()).group_by("site_id", maintain_order=True).agg(pl.col("machines_now_w").mean())
    per_area = 1 / pl.col("floor_area_m2")
    return (
        sites.join(every.collect(), on="site_id", maintain_order="left")
        .select(
            "building_type", internal=pl.col("machines_now_w") * per_area, cases=pl.col("case_electricity_w") * per_area
        )
        .rename({"internal": "internal_w_m2", "cases": "electricity_w_m2"})
    )


def heated_as_surveyed(file: Path = SURVEY) -> pl.DataFrame:
    """A row per building type that the survey has: quartiles of INTERNAL and median of refrigeration [W/m2, mean of a year]."""
    per_area = KWH_PER_KBTU / 8.76 / (pl.col("area") * M2_PER_FT2)
    buildings = pl.read_csv(file).filter(pl.col("area") > 0)
    rows = []
    for kind, activity in ACTIVITIES.items():
        of_size = pl.col("area").is_between(activity.at_least_ft2, activity.below_ft2, closed="left")
        own = buildings.filter((pl.col("activity") == activity.code) & of_size)
        internal = pl.sum_horizontal(INTERNAL) * per_area
        quartiles = {name: internal.quantile(part, "linear") for name, part in QUARTILES.items()}
        refrigeration = (pl.col("refrig").fill_null(0.0) * per_area).median()
        rows.append(own.select(pl.lit(kind).alias("building_type"), **quartiles, refrigeration=refrigeration))
    return pl.concat(rows)


def gains_table(file: Path = SURVEY) -> str:
    """Markdown: internal gains of the defaults and of surveyed buildings [W/m2, mean of the year]."""
    beside = heated().join(heated_as_surveyed(file), on="building_type", how="left", maintain_order="left")
    head = [
        "building type",
        "lights and equipment",
        "surveyed, quartiles",
        "racks of its cases",
        "refrigeration surveyed",
    ]
    lines = [head, ["---", *["---:"] * 4]]
    for row in beside.iter_rows(named=True):
        known = row["low"] is not None
        survey = " / ".join(f"{row[name]:.0f}" for name in QUARTILES) if known else ""
        refrigeration = f"{row['refrigeration']:.0f}" if known else ""
        own = [_beside(row["internal_w_m2"], row["low"], row["high"]), survey, f"{row['electricity_w_m2']:.0f}"]
        lines.append([row["building_type"].replace("_", " "), *own, refrigeration])
    return "".join(f"| {' | '.join(cells)} |\n" for cells in lines)


def _three(row: dict[str, Any], prefix: str) -> str:
    return " / ".join(f"{row[prefix + name] or 0:.0f}" for name in QUARTILES)


def _beside(value: float, low: float | None, high: float | None) -> str:
    outside = low is not None and high is not None and not low <= value <= high
    return f"**{value:.0f}**" if outside else f"{value:.0f}"


def main() -> int:
    """Command line of this module."""
    if not SURVEY.exists():
        print(f"no survey: ../shared/{SURVEY.parent.name}/{SURVEY.name} is absent", file=sys.stderr)
        return 2
    print(table(), gains_table(), sep="\n", end="")
    return 0


if __name__ == "__main__":
    sys.exit(main())
