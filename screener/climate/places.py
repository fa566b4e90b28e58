"""Where a site is and which weather stands for it: by weather file, coordinates, postal code, city, climate zone or state."""

import re
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import polars as pl

from screener.climate import cities, hourly_files
from screener.climate.carried import postal_areas, states, stations
from screener.climate.nearest import great_circle_km, nearest
from screener.contracts import load
from screener.contracts.origins import LOOKED_UP
from screener.errors import FAULT_SCHEMA, ContractError, UsageError, no_faults
from screener.formula import plain
from screener.physics import psychrometrics as air

FAR_KM = 80.0  # a station further away, or higher or lower than this, deserves a note: common practice, no source
HIGH_M = 300.0
APART_KM = 200.0  # coordinates this far from their postal area deserve a note: common practice, no source
FARTHEST_KM = 500.0  # no weather at all beyond this; twice the furthest of the US postal areas with a station
# One city a zone: the 15-city set of the US reference studies; 5C from memory.
REPRESENTATIVE = {
    "1A": "722020",
    "2A": "722430",
    "2B": "722780",
    "3A": "722190",
    "3B": "723860",
    "3C": "724940",
    "4A": "724060",
    "4B": "723650",
    "4C": "727930",
    "5A": "725300",
    "5B": "725650",
    "5C": "727885",
    "6A": "726580",
    "6B": "727720",
    "7": "727450",
    "8": "702610",
}
PLACE = (
    *("site_id", "row", "postal_code", "city", "state", "latitude", "longitude", "climate_zone", "weather_file"),
    "elevation_m",
)
FROM_PLACE = ("latitude", "longitude", "climate_zone", "elevation_m")


def locate(sites: pl.DataFrame, folder: Path | None = None) -> tuple[pl.DataFrame, pl.DataFrame]:
    """The sites whose place was found, with their weather, and a fault for each of the others.

    `sites`: the columns of `PLACE`, of which city and state may lack. `folder`: the portfolio, for its `weather/`. A weather
    file wins over coordinates (but for a longitude that lacks its sign), these over a postal code, this over a
    station that bears the name of the city, this over a zone, and a zone over the state alone.

    Adds weather_id, station, station_name, station_distance_km, station_elevation_difference_m (site above station),
    place_origin and climate_note; fills latitude, longitude, climate_zone (the place's own, which wins over a stated one)
    and elevation_m. A column `<name>_origin` of what was filled says "looked up".
    """
    found = _places(
        sites.with_columns(pl.lit(None, pl.String).alias(n) for n in ("city", "state") if n not in sites.columns)
    )
    files, file_faults = _weather_files(found, folder)
    found = _elevations(_stations(found).join(files, on="weather_file", how="left", maintain_order="left"))
    found = found.with_columns(weather_id=_weather_id(), station_distance_km="distance").with_columns(
        station_elevation_difference_m=pl.col("elevation_m") - pl.col("station_elevation_m")
    )
    faults = pl.concat([file_faults, _nowhere(found)])
    lost = faults.filter(pl.col("table") == "sites")["row"]  # the others number the rows of weather files
    good = found.filter(~pl.col("row").is_in(lost.implode()))
    added = ["weather_id", "station", "station_name", "station_distance_km", "station_elevation_difference_m"]
    good = good.with_columns(*_origins(sites), climate_note=_note())
    return good.select(*sites.columns, *added, "place_origin", "climate_note"), faults


def _places(sites: pl.DataFrame) -> pl.DataFrame:
    """Adds `place_origin`, `stated_zone`, `area.climate_zone`; fills coordinates from the postal area."""
    areas = postal_areas().rename({name: f"area.{name}" for name in ("latitude", "longitude", "climate_zone")})
    found = sites.join(areas, on="postal_code", how="left", maintain_order="left")
    found = found.join(_named_stations(sites), on=["city", "state"], how="left", maintain_order="left")
    far, turned = (_from_area(found, sign) for sign in (1, -1))
    signless = (found["longitude"] > 0) & (far > APART_KM) & (turned <= APART_KM)  # in the Americas it is negative
    found = found.with_columns(apart_km=far, signless=signless.fill_null(False))
    by_coordinates = pl.all_horizontal(pl.col("latitude", "longitude").is_not_null()) & ~pl.col("signless")
    origin = (
        pl.when(pl.col("weather_file").is_not_null())
        .then(pl.lit("weather file"))
        .when(by_coordinates)
        .then(pl.lit("coordinates"))
        .when(pl.col("postal_code").is_not_null())
        .then(pl.lit("postal code"))
        .when(pl.col("city_station").is_not_null())
        .then(pl.lit("city"))
        .when(pl.col("climate_zone").is_not_null() | pl.col("state").is_null())
        .then(pl.lit("climate zone"))
        .otherwise(pl.lit("state"))
    )
    stated = pl.col("climate_zone").str.to_uppercase().str.replace("^([78])[ABC]$", "$1")  # no regimes in zones 7 and 8
    return (
        found.with_columns(place_origin=origin)
        .with_columns(
            pl.when(by_coordinates | pl.col("area.latitude").is_null()).then(name).otherwise(f"area.{name}").alias(name)
            for name in ("latitude", "longitude")
        )
        .with_columns(stated_zone=stated)
    )


def _from_area(found: pl.DataFrame, sign: int) -> pl.Series:
    """How far [km] coordinates, with a sign of their longitude, lie from their postal area; null without either."""
    there = {"to_latitude": "area.latitude", "to_longitude": "area.longitude"}
    pairs = found.select("latitude", (sign * pl.col("longitude")).alias("longitude"), **there)
    return pairs.select(great_circle_km()).to_series()


def _named_stations(sites: pl.DataFrame) -> pl.DataFrame:
    """`city_station` of each `city` and `state` that has a station of the city's name."""
    named = sites.select("city", "state").drop_nulls().unique(maintain_order=True)
    found = [cities.station(city, state) for city, state in named.iter_rows()]
    return named.with_columns(pl.Series("city_station", found, dtype=pl.String))


def _stations(found: pl.DataFrame) -> pl.DataFrame:
    """Adds `station`, its name, zone and elevation, and `distance` [km]; fills `climate_zone`. No station beside a file."""
    origin = pl.col("place_origin")
    found = found.join(nearest(found), on=["latitude", "longitude"], how="left", maintain_order="left")
    of_zone = pl.col("stated_zone").replace_strict(REPRESENTATIVE, default=None, return_dtype=pl.String)
    near = pl.when(pl.col("distance") <= FARTHEST_KM).then("nearest")
    found = found.join(
        states().select("state", "median_km", "far_km", "other_zone_share", state_station="station"),
        on="state",
        how="left",
        maintain_order="left",
    )
    found = found.with_columns(
        station=pl.when(origin == "climate zone")
        .then(of_zone)
        .when(origin == "city")
        .then("city_station")
        .when(origin == "state")
        .then("state_station")
        .when(origin != "weather file")
        .then(near),
        distance=pl.when(origin.is_in(["coordinates", "postal code"])).then("distance"),
    )
    facts = stations().select(
        "station", station_name="name", station_zone="climate_zone", station_elevation_m="elevation_m"
    )
    found = found.join(facts, on="station", how="left", maintain_order="left")
    of_place = pl.coalesce("area.climate_zone", "station_zone", "stated_zone")
    return found.with_columns(climate_zone=pl.when(origin == "climate zone").then("stated_zone").otherwise(of_place))


def _elevations(found: pl.DataFrame) -> pl.DataFrame:
    """Fills `elevation_m`: as given, else the station's; beside a file what its pressure says, else the nearest station's,
    else sea level."""
    return found.with_columns(
        elevation_m=pl.coalesce(
            "elevation_m", "station_elevation_m", "file_elevation_m", "nearest_elevation_m", pl.lit(0.0)
        )
    )


def _weather_id() -> pl.Expr:
    """The station, or the file; a file without pressure with the elevation that stands in for it."""
    at = pl.concat_str(pl.lit(hourly_files.AT), pl.col("elevation_m").fill_null(0.0).round(0).cast(pl.Int64))
    elevation = pl.when(pl.col("file_elevation_m").is_null()).then(at).otherwise(pl.lit(""))
    file = pl.concat_str(pl.lit(hourly_files.PREFIX), "weather_file", elevation)
    return pl.when(pl.col("weather_file").is_not_null()).then(file).otherwise("station")


_FAR = "bring a weather file, or give nothing but a climate zone like it"
_SITE: Mapping[str, type[pl.DataType]] = {
    "site_id": pl.String,
    "row": pl.Int64,
    "postal_code": pl.String,
    "city": pl.String,
    "state": pl.String,
    "climate_zone": pl.String,
    "weather_file": pl.String,
    "latitude": pl.Float64,
    "longitude": pl.Float64,
    "elevation_m": pl.Float64,
}
_NO_PLACE = '{} is not a place; write latitude,longitude such as "25.8,-80.3"'
_NO_WORD = (
    "{} is no place that is known; give a postal code (33101), latitude,longitude (25.8,-80.3), a state (FL), a city with its "
    "state (Miami FL) or a climate zone (2A)"
)


def find(place: str) -> pl.DataFrame:
    """The station for a place: a postal code, "latitude,longitude", a state, a city with its state, or a climate zone.

    `climate_note` says what there is to know of it. UsageError where there is none.
    """
    text = " ".join(place.upper().split())
    site: dict[str, Any] = {"site_id": "place", "row": 1}
    numbers = [part.strip() for part in text.split(",")]
    if code := re.fullmatch(r"(\d{5})[- ]?(\d{4})?", text):
        site["postal_code"] = code[1]
    elif named := _city_and_state(text):
        site["city"], site["state"] = named
    elif len(numbers) == 2:
        try:
            site["latitude"], site["longitude"] = (float(part) for part in numbers)
        except ValueError:
            raise UsageError(_NO_PLACE.format(place)) from None
        if not (-90 <= site["latitude"] <= 90 and -180 <= site["longitude"] <= 180):
            raise UsageError(_NO_PLACE.format(place))
    elif text.isdigit() and len(text) > 1:
        site["postal_code"] = text.zfill(5)
    elif re.fullmatch(r"(ZONE )?[0-8][ABC]?", text):
        site["climate_zone"] = text.removeprefix("ZONE ")
    else:
        raise UsageError(_NO_WORD.format(place.strip() or "nothing"))
    found, faults = locate(pl.DataFrame([site], schema=_SITE))
    if found.is_empty():
        raise UsageError(f"{place}: {faults['message'][0]}")
    wanted = ["place_origin", "latitude", "longitude", "climate_zone", "station", "station_name"]
    return found.select(*wanted, "station_distance_km", "climate_note", station_elevation_m="elevation_m")


def _city_and_state(text: str) -> tuple[str | None, str] | None:
    """City, if any, and state of a place in capitals, such as MIAMI, FL or NEW YORK; None where no state ends it."""
    words = text.replace(",", " ").replace(".", " ").split()
    field = load("sites").field("state")
    for first in range(len(words)):
        name = "_".join(words[first:]).lower()
        state = name.upper() if name.upper() in field.enum else field.synonyms.get(name)
        if state is not None:
            return " ".join(words[:first]) or None, state
    return None


def _weather_files(sites: pl.DataFrame, folder: Path | None) -> tuple[pl.DataFrame, pl.DataFrame]:
    """What each weather file says of its elevation and what it lacks, and a fault for each site whose file is bad."""
    facts, faults = [], [no_faults()]
    for name in sites["weather_file"].drop_nulls().unique().sort():
        try:
            year = hourly_files.load(name, folder)
            facts.append((name, _elevation_of(year.values), year.lacking))
        except ContractError as error:
            message = f"its weather file cannot be used: {error.faults['message'][0]}"
            faults.append(error.faults)
            faults.append(
                _faults(sites.filter(pl.col("weather_file") == name), "weather_file", "weather file", message)
            )
    names = pl.List(pl.String)
    schema = pl.Schema([("weather_file", pl.String()), ("file_elevation_m", pl.Float64()), ("file_lacks", names)])
    return pl.DataFrame(facts, schema=schema, orient="row"), pl.concat(faults)


def _elevation_of(values: pl.DataFrame) -> float | None:
    """Elevation [m] that goes with the mean pressure of a file, if it has any."""
    if "pressure_pa" not in values.columns:
        return None
    return plain(air.elevation(values.select(pl.col("pressure_pa").mean()).item()))


def _nowhere(found: pl.DataFrame) -> pl.DataFrame:
    """Faults of the sites for which no weather was found."""
    without = "bring a weather file, or give coordinates or a postal code"
    lost = found.filter(pl.col("weather_id").is_null())
    words: dict[str, tuple[str, Callable[[str], str]]] = {
        "postal code": ("postal_code", _no_postal_code),
        "climate zone": ("climate_zone", lambda v: f"climate zone {v} has no station; {without}"),
        "state": ("state", lambda v: f"no station stands for {v} as a whole; {without}"),
        "coordinates": ("latitude", lambda v: f"no station within {FARTHEST_KM:.0f} km; {_FAR}"),
    }
    mirrored = nearest(lost.with_columns(longitude=-pl.col("longitude"))).filter(pl.col("distance") <= FARTHEST_KM)
    signless = lost.join(
        mirrored.select("latitude", longitude=-pl.col("longitude")), on=["latitude", "longitude"], how="semi"
    )
    signless = signless.filter((pl.col("place_origin") == "coordinates") & (pl.col("longitude") > 0))
    lost = lost.filter(~pl.col("row").is_in(signless["row"].implode()))
    turned = "no station is near; a longitude in the Americas is negative: write it with its sign"
    faults = [_faults(signless, "longitude", "place not found", turned)]
    for origin, (column, say) in words.items():
        for value, group in lost.filter(pl.col("place_origin") == origin).group_by(column, maintain_order=True):
            told = "(none given)" if value[0] is None else str(value[0])
            faults.append(_faults(group, column, "place not found", say(told)))
    return pl.concat(faults)


def _no_postal_code(code: str) -> str:
    if code in postal_areas()["postal_code"]:
        return f"postal code {code} has no station within {FARTHEST_KM:.0f} km; {_FAR}"
    known = postal_areas().filter(pl.col("postal_code").str.starts_with(code[:3]))["postal_code"].to_list()
    near = min(known, key=lambda each: (abs(int(each) - int(code)), each)) if code.isdecimal() and known else None
    hint = f" (near it by number is {near})" if near else ""
    return f"postal code {code} is not known{hint}; correct it, or give coordinates"


def _faults(sites: pl.DataFrame, column: str, rule: str, message: str) -> pl.DataFrame:
    return sites.select(
        table=pl.lit("sites"),
        row="row",
        site_id="site_id",
        column=pl.lit(column),
        rule=pl.lit(rule),
        value=pl.col(column).cast(pl.String),
        message=pl.lit(message),
    ).cast(pl.Schema(FAULT_SCHEMA))


def _note() -> pl.Expr:
    zone, stated, origin = pl.col("climate_zone"), pl.col("stated_zone"), pl.col("place_origin")
    km, up = pl.col("station_distance_km"), pl.col("station_elevation_difference_m")
    share = (100 * pl.col("other_zone_share")).round(0).cast(pl.Int64).cast(pl.String)
    parts = [
        pl.when(origin == "state").then(
            pl.concat_str(
                pl.lit("only its state is known"),
                pl.when(pl.col("city").is_not_null())
                .then(pl.concat_str(pl.lit(" (no station is named for "), "city", pl.lit(")")))
                .otherwise(pl.lit("")),
                pl.lit(": weather of "),
                "station_name",
                pl.lit(", from which half of the state's postal areas lie more than "),
                "median_km",
                pl.lit(" km away and a tenth more than "),
                "far_km",
                pl.lit(" km, "),
                share,
                pl.lit(" % in another climate zone; give its postal code"),
            )
        ),
        pl.when(origin == "city").then(
            pl.concat_str(pl.lit("no postal code: weather of "), "station_name", pl.lit(", named for its city"))
        ),
        pl.when("signless").then(
            pl.lit("its longitude lacks its sign, negative in the Americas: its postal code is used")
        ),
        pl.when((pl.col("apart_km") > APART_KM) & ~pl.col("signless") & (origin == "coordinates")).then(
            pl.concat_str(
                pl.lit("its coordinates lie "), _whole(pl.col("apart_km")), pl.lit(" km from its postal area")
            )
        ),
        pl.when(stated != zone).then(
            pl.concat_str(pl.lit("states climate zone "), stated, pl.lit(" but the place lies in "), zone)
        ),
        pl.when(km > FAR_KM).then(
            pl.concat_str(pl.lit("nearest station "), "station_name", pl.lit(" is "), _whole(km), pl.lit(" km away"))
        ),
        pl.when(up.abs() > HIGH_M).then(
            pl.concat_str(
                pl.lit("the site lies "),
                _whole(up.abs()),
                pl.when(up > 0).then(pl.lit(" m above")).otherwise(pl.lit(" m below")),
                pl.lit(" its station"),
            )
        ),
    ]
    lacks = pl.col("file_lacks").list.contains
    parts += [
        pl.when(lacks("pressure_pa")).then(
            pl.concat_str(
                pl.lit("the weather file has no pressure: taken from an elevation of "),
                _whole(pl.col("elevation_m").fill_null(0.0)),
                pl.lit(" m"),
            )
        ),
        pl.when(lacks("irradiance_w_m2")).then(pl.lit("the weather file has no irradiance: the sun is left out")),
    ]
    joined = pl.concat_str(parts, separator="; ", ignore_nulls=True)
    return pl.when(joined != "").then(joined)


def _whole(value: pl.Expr) -> pl.Expr:
    return value.round(0).cast(pl.Int64).cast(pl.String)


def _origins(sites: pl.DataFrame) -> list[pl.Expr]:
    there = [name for name in FROM_PLACE if f"{name}_origin" in sites.columns]
    told = pl.concat_str(pl.lit(f"{LOOKED_UP}: "), "place_origin")
    return [
        pl.when(pl.col(f"{name}_origin").is_null() & pl.col(name).is_not_null())
        .then(told)
        .otherwise(f"{name}_origin")
        .alias(f"{name}_origin")
        for name in there
    ]
