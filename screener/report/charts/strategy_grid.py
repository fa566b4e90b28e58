"""Which change pays where: best strategies by climate zone and kind of building."""

from string import ascii_uppercase
from typing import Any

import polars as pl
from markupsafe import Markup

from screener import text
from screener.report.palette import PAPER, SHADES
from screener.report.svg import WIDTH, Chart, element, join, label, line, nothing_to_show

NAME, TITLE = "strategy-grid", "Which change pays where"
SOURCE = "groups.csv"
LEFT, RIGHT, HEAD, ROW = 34.0, WIDTH - 26, 104.0, 32.0
LETTER, SMALL_LETTER = 8.0, 6.4  # width of one in a cell
DARK = 3  # shades from here on carry white letters


def strategy_grid(groups: pl.DataFrame, currency: str) -> Chart:
    """Climate zones down, kinds of building across; in a cell the changes that pay, each with its number of sites.

    `groups`: climate_zone, building_type, best_strategy, sites, sites_with_savings, cost_saved. Letters stand for
    strategies and are spelled out below.
    """
    if groups.is_empty():
        return nothing_to_show(NAME, TITLE, SOURCE, "There is no site.")
    zones, kinds = (sorted(groups[c].unique()) for c in ("climate_zone", "building_type"))
    paying = groups.filter(pl.col("sites_with_savings") > 0)
    order = paying.group_by("best_strategy").agg(pl.col("cost_saved").sum()).sort("cost_saved", descending=True)
    letters = dict(zip(order["best_strategy"].to_list(), ascii_uppercase, strict=False))
    width = (RIGHT - LEFT) / len(kinds)
    shades = _shades(groups)
    ordered = groups.sort("cost_saved", descending=True, maintain_order=True)
    cells = ordered.rows_by_key(["climate_zone", "building_type"], named=True, include_key=True)
    parts = [_heads(kinds, width)]
    for row, zone in enumerate(zones):
        top = HEAD + row * ROW
        parts.append(line(LEFT, top, RIGHT, top, class_="grid") + label(4, top + 20, zone, class_="strong"))
        for column, kind in enumerate(kinds):
            if (zone, kind) in cells:
                parts.append(
                    _cell(cells[zone, kind], letters, shades.get((zone, kind), 0), LEFT + column * width, top, width)
                )
    bottom = HEAD + len(zones) * ROW
    key = _key(letters, bottom + 22)
    return Chart(
        NAME,
        TITLE,
        f"letter: best strategy, number: sites it pays at, below: all sites of the cell; shade: {currency} saved a year",
        SOURCE,
        _words(paying, currency),
        WIDTH,
        bottom + 14 + 18 * max(len(letters), 1),
        join(parts) + key,
    )


def _shades(groups: pl.DataFrame) -> dict[tuple[str, str], int]:
    """Four shades by savings, each twice as much as the one before."""
    sums = groups.group_by("climate_zone", "building_type").agg(pl.col("cost_saved").sum())
    most = max(sums["cost_saved"].to_list())
    steps = [most / 8, most / 4, most / 2]
    return {(z, k): sum(value > step for step in steps) for z, k, value in sums.iter_rows() if value > 0}


def _cell(
    cell: list[dict[str, Any]], letters: dict[str, str], shade: int, left: float, top: float, width: float
) -> Markup:
    paying = [group for group in cell if group["sites_with_savings"] > 0]
    saved, sites = sum(group["cost_saved"] for group in paying), sum(group["sites"] for group in cell)
    counts = [(group["best_strategy"], group["sites_with_savings"]) for group in paying]
    ground = element(
        "rect",
        x=left + 1,
        y=top + 1,
        width=width - 2,
        height=ROW - 2,
        fill=SHADES[shade] if paying else PAPER,
        data_climate_zone=cell[0]["climate_zone"],
        data_building_type=cell[0]["building_type"],
        data_sites=sites,
        data_best=",".join(f"{strategy}:{number}" for strategy, number in counts),
        data_cost_saved=float(saved),
    )
    if not paying:
        return ground + label(left + width / 2, top + 21, f"– of {sites}", anchor="middle", class_="quiet small")
    words = _counted(counts, letters, width)
    size, ink = "strong small" if len(words) * LETTER > width else "strong", " on-dark" if shade >= DARK else ""
    return (
        ground
        + label(left + width / 2, top + 15, words, anchor="middle", class_=size + ink)
        + label(
            left + width / 2,
            top + 27,
            f"of {sites}",
            anchor="middle",
            class_="small" + (" on-dark" if shade >= DARK else ""),
        )
    )


def _counted(counts: list[tuple[str, int]], letters: dict[str, str], width: float) -> str:
    """The changes of a cell with their sites, as many as there is room for; "+" where there are more."""
    words = [f"{letters[strategy]}{number}" for strategy, number in counts]
    for shown in range(len(words), 1, -1):
        told = " ".join(words[:shown]) + ("+" if shown < len(words) else "")
        if len(told) * SMALL_LETTER <= width:
            return told
    return words[0] + ("+" if len(words) > 1 else "")


def _heads(kinds: list[str], width: float) -> Markup:
    """Names of building types, aslant so that ten of them fit."""
    return join(
        label(
            0,
            0,
            text.words(kind),
            class_="small",
            transform=f"translate({LEFT + (k + 0.5) * width:.1f} {HEAD - 8}) rotate(-55)",
        )
        for k, kind in enumerate(kinds)
    )


def _key(letters: dict[str, str], top: float) -> Markup:
    if not letters:
        return label(4, top, "no change pays anywhere", class_="quiet")
    return join(
        label(4, top + 18 * row, letter, class_="strong") + label(24, top + 18 * row, text.words(strategy))
        for row, (strategy, letter) in enumerate(letters.items())
    )


def _words(paying: pl.DataFrame, currency: str) -> str:
    if paying.is_empty():
        return "In no climate zone and kind of building does a change pay."
    cells = [
        f"{text.words(best)} at {text.count(sites, 'site')}, {text.words(kind)} in zone {zone}, "
        f"{saved:,.0f} {currency} a year"
        for best, sites, kind, zone, saved in paying.sort("cost_saved", descending=True)
        .select("best_strategy", "sites_with_savings", "building_type", "climate_zone", "cost_saved")
        .head(5)
        .iter_rows()
    ]
    return "Most is saved by " + "; ".join(cells) + "."
