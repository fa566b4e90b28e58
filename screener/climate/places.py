"""Where a site is and which weather stands for it: by weather file, coordinates, postal code or climate zone."""

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import polars as pl

from screener.climate import hourly_files
from screener.climate.carried import postal_areas, stations
from screener.climate.nearest import nearest
from screener.contracts.origins import LOOKED_UP
from screener.errors import FAULT_SCHEMA, ContractError, UsageError, no_faults
from screener.formula import plain
from screener.physics import psychrometrics as air

FAR_KM = 80.0  # a station further away, or higher or lower than this, deserves a note: common practice, no source
HIGH_M = 300.0
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
PLACE = ("site_id", "row", "postal_code", "latitude", "longitude", "climate_zone", "weather_file", "elevation_m")
FROM_PLACE = ("latitude", "longitude", "climate_zone", "elevation_m")


def locate(sites: pl.DataFrame, folder: Path | None = None) -> tuple[pl.DataFrame, pl.DataFrame]:
    """The sites whose place was found, with their weather, and a fault for each of the others.

    `sites`: the columns of `PLACE`. `folder`: the portfolio, for its `weather/`. A weather file wins over coordinates,
    these over a postal code, this over a zone.

    Adds weather_id, station, station_name, station_distance_km, station_elevation_difference_m (site above station),
    place_origin and climate_note; fills latitude, longitude, climate_zone (the place's own, which wins over a stated one)
    and elevation_m. A column `<name>_origin` of what was filled says "looked up".
    """
    found = _places(sites)
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
    by_coordinates = pl.all_horizontal(pl.col("latitude", "longitude").is_not_null())
    origin = (
        pl.when(pl.col("weather_file").is_not_null())
        .then(pl.lit("weather file"))
        .when(by_coordinates)
        .then(pl.lit("coordinates"))
        .when(pl.col("postal_code").is_not_null())
        .then(pl.lit("postal code"))
        .otherwise(pl.lit("climate zone"))
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


def _stations(found: pl.DataFrame) -> pl.DataFrame:
    """Adds `station`, its name, zone and elevation, and `distance` [km]; fills `climate_zone`. No station beside a file."""
    origin = pl.col("place_origin")
    found = found.join(nearest(found), on=["latitude", "longitude"], how="left", maintain_order="left")
    of_zone = pl.col("stated_zone").replace_strict(REPRESENTATIVE, default=None, return_dtype=pl.String)
    near = pl.when(pl.col("distance") <= FARTHEST_KM).then("nearest")
    found = found.with_columns(
        station=pl.when(origin == "climate zone").then(of_zone).when(origin != "weather file").then(near),
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
    "climate_zone": pl.String,
    "weather_file": pl.String,
    "latitude": pl.Float64,
    "longitude": pl.Float64,
    "elevation_m": pl.Float64,
}
_NO_PLACE = '{} is not a place; write latitude,longitude such as "25.8,-80.3"'


def find(place: str) -> pl.DataFrame:
    """The station for a place: a postal code, "latitude,longitude" or a climate zone. UsageError where there is none."""
    text = place.strip().upper()
    site: dict[str, Any] = {"site_id": "place", "row": 1}
    numbers = [part.strip() for part in text.split(",")]
    if len(numbers) == 2:
        try:
            site["latitude"], site["longitude"] = (float(part) for part in numbers)
        except ValueError:
            raise UsageError(_NO_PLACE.format(place)) from None
        if not (-90 <= site["latitude"] <= 90 and -180 <= site["longitude"] <= 180):
            raise UsageError(_NO_PLACE.format(place))
    elif text.isdigit() and len(text) > 1:
        site["postal_code"] = text.zfill(5)
    else:
        site["climate_zone"] = text
    found, faults = locate(pl.DataFrame([site], schema=_SITE))
    if found.is_empty():
        raise UsageError(f"{place}: {faults['message'][0]}")
    wanted = ["place_origin", "latitude", "longitude", "climate_zone", "station", "station_name"]
    return found.select(*wanted, "station_distance_km", station_elevation_m="elevation_m")


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
        "coordinates": ("latitude", lambda v: f"no station within {FARTHEST_KM:.0f} km; {_FAR}"),
    }
    faults = [no_faults()]
    for origin, (column, say) in words.items():
        for value, group in lost.filter(pl.col("place_origin") == origin).group_by(column, maintain_order=True):
            told = "(none given)" if value[0] is None else str(value[0])
            faults.append(_faults(group, column, "place not found", say(told)))
    return pl.concat(faults)


def _no_postal_code(code: str) -> str:
    if code in postal_areas()["postal_code"]:
        return f"postal code {code} has no station within {FARTHEST_KM:.0f} km; {_FAR}"
    return f"postal code {code} is not known; correct it, or give coordinates"


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
    zone, stated = pl.col("climate_zone"), pl.col("stated_zone")
    km, up = pl.col("station_distance_km"), pl.col("station_elevation_difference_m")
    parts = [
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
