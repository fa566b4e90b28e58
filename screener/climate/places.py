"""Where a site is and which weather stands for it: by weather file, coordinates, postal code or climate zone."""

from collections.abc import Callable
from pathlib import Path

import polars as pl

from screener.climate import hourly_files
from screener.climate.carried import postal_areas, stations
from screener.errors import FAULT_SCHEMA, ContractError, UsageError, no_faults
from screener.physics import psychrometrics as air

EARTH_RADIUS_KM = 6371.0
FAR_KM = 80.0  # a station further away, or higher or lower than this, deserves a note: common practice, no source
HIGH_M = 300.0
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
LOOKED_UP = ("latitude", "longitude", "climate_zone", "elevation_m")
FILE_PREFIX = "file:"


def locate(sites: pl.DataFrame, folder: Path | None = None) -> tuple[pl.DataFrame, pl.DataFrame]:
    """The sites whose place was found, with their weather, and a fault for each of the others.

    `sites`: site_id, row, postal_code, latitude, longitude, climate_zone, weather_file, elevation_m. `folder`: the
    portfolio, for its `weather/`. A weather file wins over coordinates, these over a postal code, this over a zone.

    Adds weather_id, station, station_name, station_distance_km, station_elevation_difference_m (site above station),
    place_origin and climate_note; fills latitude, longitude, climate_zone (the place's own, which wins over a stated one)
    and elevation_m. A column `<name>_origin` of what was filled says "looked up".
    """
    areas = postal_areas().rename({name: f"area.{name}" for name in ("latitude", "longitude", "climate_zone")})
    found = sites.join(areas, on="postal_code", how="left", maintain_order="left")
    by_file, by_postal = pl.col("weather_file").is_not_null(), pl.col("postal_code").is_not_null()
    by_coordinates = pl.all_horizontal(pl.col("latitude", "longitude").is_not_null())
    origin = pl.when(by_file).then(pl.lit("weather file")).when(by_coordinates).then(pl.lit("coordinates"))
    place = origin.when(by_postal).then(pl.lit("postal code")).otherwise(pl.lit("climate zone"))
    found = found.with_columns(place_origin=place, stated_zone=pl.col("climate_zone")).with_columns(
        pl.coalesce(name, f"area.{name}").alias(name) for name in ("latitude", "longitude")
    )
    files, file_faults = _weather_files(found, folder)
    found = found.join(_nearest(found), on=["latitude", "longitude"], how="left", maintain_order="left")
    of_zone = pl.col("stated_zone").replace_strict(REPRESENTATIVE, default=None, return_dtype=pl.String)
    station = pl.when(by_file).then(None).when(pl.col("place_origin") == "climate zone").then(of_zone)
    found = found.with_columns(station=station.otherwise("nearest"), distance=pl.when(~by_file).then("distance"))
    found = found.join(files, on="weather_file", how="left", maintain_order="left")
    found = found.join(_station_facts(), on="station", how="left", maintain_order="left")
    weather = pl.when(by_file).then(pl.concat_str(pl.lit(FILE_PREFIX), "weather_file")).otherwise("station")
    zone = pl.coalesce("area.climate_zone", pl.when(~by_file).then("station_zone"), "stated_zone")
    zone = pl.when(pl.col("place_origin") == "climate zone").then("stated_zone").otherwise(zone)
    found = found.with_columns(
        weather_id=weather,
        climate_zone=zone,
        elevation_m=pl.coalesce("elevation_m", "station_elevation_m", "file_elevation_m"),
        station_distance_km="distance",
    ).with_columns(station_elevation_difference_m=pl.col("elevation_m") - pl.col("station_elevation_m"))
    faults = pl.concat([file_faults, _nowhere(found)])
    good = found.filter(~pl.col("row").is_in(faults["row"].drop_nulls().implode()))
    added = ["weather_id", "station", "station_name", "station_distance_km", "station_elevation_difference_m"]
    good = good.with_columns(*_origins(sites), climate_note=_note())
    return good.select(*sites.columns, *added, "place_origin", "climate_note"), faults


def find(place: str) -> pl.DataFrame:
    """The station for a place: a postal code, "latitude,longitude" or a climate zone. UsageError where there is none."""
    text = place.strip()
    site = {"site_id": "place", "row": 1, "postal_code": None, "latitude": None, "longitude": None}
    site |= {"climate_zone": None, "weather_file": None, "elevation_m": None}
    numbers = [part.strip() for part in text.split(",")]
    if len(numbers) == 2:
        try:
            site["latitude"], site["longitude"] = (float(part) for part in numbers)
        except ValueError:
            raise UsageError(f'{place} is not a place; write latitude,longitude such as "25.8,-80.3"') from None
    elif text.isdigit():
        site["postal_code"] = text.zfill(5)
    else:
        site["climate_zone"] = text.upper()
    texts = ("site_id", "postal_code", "climate_zone", "weather_file")
    schema = {name: pl.String if name in texts else pl.Int64 if name == "row" else pl.Float64 for name in site}
    found, faults = locate(pl.DataFrame([site], schema=schema))
    if found.is_empty():
        raise UsageError(f"{place}: {faults['message'][0]}")
    wanted = ["place_origin", "latitude", "longitude", "climate_zone", "station", "station_name"]
    return found.select(*wanted, "station_distance_km", station_elevation_m="elevation_m")


def great_circle_km() -> pl.Expr:
    """Distance [km] from `latitude, longitude` to `to_latitude, to_longitude` on a sphere: the haversine formula."""
    here, there = pl.col("latitude").radians(), pl.col("to_latitude").radians()
    across = ((pl.col("to_longitude") - pl.col("longitude")).radians() / 2).sin()
    half = ((there - here) / 2).sin() ** 2 + here.cos() * there.cos() * across**2
    return 2 * EARTH_RADIUS_KM * half.sqrt().arcsin()


def _nearest(sites: pl.DataFrame) -> pl.DataFrame:
    """The nearest station and its distance [km] for each pair of coordinates; great circle on a sphere."""
    places = sites.select("latitude", "longitude").drop_nulls().unique(maintain_order=True)
    listed = stations().select("station", to_latitude="latitude", to_longitude="longitude")
    return (
        places.lazy()
        .join(listed.lazy(), how="cross")
        .with_columns(distance=great_circle_km())
        .group_by("latitude", "longitude")
        .agg(pl.col("station").sort_by("distance", "station").first().alias("nearest"), pl.col("distance").min())
        .collect()
    )


def _station_facts() -> pl.DataFrame:
    return stations().select(
        "station", station_name="name", station_zone="climate_zone", station_elevation_m="elevation_m"
    )


def _weather_files(sites: pl.DataFrame, folder: Path | None) -> tuple[pl.DataFrame, pl.DataFrame]:
    """The elevation that goes with the pressure of each weather file, and a fault for each site whose file is bad."""
    elevations, faults = {}, [no_faults()]
    for name in sites["weather_file"].drop_nulls().unique().sort():
        try:
            hours = hourly_files.read(name, folder)
            pressure = pl.lit(hours["pressure_pa"].mean(), dtype=pl.Float64)
            elevations[name] = pl.select(air.elevation(pressure)).item()
        except ContractError as error:
            message = f"its weather file cannot be used: {error.faults['message'][0]}"
            faults.append(error.faults)
            faults.append(
                _faults(sites.filter(pl.col("weather_file") == name), "weather_file", "weather file", message)
            )
    schema = {"weather_file": pl.String, "file_elevation_m": pl.Float64}
    return pl.DataFrame(list(elevations.items()), schema=schema, orient="row"), pl.concat(faults)


def _nowhere(found: pl.DataFrame) -> pl.DataFrame:
    """Faults of the sites for which no weather was found."""
    without = "bring a weather file, or give coordinates or a postal code"
    lost = found.filter(pl.col("weather_id").is_null())
    words: dict[str, tuple[str, Callable[[str], str]]] = {
        "postal code": ("postal_code", lambda v: f"postal code {v} is not known; correct it, or give coordinates"),
        "climate zone": ("climate_zone", lambda v: f"climate zone {v} has no station; {without}"),
        "coordinates": ("latitude", lambda v: f"no station is near {v}; {without}"),
    }
    faults = [no_faults()]
    for origin, (column, say) in words.items():
        for value, group in lost.filter(pl.col("place_origin") == origin).group_by(column, maintain_order=True):
            told = "(none given)" if value[0] is None else str(value[0])
            faults.append(_faults(group, column, "place not found", say(told)))
    return pl.concat(faults)


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
    joined = pl.concat_str(parts, separator="; ", ignore_nulls=True)
    return pl.when(joined != "").then(joined)


def _whole(value: pl.Expr) -> pl.Expr:
    return value.round(0).cast(pl.Int64).cast(pl.String)


def _origins(sites: pl.DataFrame) -> list[pl.Expr]:
    there = [name for name in LOOKED_UP if f"{name}_origin" in sites.columns]
    told = pl.concat_str(pl.lit("looked up: "), "place_origin")
    return [
        pl.when(pl.col(f"{name}_origin").is_null() & pl.col(name).is_not_null())
        .then(told)
        .otherwise(f"{name}_origin")
        .alias(f"{name}_origin")
        for name in there
    ]
