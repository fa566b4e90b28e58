"""Figures that are possible but unlikely: notes, not faults, beside the range published or usual for the building type.

Ranges and their sources stand in `assumptions/plausible_ranges.csv`; a row for `*` holds for the types without one of their
own. Only what the portfolio gives is looked at, and what comes out: figures that ship are not questioned.
"""

from collections.abc import Mapping
from functools import cache
from pathlib import Path

import polars as pl

from screener.contracts.origins import CONVERTED, GIVEN, is_given
from screener.formula import col, of_columns
from screener.physics import cooling_coil
from screener.physics.ventilation import code_rate_l_s
from screener.units import FOOT_M
from screener.worksheet import Worksheet

RANGES = Path(__file__).parent / "plausible_ranges.csv"
EVERY_TYPE = "*"
LEAST_BYPASS = 0.02  # air that passes a coil of eight rows untouched: common practice, no source
COMES_BACK = 0.005  # of a rated figure, at its own rating point
COIL = ("cooling_cop", "rated_sensible_heat_ratio", "supply_air_l_s_kw", "fan_power_w_l_s")
NOTE_SCHEMA: Mapping[str, type[pl.DataType]] = {"site_id": pl.String, "figure": pl.String, "note": pl.String}
C = pl.col
PER_M2 = 1 / C("floor_area_m2")
CODE_AIR = of_columns(code_rate_l_s, "peak_occupants", "floor_area_m2", "outdoor_air_l_s_person", "outdoor_air_l_s_m2")
# What the sites table says, in the unit of the ranges, and the column that must be given for it.
INPUTS: Mapping[str, tuple[str, pl.Expr]] = {
    "area": ("floor_area_m2", C("floor_area_m2")),
    "bill": ("annual_electricity_kwh", C("annual_electricity_kwh") * PER_M2),
    "other_load": ("other_load_kwh", C("other_load_kwh") * PER_M2),
    "cooling": ("cooling_capacity_kw", 1000 * C("cooling_capacity_kw") * PER_M2),
    "outdoor_air": ("outdoor_air_l_s", C("outdoor_air_l_s") / CODE_AIR),
    "people": ("peak_occupants", 100 * C("peak_occupants") * PER_M2 / C("occupants_per_100_m2")),
    "infiltration": ("infiltration_l_s_m2", C("infiltration_l_s_m2")),
    "process_moisture": ("process_moisture_kg_h", 1000 * C("process_moisture_kg_h") * PER_M2),
    "open_cases": ("open_case_length_m", 100 * C("open_case_length_m") * PER_M2),
    "door_cases": ("door_case_length_m", 100 * C("door_case_length_m") * PER_M2),
    "week": ("closes_hour", C("open_days_per_week") * (24 - (C("opens_hour") - C("closes_hour")) % 24)),
    "set_point": ("cooling_setpoint_c", C("cooling_setpoint_c")),
    "dew_point": ("humidity_limit_dew_point_c", C("humidity_limit_dew_point_c")),
    "humidity": ("humidity_limit_rh_pct", C("humidity_limit_rh_pct")),
    "efficiency": ("cooling_cop", C("cooling_cop")),
}


@cache
def ranges() -> pl.DataFrame:
    """`figure, building_type, low, high, unit, words, source`; an empty `high` is no bound."""
    return pl.read_csv(RANGES, glob=False, schema_overrides={"low": pl.Float64, "high": pl.Float64})


def of_inputs(sites: pl.DataFrame) -> pl.DataFrame:
    """A note (`site_id, figure, note`) for every given figure of filled sites that lies outside its range."""
    figures = [pl.when(is_given(column)).then(value).alias(name) for name, (column, value) in INPUTS.items()]
    return pl.concat([_outside(sites.select("site_id", _kind(), *figures), list(INPUTS)), _of_other_unit(sites)])


def _of_other_unit(sites: pl.DataFrame) -> pl.DataFrame:
    """A note on every floor area that is unusual as it is read, and usual in the other unit of areas."""
    own = sites.select("site_id", _kind(), area="floor_area_m2", origin="floor_area_m2_origin")
    bounds = ranges().filter(figure="area").select("building_type", "low", "high")
    own = own.join(bounds.filter(C("building_type") != EVERY_TYPE), on="building_type", how="inner")
    in_feet, in_metres = C("area") * FOOT_M**2, C("area") / FOOT_M**2
    words = (
        pl.when((C("origin") == GIVEN) & (C("area") > C("high")) & in_feet.is_between("low", "high"))
        .then(pl.lit("floor area in square metres would be usual in square feet: check the unit of its column"))
        .when((C("origin") == CONVERTED) & (C("area") < C("low")) & in_metres.is_between("low", "high"))
        .then(pl.lit("floor area in square feet would be usual in square metres: check the unit of its column"))
    )
    return own.select("site_id", figure=pl.lit("area"), note=words).drop_nulls("note")


def of_results(sites: pl.DataFrame, results: pl.DataFrame) -> pl.DataFrame:
    """Notes on what comes out for today's strategy: electricity of the air system against floor area and bill.

    `results`: the strategy results, of which `site_id, is_current, electricity_kwh, heating_electricity_kwh` are used.
    """
    today = results.filter("is_current").select("site_id", "electricity_kwh", "heating_electricity_kwh")
    joined = sites.join(today, on="site_id", maintain_order="left")
    system = joined.select(
        "site_id", _kind(), air_system=(C("electricity_kwh") - C("heating_electricity_kwh")) * PER_M2
    )
    above = joined.filter(C("electricity_kwh") > C("annual_electricity_kwh"))
    words = pl.concat_str(
        pl.lit("the air system alone would use "),
        _told(C("electricity_kwh")),
        pl.lit(" kWh a year, more than the whole bill of "),
        _told(C("annual_electricity_kwh")),
        pl.lit(": check loads, hours, efficiency and bill"),
    )
    bill = above.select("site_id", figure=pl.lit("air_system_above_bill"), note=words)
    more = joined.filter(C("other_load_kwh") > C("annual_electricity_kwh"))
    both = [_told(C(name)) for name in ("other_load_kwh", "annual_electricity_kwh")]
    beside = pl.concat_str(
        pl.lit("other_load_kwh of "),
        both[0],
        pl.lit(" is more than the whole bill of "),
        both[1],
        pl.lit(": demand takes the first"),
    )
    rest = more.select("site_id", figure=pl.lit("other_load_above_bill"), note=beside)
    return pl.concat([_outside(system, ["air_system"]), bill, rest])


def of_ratings(sites: pl.DataFrame) -> pl.DataFrame:
    """Notes on coils of filled sites whose rating does not come back at its own rating point, or leaves hardly any air that
    passes untouched. Those that cannot be at all are faults of the tables."""
    sheet = Worksheet()
    cooling_coil.returned(sheet, *map(col, COIL))
    ratings = sheet.apply(sites.lazy().select(COIL).unique().drop_nulls()).collect()
    off = (C("returned_ratio") - C("rated_sensible_heat_ratio")).abs() > COMES_BACK
    wrong = ratings.filter(off | (C("returned_capacity") < 1 - COMES_BACK) | (C("bypass") < LEAST_BYPASS))
    words = pl.concat_str(
        pl.lit("the rating of the cooling coil, a sensible heat ratio of "),
        _told(C("rated_sensible_heat_ratio")),
        pl.lit(" at "),
        _told(C("supply_air_l_s_kw")),
        pl.lit(" L/s per kW, leaves a bypass factor of "),
        _told(C("bypass")),
        pl.lit(f", where no coil has less than {LEAST_BYPASS}: at its own rating point it comes back as "),
        C("returned_ratio").round(2).cast(pl.String),
        pl.lit(" with "),
        (C("returned_capacity") * 100).round(0).cast(pl.Int64).cast(pl.String),
        pl.lit(" % of the capacity; check ratio and air flow"),
    )
    told = wrong.select(*COIL, figure=pl.lit("coil_rating"), note=words)
    return sites.select("site_id", *COIL).join(told, on=COIL, maintain_order="left").drop(COIL)


def by_site(*notes: pl.DataFrame) -> pl.DataFrame:
    """`site_id` and `figures_note`: all notes of a site in one text."""
    together = pl.concat([pl.DataFrame(schema=NOTE_SCHEMA), *notes])
    return together.group_by("site_id", maintain_order=True).agg(figures_note=C("note").str.join("; "))


def _kind() -> pl.Expr:
    return pl.coalesce("based_on", "building_type").alias("building_type")


def _outside(figures: pl.DataFrame, names: list[str]) -> pl.DataFrame:
    """Notes on the columns `names` of one row per site that lie outside the range of the site's building type."""
    long = figures.unpivot(names, index=["site_id", "building_type"], variable_name="figure", value_name="value")
    long = long.filter(C("value").is_finite())
    own = ranges().filter(C("building_type") != EVERY_TYPE)
    common = ranges().filter(C("building_type") == EVERY_TYPE).drop("building_type")
    beside = long.join(
        own.select("figure", "building_type", own=pl.lit(True)), on=["figure", "building_type"], how="left"
    )
    with_own = beside.filter("own").drop("own").join(own, on=["figure", "building_type"])
    with_common = beside.filter(C("own").is_null()).drop("own").join(common, on="figure")
    columns = ["site_id", "figure", "value", "low", "high", "unit", "words", "source"]
    ranged = pl.concat([with_own.select(columns), with_common.select(columns)])
    out = ranged.filter((C("value") < C("low")) | (C("value") > C("high"))).sort("site_id", "figure")
    words = pl.concat_str(
        "words",
        pl.lit(" "),
        _told(C("value")),
        pl.lit(" "),
        "unit",
        pl.lit(", usually "),
        _usual(),
        pl.lit(" ("),
        _cited(),
        pl.lit(")"),
    )
    return out.select("site_id", "figure", note=words)


def _usual() -> pl.Expr:
    low, high = _told(C("low")), _told(C("high"))
    from_nothing = pl.concat_str(pl.lit("at most "), high)
    return pl.when(C("low") == 0).then(from_nothing).otherwise(pl.concat_str(low, pl.lit(" to "), high))


def _cited() -> pl.Expr:
    """The source without its arithmetic."""
    return C("source").str.extract(r"^([^:;]*)")


def _told(value: pl.Expr) -> pl.Expr:
    """A figure for people: whole from 100 to a million million, three figures otherwise."""
    whole = value.round(0).cast(pl.Int64, strict=False).cast(pl.String)
    short = value.round_sig_figs(3).cast(pl.String).str.replace(r"\.0$", "")
    return pl.when(value.abs().is_between(100, 1e12)).then(whole).otherwise(short)
