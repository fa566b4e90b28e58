"""What strategies need of a site beside its air system's own figures, and how people say that it is not there."""

from collections.abc import Mapping

FUEL, ROOF, EXHAUST, RACKS, AIR_SYSTEM, LEEWAY, PERMIT = (
    "fuel",
    "roof",
    "clean exhaust",
    "heat of the case racks",
    "work on the air system",
    "limit that may rise",
    "ventilation by occupancy permitted",
)

WORDS: Mapping[str, str] = {  # as typed, spaces and case aside: what is lacking
    "no fuel": FUEL,
    "no gas": FUEL,
    "all electric": FUEL,
    "no roof": ROOF,
    "no clean exhaust": EXHAUST,
    "no exhaust": EXHAUST,
    "self-contained cases": RACKS,
    "self contained cases": RACKS,
    "no racks": RACKS,
    "landlord": AIR_SYSTEM,
    "limit must hold": LEEWAY,
    "fixed ventilation": PERMIT,
}
