"""Which weather stands for a site."""

from pathlib import Path

import polars as pl
import pytest

from screener import climate
from screener.climate import carried
from screener.errors import UsageError
from tests.derive import states

EMPTY = {
    "postal_code": None,
    "city": None,
    "state": None,
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
    "city": pl.String,
    "state": pl.String,
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
        ("25.8,80.3", "a longitude in the Americas is negative"),
        ("33100", r"postal code 33100 is not known \(near it by number is 33101\)"),
        ("hello", r"hello is no place that is known; give a postal code \(33101\)"),
        ("PR", "no station stands for PR as a whole"),
    ],
    ids=[
        "London",
        "Guam, listed but without a station",
        "beyond the pole",
        "words",
        "zone without its regime",
        "no sign",
        "no code",
        "a word",
        "no station",
    ],
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


@pytest.mark.parametrize(
    ("place", "origin", "station"),
    [
        ("33101-1234", "postal code", "MIAMI INTL AP"),
        ("Miami FL", "city", "MIAMI INTL AP"),
        ("miami,  Florida", "city", "MIAMI INTL AP"),
        ("Ft. Lauderdale, FL", "city", "FORT LAUDERDALE"),
        ("Lake LA", "state", "NEW IBERIA NAAS"),
        ("new york", "state", "STEWART FIELD"),
    ],
)
def test_places_in_words(place, origin, station):
    """A city by the station that bears its name, never by one of a longer name (Lake Charles); else by its state."""
    found = climate.find(place).row(0, named=True)
    assert found["place_origin"] == origin
    assert found["station_name"] == station or origin == "state"


def test_a_state_alone_says_what_it_costs():
    sites, faults = locate({"state": "FL"}, {"state": "FL", "city": "Atlantis"}, {"state": "FL", "climate_zone": "1A"})
    assert faults.is_empty()
    assert sites["place_origin"].to_list() == ["state", "state", "climate zone"]
    note = (
        "only its state is known: weather of LAKELAND LINDER RGN, from which half of the state's postal areas lie more than "
        "169 km away and a tenth more than 366 km, 14 % in another climate zone; give its postal code"
    )
    assert sites["climate_note"][0] == note
    assert "(no station is named for Atlantis)" in sites["climate_note"][1]


def test_coordinates_far_from_their_postal_area_are_in_doubt():
    """Miami's 33101 with a longitude without its sign, with one that is a street away, and with Orlando's."""
    sites, _ = locate(
        {"postal_code": "33101", "latitude": 25.8, "longitude": 80.2},
        {"postal_code": "33101", "latitude": 25.8, "longitude": -80.2},
        {"postal_code": "33101", "latitude": 28.5, "longitude": -81.4},
    )
    assert sites["place_origin"].to_list() == ["postal code", "coordinates", "coordinates"]
    assert sites["station"].to_list()[:2] == ["722020"] * 2
    assert sites["climate_note"].to_list() == [
        "its longitude lacks its sign, negative in the Americas: its postal code is used",
        None,
        "its coordinates lie 325 km from its postal area",
    ]


def test_states_are_as_their_postal_areas_say():
    """The list that ships, made anew from the open list of postal areas where that is at hand."""
    source = Path(__file__).parents[2] / ".." / "shared" / "places" / "postal_areas.csv"
    if not source.is_file():
        pytest.skip("the open list of postal areas is not at hand")
    made = states.table(states.read(source))
    shipped = carried.states()
    assert made.select(shipped.columns).rows() == shipped.rows()
