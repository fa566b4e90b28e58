"""States of air as an explained hour prints them, each checked by psychrolib, the general-purpose psychrometric library.

Dew point, enthalpy and relative humidity are this program's own and compared with the library's; wet-bulb and specific
volume are the library's alone.
"""

import math
from collections.abc import Iterable, Sequence
from typing import Any

import psychrolib

from screener.formula import plain
from screener.physics import psychrometrics as air

Document = dict[str, Any]
HOTTER_C = 60.0  # than any state here
# How far both may lie apart: what the library's own iteration leaves, and the rounding of its constants.
AGREE = {"dew_point_c": 0.005, "enthalpy_j_kg": 1.0, "relative_humidity": 1e-5}


def state(name: str, dry_bulb_c: float, humidity_ratio: float, pressure_pa: float) -> Document:
    """One state: name, dry_bulb_c, humidity_ratio [kg/kg], enthalpy_j_kg, dew_point_c, relative_humidity [fraction],
    wet_bulb_c and volume_m3_kg [m3/kg dry air]."""
    told: Document = {
        "name": name,
        "dry_bulb_c": dry_bulb_c,
        "humidity_ratio": humidity_ratio,
        "enthalpy_j_kg": plain(air.enthalpy(dry_bulb_c, humidity_ratio)),
        "dew_point_c": plain(air.dew_point(humidity_ratio, pressure_pa)),
        "relative_humidity": plain(air.relative_humidity(dry_bulb_c, humidity_ratio, pressure_pa)),
    }
    library = by_library(told, pressure_pa)
    return told | {key: library[key] for key in ("wet_bulb_c", "volume_m3_kg")}


def by_library(told: Document, pressure_pa: float) -> dict[str, float]:
    """Dew point, enthalpy, relative humidity, wet-bulb and specific volume of a printed state, by psychrolib."""
    psychrolib.SetUnitSystem(psychrolib.SI)
    t, w = told["dry_bulb_c"], told["humidity_ratio"]
    vapour = psychrolib.GetVapPresFromHumRatio(w, pressure_pa)
    start = t if told["relative_humidity"] <= 1 else HOTTER_C  # it finds no dew point above where it starts
    return {
        "dew_point_c": psychrolib.GetTDewPointFromVapPres(start, vapour),
        "enthalpy_j_kg": psychrolib.GetMoistAirEnthalpy(t, w),
        "relative_humidity": psychrolib.GetRelHumFromVapPres(t, vapour),
        "wet_bulb_c": psychrolib.GetTWetBulbFromHumRatio(t, w, pressure_pa),
        "volume_m3_kg": psychrolib.GetMoistAirVolume(t, w, pressure_pa),
    }


def apart(states: Sequence[Document], pressure_pa: float) -> dict[str, float]:
    """How far the printed states lie from the library's at most, by figure of `AGREE`; not a number where one is none."""
    pairs = [(told, by_library(told, pressure_pa)) for told in states]
    return {key: _largest(abs(told[key] - library[key]) for told, library in pairs) for key in AGREE}


def agree(distances: dict[str, float]) -> bool:
    """Whether the distances of `apart` are all within `AGREE`."""
    return all(distances[key] <= most for key, most in AGREE.items())


def _largest(distances: Iterable[float]) -> float:
    found = list(distances)
    return math.nan if any(map(math.isnan, found)) else max(found, default=0.0)
