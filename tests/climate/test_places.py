"""Which weather stands for a site."""

import polars as pl
import pytest

from screener import climate
from screener.errors import UsageError

EMPTY = {
    "postal_code": None,
    "latitude": None,
    "longitude": None,
    "climate_zone": None,
    "weather_file": None,
    "elevation_m": None,
}
SCHEMA = {
    "site_id": pl.String,
    "row": pl.Int64,
    "postal_code": pl.String,
    "latitude": pl.Float64,
    "longitude": pl.Float64,
    "climate_zone": pl.String,
    "weather_file": pl.String,
    "elevation_m": pl.Float64,
}


def locate(*places: dict):
    rows = [EMPTY | {"site_id": f"s{i}", "row": i + 2} | place for i, place in enumerate(places)]
    return climate.locate(pl.DataFrame(rows, schema=SCHEMA))


def test_by_postal_code_coordinates_and_zone():
    sites, faults = locate({"postal_code": "33101"}, {"latitude": 25.8, "longitude": -80.3}, {"climate_zone": "1A"})
    assert faults.is_empty()
    assert sites["weather_id"].to_list() == ["722020"] * 3
    assert sites["station_name"].to_list() == ["MIAMI INTL AP"] * 3
    assert sites["place_origin"].to_list() == ["postal code", "coordinates", "climate zone"]
    assert sites["station_distance_km"][1] < 5
    assert sites["climate_zone"].to_list() == ["1A"] * 3
    assert sites["elevation_m"].is_not_null().all()


def test_coordinates_win_over_postal_code_and_zone():
    sites, _ = locate({"postal_code": "33101", "latitude": 39.8, "longitude": -104.7, "climate_zone": "1A"})
    assert sites["weather_id"][0] != "722020"


def test_great_circle():
    """Miami to Seattle is about 4 400 km (general knowledge): the nearest station to a point is near it."""
    sites, _ = locate({"latitude": 47.45, "longitude": -122.3})
    assert sites["station"][0] == "727930"
    assert sites["station_distance_km"][0] < 5


def test_what_deserves_a_note():
    sites, _ = locate(
        {"postal_code": "33101", "climate_zone": "5A"},
        {"latitude": 27.0, "longitude": -90.0},
        {"postal_code": "80202", "elevation_m": 3000.0},
        {"postal_code": "33101", "climate_zone": "1A"},
    )
    notes = sites["climate_note"].to_list()
    assert notes[0] == "states climate zone 5A but the place lies in 1A"
    assert "km away" in notes[1]
    assert "m above its station" in notes[2]
    assert notes[3] is None
    assert sites["climate_zone"][0] == "1A"


def test_places_that_are_nowhere():
    sites, faults = locate({"postal_code": "00000"}, {"climate_zone": "0A"}, {"postal_code": "33101"})
    assert sites["site_id"].to_list() == ["s2"]
    assert faults.select("row", "column", "value").rows() == [(2, "postal_code", "00000"), (3, "climate_zone", "0A")]
    assert faults["message"].to_list() == [
        "postal code 00000 is not known; correct it, or give coordinates",
        "climate zone 0A has no station; bring a weather file, or give coordinates or a postal code",
    ]


@pytest.mark.parametrize("zone", ["0A", "0B", "1B"])
def test_zones_without_a_station(zone):
    with pytest.raises(UsageError, match="has no station; bring a weather file"):
        climate.find(zone)


def test_odd_zones_of_the_lists_are_tidy():
    """A few areas are listed as 7A, or without a moisture regime: no zone but the standard's is left."""
    known = {"1A", "2A", "2B", "3A", "3B", "3C", "4A", "4B", "4C", "5A", "5B", "5C", "6A", "6B", "7", "8"}
    from screener.climate.carried import postal_areas

    for frame in (postal_areas(), climate.stations()):
        assert set(frame["climate_zone"].drop_nulls().unique()) <= known
    assert postal_areas().height == 33_144
    assert climate.stations().height == 1011


@pytest.mark.parametrize(
    ("place", "words"),
    [
        ("51.5,-0.1", "no station within 500 km; bring a weather file"),
        ("96910", "postal code 96910 has no station within 500 km; bring a weather file"),
        ("95,0", "is not a place; write latitude,longitude"),
        ("here,there", "is not a place; write latitude,longitude"),
        ("4", "climate zone 4 has no station"),
    ],
    ids=["London", "Guam, listed but without a station", "beyond the pole", "words", "zone without its regime"],
)
def test_no_weather_is_better_than_the_wrong_weather(place, words):
    with pytest.raises(UsageError, match=words):
        climate.find(place)


@pytest.mark.parametrize(
    ("place", "station"), [("7a", "727450"), ("8", "702610"), (" 33101 ", "722020"), ("2138", "725090")]
)
def test_find_takes_what_people_type(place, station):
    """Zones 7 and 8 have no moisture regime; a postal code may have lost its leading zero (02138 is by Boston)."""
    assert climate.find(place)["station"].to_list() == [station]


def test_nearest_is_the_least_of_all_distances():
    """Against the spherical law of cosines, another formula for the same distance, over a grid of places."""
    from math import acos, cos, radians, sin

    from screener.climate.nearest import nearest

    grid = [(lat + 0.3, lon + 0.7) for lat in range(25, 49, 4) for lon in range(-124, -68, 7)]
    found = nearest(pl.DataFrame(grid, schema=["latitude", "longitude"], orient="row"))
    listed = climate.stations().select("station", "latitude", "longitude").rows()
    for lat, lon, station, km, _ in found.rows():
        a = radians(lat)
        away = {
            s: 6371 * acos(sin(a) * sin(radians(y)) + cos(a) * cos(radians(y)) * cos(radians(x - lon)))
            for s, y, x in listed
        }
        assert station == min(away, key=away.__getitem__)
        assert km == pytest.approx(away[station], abs=0.01)


def test_stations_without_a_listed_zone_take_the_nearest_postal_area_s():
    zones = dict(climate.stations().select("station", "climate_zone").rows())
    assert None not in zones.values()
    assert (zones["722045"], zones["723865"], zones["727938"]) == ("2A", "3B", "4C")  # Vero Beach, Las Vegas, Tacoma
