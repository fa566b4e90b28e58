"""Portfolios that are broken on purpose, and the fault each of them has.

A case: what the portfolio is made of, then table, row, column, rule, value and message of its fault. Texts are the
project's own promise to its users: what, where, which value, the way out.
"""

from collections.abc import Mapping
from typing import Any

from screener.strategies import REGISTRY
from tests.tables.portfolios import SITE, TARIFFS, sites, table

Fault = tuple[str, int | None, str | None, str, str | None, str]
Case = tuple[Mapping[str, Any], Fault]

TYPES = (
    "commissary, convenience_store, fitness_centre, library_archive, manufacturing, office, restaurant, retail, "
    "school, supermarket, warehouse"
)
ZONES = "0A, 0B, 1A, 1B, 2A, 2B, 3A, 3B, 3C, 4A, 4B, 4C, 5A, 5B, 5C, 6A, 6B, 7, 8"
NUMBER = "not a plain number; write it like 1234.5, without unit or thousands marks, or leave it empty"
WHOLE = "not a whole number; write it like 7, or leave it empty"
TWO_MEANINGS = (
    "its mark may be a decimal mark or part thousands, and no other number of the table tells; "
    'write it without the mark, or state decimal_mark = "." or "," in portfolio.toml'
)
NO_AREA = "empty; every row of sites needs floor_area_m2 or floor_area_ft2"
SPAN = "{} takes {}; check the figure and its unit"
PLACE = "nothing says where it is; give postal_code, latitude and longitude, climate_zone or weather_file"
NOWHERE = {"climate_zone": ""}


def _site(change: dict[str, str], column: str, rule: str, value: str | None, message: str) -> Case:
    """A sites table whose row 3 differs from a good row by `change`."""
    return {"sites": sites(change)}, ("sites", 3, column, rule, value, message)


def _out_of(column: str, value: str, span: str, rule: str = "too large") -> Case:
    return _site({column: value}, column, rule, value, SPAN.format(column, span))


def _not_a_number(value: str) -> Case:
    return _site({"floor_area_m2": value}, "floor_area_m2", "not a number", value, NUMBER)


SITES: dict[str, Case] = {
    "unknown building type": _site(
        {"building_type": "supermrket"},
        "building_type",
        "unknown building_type",
        "supermrket",
        'not among the building_types; did you mean "supermarket"?',
    ),
    "a kind of building nobody described": _site(
        {"building_type": "Church"},
        "building_type",
        "unknown building_type",
        "Church",
        f"not among the building_types; it has {TYPES}",
    ),
    "unknown zone": _site(
        {"climate_zone": "9A"}, "climate_zone", "unknown value", "9A", f"not known; use one of {ZONES}"
    ),
    "unknown tariff": _site(
        {"tariff_id": "T9"}, "tariff_id", "unknown tariff_id", "T9", "not among the tariffs; it has T1"
    ),
    "unknown strategy": _site(
        {"current_strategy": "standalone dehumidifer"},
        "current_strategy",
        "unknown current_strategy",
        "standalone dehumidifer",
        'not among the strategies; did you mean "standalone_dehumidifier"?',
    ),
    "unknown heating": _site(
        {"heating_source": "coal"},
        "heating_source",
        "unknown value",
        "coal",
        "not known; use one of fuel, electric, heat_pump, reclaimed, none",
    ),
    "unknown equipment": _site(
        {"equipment_id": "E7"},
        "equipment_id",
        "unknown equipment_id",
        "E7",
        "not among the equipment; that table has no good rows",
    ),
    "text in numbers": _not_a_number("big"),
    "another unit in the cell": _not_a_number("900 acres"),
    "money in the cell": _not_a_number("$900"),
    "a range": _not_a_number("900-1000"),
    "not a number of floating point": _not_a_number("nan"),
    "infinite": _not_a_number("inf"),
    "beyond floating point": _not_a_number("1e400"),
    "thousands in twos": _not_a_number("12,34,567"),
    "two decimal points": _not_a_number("1.2.3"),
    "a formula": _not_a_number("=A2*2"),
    "a spreadsheet error": _not_a_number("#REF!"),
    "a word for empty": _site({"floor_area_m2": "n/a"}, "floor_area_m2", "missing value", None, NO_AREA),
    "a dash for empty": _site({"floor_area_m2": "-"}, "floor_area_m2", "missing value", None, NO_AREA),
    "comma of unclear meaning": _site(
        {"floor_area_m2": "1,234"}, "floor_area_m2", "number of two meanings", "1,234", TWO_MEANINGS
    ),
    "days nobody knows": _site(
        {"open_days": "M-F"},
        "open_days",
        "not days",
        "M-F",
        "not days of the week; write names such as Mon-Fri, Sun or a 1 or 0 a day from Monday on, 1111101",
    ),
    "two counts of days": _site(
        {"open_days": "Mon-Fri", "open_days_per_week": "6"},
        "open_days_per_week",
        "open days",
        "6",
        "not the number of open_days Mon-Fri; keep one of the two",
    ),
    "a summer in words": _site(
        {"closed_months": "summer"},
        "closed_months",
        "not months",
        "summer",
        "not months; write them by number: 7-8 or 12-1, or 7 to 8, or none",
    ),
    "negative area": _out_of("floor_area_m2", "-5", "0 to 2 000 000", "too small"),
    "eight days a week": _out_of("open_days_per_week", "8", "0 to 7"),
    "hour past midnight": _out_of("closes_hour", "26", "0 to 24"),
    "bounds in the unit of the cell": _out_of("cooling_setpoint_f", "24", "41 to 104", "too small"),
    "set point in the wrong unit": _out_of("cooling_setpoint_c", "74", "5 to 40"),
    "efficiency in the wrong unit": _out_of("cooling_cop", "11", "1.5 to 5.6"),
    "humidity in the wrong unit": _out_of("humidity_limit_rh_pct", "0.55", "5 to 95", "too small"),
    "more air than a town needs": _out_of("outdoor_air_cfm", "9e9", "0 to 2 118 880"),
    "above every mountain": _out_of("elevation_ft", "29029", "-1476.38 to 16404.2"),
    "latitude in minutes": _site(
        {"latitude": "2976", "longitude": "-95"}, "latitude", "too large", "2976", SPAN.format("latitude", "-90 to 90")
    ),
    "two units at once": _site(
        {"floor_area_ft2": "10764"},
        "floor_area_m2, floor_area_ft2",
        "two units at once",
        "1000 and 10764",
        "given in two units at once; keep one of them",
    ),
    "both humidity limits": _site(
        {"humidity_limit_dew_point_f": "55", "humidity_limit_rh_pct": "50"},
        "humidity_limit_dew_point_f, humidity_limit_rh_pct",
        "two humidity limits",
        "55 and 50",
        "one limit is enough; keep one of them",
    ),
    "heating above cooling": _site(
        {"heating_setpoint_f": "76", "cooling_setpoint_f": "75"},
        "heating_setpoint_f",
        "set points",
        "76",
        "heating above cooling_setpoint_f 75; lower the one or raise the other",
    ),
    "cooling below the heating of the type": _site(
        {"cooling_setpoint_c": "18"},
        "heating_setpoint_c",
        "set points",
        "21.1 (building type)",
        "heating above cooling_setpoint_c 18; lower the one or raise the other",
    ),
    "humidity limit above the set point": _site(
        {"humidity_limit_dew_point_c": "24", "cooling_setpoint_c": "23"},
        "humidity_limit_dew_point_c",
        "humidity limit",
        "24",
        "dew point not below cooling_setpoint_c 23; it must lie below",
    ),
    "humidity limit above the set point of the type": _site(
        {"humidity_limit_dew_point_f": "76"},
        "humidity_limit_dew_point_f",
        "humidity limit",
        "76",
        "dew point not below cooling_setpoint_c 23.9 (building type); it must lie below",
    ),
    "no place at all": _site(NOWHERE, "postal_code", "no place", None, PLACE),
    "latitude alone": _site(
        {"latitude": "40.1"},
        "longitude",
        "no place",
        None,
        "latitude or longitude stands alone; give longitude too",
    ),
    "longitude alone": _site(
        {"longitude": "-80.1"}, "latitude", "no place", None, "latitude or longitude stands alone; give latitude too"
    ),
    "no postal code": _site(
        {"postal_code": "ABCDE"},
        "postal_code",
        "wrong form",
        "ABCDE",
        "not of the form [0-9]{5}; write it like 02138",
    ),
    "postal code that does not exist": _site(
        NOWHERE | {"postal_code": "00000"},
        "postal_code",
        "place not found",
        "00000",
        "postal code 00000 is not known; correct it, or give coordinates",
    ),
    "zone without a station": _site(
        {"climate_zone": "0B"},
        "climate_zone",
        "place not found",
        "0B",
        "climate zone 0B has no station; bring a weather file, or give coordinates or a postal code",
    ),
    "far from every station": _site(
        {"latitude": "48.1", "longitude": "11.6"},
        "latitude",
        "place not found",
        "48.1",
        "no station within 500 km; bring a weather file, or give nothing but a climate zone like it",
    ),
    "required cell empty": _site(
        {"floor_area_m2": " "},
        "floor_area_m2",
        "missing value",
        None,
        "empty; every row of sites needs floor_area_m2 or floor_area_ft2",
    ),
    "no name": _site({"site_id": ""}, "site_id", "missing value", None, "empty; every row of sites needs site_id"),
    "a novel in a cell": _site(
        {"name": "x" * 40_000}, "name", "cell too long", "x" * 20, "more than 32,767 bytes; shorten the text"
    ),
}


def _row(name: str, text: str, row: int, *fault: str | None) -> Case:
    """A table besides sites and one of its rows at fault, with a good one left that the sites refer to."""
    column, rule, value, message = fault
    assert rule is not None
    assert message is not None
    return {name: text}, (name, row, column, rule, value, message)


STRATEGIES = ", ".join(sorted(REGISTRY)[:12]) + (f" and {len(REGISTRY) - 12} more" if len(REGISTRY) > 12 else "")
MACHINE = "equipment_id,strategy,{}\nE1,standalone_dehumidifier,{}\n"
OTHERS: dict[str, Case] = {
    "price below nothing": _row(
        "tariffs",
        TARIFFS + "T2,-0.1,0.04\n",
        3,
        "electricity_price_per_kwh",
        "too small",
        "-0.1",
        SPAN.format("electricity_price_per_kwh", "0 to 1 000 000"),
    ),
    "price in cents": _row(
        "tariffs",
        TARIFFS + "T2,12.9,0.04\n",
        3,
        "electricity_price_per_kwh",
        "too large",
        "12.9",
        "too dear for a price in USD; if it is in cents, divide it by 100",
    ),
    "tariff without a price": _row(
        "tariffs",
        TARIFFS + "T2,,0.04\n",
        3,
        "electricity_price_per_kwh",
        "missing value",
        None,
        "empty; give electricity_price_per_kwh, or windows or tiers that cover the year",
    ),
    "emissions in grams": _row(
        "tariffs",
        "tariff_id,electricity_price_per_kwh,fuel_price_per_kwh,electricity_kg_co2_per_kwh\nT1,0.1,0.04,\nT2,0.1,0.04,370\n",
        3,
        "electricity_kg_co2_per_kwh",
        "too large",
        "370",
        SPAN.format("electricity_kg_co2_per_kwh", "0 to 2"),
    ),
    "fuel in two units": _row(
        "tariffs",
        "tariff_id,electricity_price_per_kwh,fuel_price_per_kwh,fuel_price_per_therm\nT1,0.1,0.04,\nT2,0.1,0.04,1.2\n",
        3,
        "fuel_price_per_kwh, fuel_price_per_therm",
        "two units at once",
        "0.04 and 1.2",
        "given in two units at once; keep one of them",
    ),
    "machine without capacity": _row(
        "equipment",
        MACHINE.format("capacity_l_day", "0"),
        2,
        "capacity_l_day",
        "too small",
        "0",
        SPAN.format("capacity_l_day", "1 to 100000"),
    ),
    "efficiency of no machine": _row(
        "equipment",
        MACHINE.format("pints_per_kwh", "40"),
        2,
        "pints_per_kwh",
        "too large",
        "40",
        SPAN.format("pints_per_kwh", "0.422675 to 21.1338"),
    ),
    "machine of no strategy": _row(
        "equipment",
        "equipment_id,strategy\nE1,swamp cooler\n",
        2,
        "strategy",
        "unknown strategy",
        "swamp cooler",
        f"not among the strategies; it has {STRATEGIES}",
    ),
    "strategy nobody knows": _row(
        "strategies",
        "strategy,candidate\nmagic,yes\n",
        2,
        "strategy",
        "unknown strategy",
        "magic",
        f"not among the strategies; it has {STRATEGIES}",
    ),
    "neither yes nor no": _row(
        "strategies",
        "strategy,candidate\nstandalone_dehumidifier,maybe\n",
        2,
        "candidate",
        "not true or false",
        "maybe",
        "neither true nor false; write one of the two",
    ),
    "new type from nothing": _row(
        "building_types",
        "building_type,opens_hour\nchapel,8\n",
        2,
        "building_type",
        "missing value",
        "chapel",
        f"a new building type; name the type it starts from in based_on: {TYPES}",
    ),
    "new type from a misspelt one": _row(
        "building_types",
        "building_type,based_on\nhall,retial\n",
        2,
        "based_on",
        "unknown based_on",
        "retial",
        'not among the building_types; did you mean "retail"?',
    ),
    "type that opens at 25": _row(
        "building_types",
        "building_type,opens_hour\nretail,25\n",
        2,
        "opens_hour",
        "too large",
        "25",
        SPAN.format("opens_hour", "0 to 24"),
    ),
    "type warmer than it is cool": _row(
        "building_types",
        "building_type,heating_setpoint_c\nretail,30\n",
        2,
        "heating_setpoint_c",
        "set points",
        "30",
        "heating above cooling_setpoint_c 23.9 (building type); lower the one or raise the other",
    ),
}


def _whole(
    tables: Mapping[str, Any], name: str, column: str | None, rule: str, value: str | None, message: str
) -> Case:
    """A table, or the folder, that cannot be used as a whole."""
    return tables, (name, None, column, rule, value, message)


TABLES: dict[str, Case] = {
    "missing column": _whole(
        {"sites": table({"site_id": "A", "building_type": "office", "climate_zone": "4A", "tariff_id": "T1"})},
        "sites",
        "floor_area_m2",
        "missing column",
        None,
        "sites has no column floor_area_m2 or floor_area_ft2; add it, every row needs it",
    ),
    "misspelt header": _whole(
        {"sites": sites({"heating_setpiont_c": "20"})},
        "sites",
        "heating_setpiont_c",
        "misspelt column",
        None,
        'not a column of sites; did you mean "heating_setpoint_c"?',
    ),
    "header twice": _whole(
        {"tariffs": "tariff_id,tariff_id,electricity_price_per_kwh,fuel_price_per_kwh\nT1,T1,0.1,0.04\n"},
        "tariffs",
        "tariff_id",
        "column given twice",
        None,
        "stands in the header twice; keep one",
    ),
    "empty file": _whole(
        {"sites": ""}, "sites", None, "empty table", None, "sites.csv is empty; it needs a header and at least one row"
    ),
    "header alone": _whole(
        {"sites": table(SITE).split("\n")[0] + "\n"},
        "sites",
        None,
        "empty table",
        None,
        "sites.csv has no rows below its header; add at least one",
    ),
    "header and its repetition": _whole(
        {"tariffs": 2 * TARIFFS.split("T1")[0]},
        "tariffs",
        None,
        "empty table",
        None,
        "tariffs.csv has no rows below its header; add at least one",
    ),
    "UTF-16 without a mark": _whole(
        {"sites": sites().encode("utf-16-le")},
        "sites",
        None,
        "wrong encoding",
        None,
        'sites.csv is UTF-16 text without a byte-order mark, or no text at all; save it as "CSV UTF-8"',
    ),
    "quote left open": _whole(
        {"tariffs": TARIFFS + '"T2,0.1,0.04\n'},
        "tariffs",
        None,
        "unreadable file",
        None,
        'tariffs.csv, line 3: unexpected end of data; close every " and double those inside a text',
    ),
    "setting unknown": _whole(
        {"portfolio.toml": "discont_rate = 0.03\n"},
        "portfolio.toml",
        "discont_rate",
        "unknown setting",
        "0.03",
        'not a setting; did you mean "discount_rate"?',
    ),
    "setting of the wrong kind": _whole(
        {"portfolio.toml": 'study_years = "ten"\n'},
        "portfolio.toml",
        "study_years",
        "bad setting",
        "ten",
        "not possible here; give a whole number from 1 to 60",
    ),
    "setting in per cent": _whole(
        {"portfolio.toml": "discount_rate = 3\n"},
        "portfolio.toml",
        "discount_rate",
        "bad setting",
        "3",
        "not possible here; give a number from 0 to 0.5, such as 0.03 for 3 %",
    ),
    "nominal rates without inflation": _whole(
        {"portfolio.toml": 'rates = "nominal"\n'},
        "portfolio.toml",
        "inflation",
        "missing setting",
        None,
        'nominal rates hold general inflation; give it, such as inflation = 0.02, or write rates = "real"',
    ),
    "inflation in real rates": _whole(
        {"portfolio.toml": "inflation = 0.02\n"},
        "portfolio.toml",
        "inflation",
        "two settings at odds",
        "0.02",
        'real rates leave general inflation out; remove it, or write rates = "nominal"',
    ),
    "decimal mark in words": _whole(
        {"portfolio.toml": 'decimal_mark = "comma"\n'},
        "portfolio.toml",
        "decimal_mark",
        "bad setting",
        "comma",
        'not possible here; give "." or ","',
    ),
    "settings not TOML": _whole(
        {"portfolio.toml": "name = My stores\n"},
        "portfolio.toml",
        None,
        "unreadable file",
        None,
        'not valid TOML: Invalid value (at line 1, column 8); write one key = value a line, texts in "quotes"',
    ),
    "settings in Latin-1": _whole(
        {"portfolio.toml": 'name = "Café"\n'.encode("latin-1")},
        "portfolio.toml",
        None,
        "wrong encoding",
        None,
        "portfolio.toml is not UTF-8 text; save it as UTF-8",
    ),
    "no sites": _whole(
        {"sites": None},
        "sites",
        None,
        "missing table",
        None,
        "chain has tariffs.csv; add sites.csv: the buildings, one row each",
    ),
    "no tariffs": _whole(
        {"tariffs": None},
        "tariffs",
        None,
        "missing table",
        None,
        "chain has sites.csv; add tariffs.csv: what energy costs",
    ),
    "sites under another name": _whole(
        {"sites": None, "stores": sites()},
        "sites",
        None,
        "missing table",
        None,
        "chain has stores.csv, tariffs.csv; add sites.csv: the buildings, one row each",
    ),
    "no good row": _whole(
        {"sites": table(SITE | {"floor_area_m2": "-1"}, SITE | {"site_id": "B", "tariff_id": "T2"})},
        "sites",
        None,
        "no good rows",
        None,
        "every site is at fault; correct at least one",
    ),
    "table given twice": _whole(
        {"sites.xlsx": b"PK"},
        "sites",
        None,
        "table given twice",
        None,
        "there are sites.csv, sites.xlsx; keep one of them",
    ),
    "no workbook": _whole(
        {"sites": None, "sites.xlsx": sites()},
        "sites",
        None,
        "unreadable file",
        None,
        "sites.xlsx is no XLSX file, whatever its ending says; save it again or as CSV UTF-8",
    ),
    "no Parquet": _whole(
        {"sites": None, "sites.parquet": b"not really"},
        "sites",
        None,
        "unreadable file",
        None,
        "sites.parquet is no PARQUET file, whatever its ending says; save it again or as CSV UTF-8",
    ),
}

YEAR = "month,day,hour,dry_bulb_c,dew_point_c\n1,1,0,20,{}\n"
WEATHER: dict[str, Case] = {
    "no such weather file": _site(
        {"weather_file": "roof.csv"},
        "weather_file",
        "weather file",
        "roof.csv",
        "its weather file cannot be used: there is no weather/roof.csv in the portfolio; add it or correct the name",
    ),
    "weather outside the portfolio": _site(
        {"weather_file": "../../roof.csv"},
        "weather_file",
        "weather file",
        "../../roof.csv",
        "its weather file cannot be used: ../../roof.csv lies outside the weather folder; put the file inside it",
    ),
    "weather at the root of the disk": _site(
        {"weather_file": "/etc/hosts"},
        "weather_file",
        "weather file",
        "/etc/hosts",
        "its weather file cannot be used: /etc/hosts lies outside the weather folder; put the file inside it",
    ),
    "a path no disk has": (
        {"sites": sites({"weather_file": "a" * 300 + ".csv"}), "weather/roof.csv": YEAR.format(10)},
        (
            "sites",
            3,
            "weather_file",
            "weather file",
            "a" * 300 + ".csv",
            "its weather file cannot be used: its name cannot be that of a file; correct it",
        ),
    ),
    "a day of weather": (
        {"sites": sites({"weather_file": "roof.csv"}), "weather/roof.csv": YEAR.format(10)},
        (
            "sites",
            3,
            "weather_file",
            "weather file",
            "roof.csv",
            "its weather file cannot be used: 1 rows; give the 8760 (or 8784) hours of one year",
        ),
    ),
    "weather without humidity": (
        {"sites": sites({"weather_file": "roof.csv"}), "weather/roof.csv": "month,day,hour,dry_bulb_c\n1,1,0,20\n"},
        (
            "sites",
            3,
            "weather_file",
            "weather file",
            "roof.csv",
            "its weather file cannot be used: there is no dew_point_c or relative_humidity_pct; add it to the header",
        ),
    ),
}
