"""Where the figures are from that a site has by its building type alone, which has no cell for them in the table of sites."""

from collections.abc import Collection, Mapping
from math import isclose
from typing import Any

from screener.assumptions.filling import SCALED
from screener.contracts import load
from screener.contracts.origins import ASSUMED, GIVEN
from screener.tables import shipped

SCALED_ALREADY = {name for scaled in SCALED.values() for name in scaled.sources}  # shown as the site's own
CLOSED, OPEN = "infiltration_closed_l_s_m2", "infiltration_l_s_m2"


def in_words(origins: Collection[str], share: float) -> str:
    """How many of a site's figures, by their origins, are assumed, and what hangs on them: by number, and by weight."""
    number = sum(origin.startswith(ASSUMED) or origin == shipped.OWN_SOURCE for origin in origins)
    weight = f"by weight, which is how far they move the savings, {100 * share:.0f} % of those that are weighed"
    return f"Assumed: {number} of {len(origins)} figures by number; {weight}."


def origins(site: Mapping[str, Any]) -> dict[str, str]:
    """By column of the building types what a row of `sites_used` has of it alone, and its origin: the source that ships where the
    figure is the shipped one, else the portfolio's table."""
    types = shipped.building_types()
    kind = site["based_on"] or site["building_type"]
    values = types.values.filter(building_type=kind).row(0, named=True)
    sources = types.sources.filter(building_type=kind).row(0, named=True)
    found = {}
    for name in load("building_types").columns:
        value = site.get(name)
        if value is None or name in SCALED_ALREADY or f"{name}_origin" in site or name == "based_on":
            continue
        if name == CLOSED and site[f"{OPEN}_origin"] == GIVEN:
            found[name] = f"{ASSUMED}: {OPEN} in the proportion of the building type"
        else:
            usual = value == values[name] if isinstance(value, str) else isclose(value, values[name], rel_tol=1e-6)
            found[name] = f"{ASSUMED}: {sources[name]}" if usual else shipped.OWN_SOURCE
    return found
