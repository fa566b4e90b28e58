"""Where the sites are: latitude against longitude, each site as large as its savings."""

import math

import polars as pl
from markupsafe import Markup

from screener.report.svg import WIDTH, Chart, Scale, element, join, label, line, nothing_to_show

NAME, TITLE = "site-map", "Where the savings are"
SOURCE = "latitude and longitude of the sites used, cost_saved of the ranking"
MOST_DRAWN = 1_500  # sites drawn one by one; beyond, those of a cell together
CELLS_ACROSS = 60
LARGEST = 19.0  # radius of the site that saves most
NAMED = 5
LEFT, RIGHT, TOP = 44.0, WIDTH - 14, 14.0
LEAST_HEIGHT, MOST_HEIGHT = 150.0, 330.0
MARGIN_DEG = 1.5


def site_map(ranking: pl.DataFrame, sites: pl.DataFrame, currency: str) -> Chart:
    """Sites by longitude and latitude, degrees as long as they are in the middle of the map.

    `ranking`: site_id, cost_saved. `sites`: site_id, latitude, longitude [deg]. Sites without coordinates are counted
    in a note; of more than 1500, those of a cell of the map are one circle.
    """
    places = ranking.select("rank", "site_id", "cost_saved").join(
        sites.select("site_id", "latitude", "longitude"), on="site_id", maintain_order="left"
    )
    known = places.drop_nulls(["latitude", "longitude"])
    if known.is_empty():
        return nothing_to_show(NAME, TITLE, SOURCE, "No site has coordinates.")
    x, y, bottom = _projection(known)
    spots = _cells(known, x) if known.height > MOST_DRAWN else known.with_columns(sites=pl.lit(1))
    notes = [f"{places.height - known.height:,} sites without coordinates are not drawn."]
    body = _graticule(x, y, bottom) + _spots(spots, x, y) + _names(spots, x, y)
    return Chart(
        NAME,
        TITLE,
        f"area of a circle: {currency} saved a year; open circle: nothing to be gained; degrees",
        SOURCE,
        _words(known, currency),
        WIDTH,
        bottom + 24,
        body,
        notes if places.height > known.height else [],
    )


def _projection(known: pl.DataFrame) -> tuple[Scale, Scale, float]:
    """Longitude and latitude on paper, and where the map ends."""
    west, east = _ends(known, "longitude")
    south, north = _ends(known, "latitude")
    shrink = math.cos(math.radians((south + north) / 2))
    height = (north - south) / ((east - west) * shrink) * (RIGHT - LEFT)
    height = min(max(height, LEAST_HEIGHT), MOST_HEIGHT)
    per_degree = min(height / (north - south), (RIGHT - LEFT) / ((east - west) * shrink))
    middle_x, half_x = (east + west) / 2, (RIGHT - LEFT) / (2 * per_degree * shrink)
    middle_y, half_y = (south + north) / 2, height / (2 * per_degree)
    bottom = TOP + height
    return (
        Scale(middle_x - half_x, middle_x + half_x, LEFT, RIGHT),
        Scale(middle_y - half_y, middle_y + half_y, bottom, TOP),
        bottom,
    )


def _ends(known: pl.DataFrame, degrees: str) -> tuple[float, float]:
    low, high = known.select(low=pl.col(degrees).min(), high=pl.col(degrees).max()).row(0)
    return low - MARGIN_DEG, high + MARGIN_DEG


def _cells(known: pl.DataFrame, x: Scale) -> pl.DataFrame:
    """Sites of a cell of the map together: their sums at their mean place."""
    size = (x.high - x.low) / CELLS_ACROSS
    return (
        known.group_by((pl.col("longitude") / size).floor().alias("column"), (pl.col("latitude") / size).floor())
        .agg(
            pl.col("rank").min(),
            pl.col("site_id").sort_by("rank").first(),
            pl.col("longitude").mean(),
            pl.col("latitude").mean().alias("mean_latitude"),
            pl.col("cost_saved").sum(),
            pl.len().alias("sites"),
        )
        .drop("latitude")
        .rename({"mean_latitude": "latitude"})
        .sort("rank")
    )


def _spots(spots: pl.DataFrame, x: Scale, y: Scale) -> Markup:
    most = max(spots["cost_saved"].to_list())
    drawn = []
    for spot in spots.sort("cost_saved", descending=True, maintain_order=True).iter_rows(named=True):
        saves = spot["cost_saved"] > 0
        drawn.append(
            element(
                "circle",
                element("title", f"{spot['site_id']}: {spot['cost_saved']:,.0f} a year"),
                class_="spot" if saves else "none",
                cx=x(spot["longitude"]),
                cy=y(spot["latitude"]),
                r=max(LARGEST * math.sqrt(spot["cost_saved"] / most), 2.2) if saves else 2.6,
                data_site=spot["site_id"],
                data_sites=spot["sites"] if spot["sites"] > 1 else None,
                data_longitude=spot["longitude"],
                data_latitude=spot["latitude"],
                data_cost_saved=spot["cost_saved"],
            )
        )
    return join(drawn)


def _names(spots: pl.DataFrame, x: Scale, y: Scale) -> Markup:
    """The sites that save most, as far as their names do not run into one another."""
    taken: list[tuple[float, float]] = []
    names = []
    largest = spots.filter(pl.col("cost_saved") > 0).sort("cost_saved", descending=True, maintain_order=True)
    for spot in largest.head(NAMED).iter_rows(named=True):
        at_x, at_y = x(spot["longitude"]), y(spot["latitude"]) + 4
        if any(abs(at_x - tx) < 60 and abs(at_y - ty) < 14 for tx, ty in taken):
            continue
        taken.append((at_x, at_y))
        end = at_x > WIDTH - 110
        name = spot["site_id"] if spot["sites"] == 1 else f"{spot['sites']} sites"
        names.append(
            label(at_x - 22 if end else at_x + 22, at_y, name, anchor="end" if end else None, class_="small strong")
        )
    return join(names)


def _graticule(x: Scale, y: Scale, bottom: float) -> Markup:
    frame = element("rect", class_="grid", x=LEFT, y=TOP, width=RIGHT - LEFT, height=bottom - TOP)
    meridians = [
        line(x(m), TOP, x(m), bottom, class_="grid")
        + label(x(m), bottom + 16, _degrees(m, "EW"), anchor="middle", class_="small")
        for m in x.marks(5)
    ]
    parallels = [
        line(LEFT, y(m), RIGHT, y(m), class_="grid")
        + label(LEFT - 5, y(m) + 4, _degrees(m, "NS"), anchor="end", class_="small")
        for m in y.marks(4)
    ]
    return frame + join(meridians) + join(parallels)


def _words(known: pl.DataFrame, currency: str) -> str:
    saving = known.filter(pl.col("cost_saved") > 0).sort("cost_saved", descending=True)
    if saving.is_empty():
        return f"{known.height:,} sites; none of them saves anything by a change."
    largest = ", ".join(
        f"{s['site_id']} ({_degrees(s['latitude'], 'NS')}, {_degrees(s['longitude'], 'EW')}) {s['cost_saved']:,.0f}"
        for s in saving.head(3).iter_rows(named=True)
    )
    return f"{saving.height:,} of {known.height:,} sites save; most, in {currency} a year: {largest}."


def _degrees(value: float, sides: str) -> str:
    return f"{abs(value):.3g}° {sides[value < 0]}"
