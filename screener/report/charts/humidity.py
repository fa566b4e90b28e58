"""The humidity a site is held at: dew point over the hours of the year, dampest first."""

import polars as pl
from markupsafe import Markup

from screener import text
from screener.report.svg import WIDTH, Chart, Scale, element, join, label, line, path

NAME, TITLE = "humidity", "The humidity that is held"
SOURCE = "every hour of the year worked out anew, as in the run"
LEFT, RIGHT, TOP, BOTTOM = 40.0, WIDTH - 10, 62.0, 270.0
STYLES = {"today": "now", "best": "then", "temperature only": "alone"}
POINTS = 120


def humidity(hours: pl.DataFrame, limit_dew_point_c: float, called: dict[str, str]) -> Chart:
    """Duration curves: how many hours a year the space is damper than a dew point.

    `hours`: one row per hour and strategy: strategy, dew_point_c [degC], weight_h [h/a]. `called` gives for "today",
    "best" and "temperature only" the strategy, as far as they differ.
    """
    curves = {name: _duration(hours.filter(strategy=strategy)) for name, strategy in called.items()}
    low = min(min(c["dew_point_c"].to_list()) for c in curves.values())
    high = max(max(c["dew_point_c"].to_list()) for c in curves.values())
    x = Scale(0.0, 8760.0, LEFT, RIGHT)
    y = Scale(max(low, -10.0) // 5 * 5, max(high, limit_dew_point_c) // 5 * 5 + 5, BOTTOM, TOP)
    limit = line(LEFT, y(limit_dew_point_c), RIGHT, y(limit_dew_point_c), class_="asked")
    limit += label(RIGHT - 2, y(limit_dew_point_c) - 5, "limit", anchor="end", class_="asked-text halo small")
    lines = [_curve(name, curve, x, y) for name, curve in curves.items()]
    return Chart(
        NAME,
        TITLE,
        "dew point of the space in °C; hours a year that are at least as damp",
        SOURCE,
        _words(hours, limit_dew_point_c, called),
        WIDTH,
        BOTTOM + 40,
        _grid(x, y) + join(lines) + limit + _key(called),
    )


def _duration(hours: pl.DataFrame) -> pl.DataFrame:
    """Hours at least as damp, at even steps of the year."""
    ranked = hours.sort("dew_point_c", descending=True).with_columns(hours=pl.col("weight_h").cum_sum())
    every = max(ranked.height // POINTS, 1)
    return ranked.filter((pl.int_range(pl.len()) % every == 0) | (pl.int_range(pl.len()) == pl.len() - 1))


def _curve(name: str, curve: pl.DataFrame, x: Scale, y: Scale) -> Markup:
    inside = curve.filter(pl.col("dew_point_c") >= y.low)
    points = [(x(hours), y(dew)) for hours, dew in inside.select("hours", "dew_point_c").iter_rows()]
    data = " ".join(f"{h:.6g}:{d:.6g}" for h, d in inside.select("hours", "dew_point_c").iter_rows())
    return element("path", class_=STYLES[name], d=path(points), data_line=name, data_hours_and_dew_points=data)


def _grid(x: Scale, y: Scale) -> Markup:
    levels = [
        line(LEFT, y(m), RIGHT, y(m), class_="grid") + label(LEFT - 6, y(m) + 4, f"{m:g}", anchor="end", class_="small")
        for m in y.marks(5)
    ]
    hours = [
        line(x(h), BOTTOM, x(h), BOTTOM + 4, class_="axis")
        + label(x(h), BOTTOM + 17, f"{h:,.0f}", anchor="middle", class_="small")
        for h in (0.0, 2000.0, 4000.0, 6000.0, 8000.0)
    ]
    axis = line(LEFT, BOTTOM, RIGHT, BOTTOM, class_="axis")
    return join(levels) + join(hours) + axis + label(RIGHT, BOTTOM + 34, "hours", anchor="end", class_="quiet small")


def _key(called: dict[str, str]) -> Markup:
    parts = []
    for place, (name, strategy) in enumerate(called.items()):
        at_y = 16.0 + 17 * place
        words = name if name == text.words(strategy) else f"{name}: {text.words(strategy)}"
        parts.append(line(LEFT, at_y - 4, LEFT + 30, at_y - 4, class_=STYLES[name]))
        parts.append(label(LEFT + 36, at_y, words))
    return join(parts)


def _words(hours: pl.DataFrame, limit: float, called: dict[str, str]) -> str:
    told = []
    for name, strategy in called.items():
        mine = hours.filter(strategy=strategy)
        above = mine.filter(pl.col("dew_point_c") > limit)["weight_h"].sum()
        highest = max(mine["dew_point_c"].to_list())
        told.append(f"{name}: {above:,.0f} hours above {limit:.1f} °C, at most {highest:.1f} °C")
    return "; ".join(told) + "."
