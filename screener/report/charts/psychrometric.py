"""The psychrometric chart: the year's outdoor hours, the limit, and what the air goes through.

Lines and states come from the same expressions as the engine's (`physics.psychrometrics`); nothing is fitted for the
drawing.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import polars as pl
from markupsafe import Markup

from screener import text
from screener.formula import plain
from screener.physics import psychrometrics as air
from screener.report.svg import Chart, Scale, element, join, label, line, path

NAME, TITLE = "psychrometric", "The air on the psychrometric chart"
SOURCE = "weather of the run; state points of the design hour as screener explain prints them"
WIDTH = 480.0
LEFT, RIGHT, TOP, BOTTOM = 8.0, WIDTH - 46, 72.0, 390.0
KELVIN, GRAMS = 1.0, 0.5  # size of a cell of outdoor hours [K], [g/kg]
HUMIDITIES = (0.2, 0.4, 0.6, 0.8)
STYLES = ("now", "then")  # of the first and the second strategy
SHADES = 5
CLOSE_X, CLOSE_Y = 14.0, 11.0  # numbers nearer than this run into one another
LINE = 15.0


@dataclass(frozen=True)
class State:
    """A point of the chart: dry-bulb [degC], humidity ratio [kg/kg], dew point [degC]."""

    name: str
    dry_bulb_c: float
    humidity_ratio: float
    dew_point_c: float


@dataclass(frozen=True)
class Process:
    """What happens to air between two states, by their names."""

    name: str
    start: str
    end: str


@dataclass(frozen=True)
class Path:
    """What a strategy does with the air in an hour."""

    strategy: str
    states: Sequence[State]
    processes: Sequence[Process]


@dataclass(frozen=True)
class Space:
    """What is asked of the space: its pressure [Pa], cooling set point [degC] and the limit as a humidity ratio [kg/kg]."""

    pressure_pa: float
    cooling_setpoint_c: float
    limit_humidity_ratio: float


def psychrometric(outdoor: pl.DataFrame, space: Space, paths: Sequence[Path], hour: str) -> Chart:
    """Dry-bulb across, humidity ratio up.

    `outdoor`: outdoor_c [degC], outdoor_humidity_ratio [kg/kg], weight_h [h/a]. `paths`: at most two, today's first.
    `hour` says in words which hour they are of.
    """
    x, y = _scales(outdoor, space, paths)
    drawn = [
        _density(outdoor, x, y, space.pressure_pa),
        _frame(x, y),
        _saturation(x, y, space.pressure_pa),
        _asked(space, x, y),
        *(_path(each, style, x, y) for each, style in zip(paths, STYLES, strict=False)),
        _numbers(paths, x, y),
        _key(paths),
    ]
    return Chart(
        NAME,
        TITLE,
        "dry-bulb in °C across, humidity ratio in g of water per kg of dry air up; shaded: hours a year outdoors, darker "
        "is more",
        SOURCE,
        _words(outdoor, space, paths, hour),
        WIDTH,
        BOTTOM + 44 + LINE * max(len(each.states) for each in paths),
        join(drawn),
    )


def _scales(outdoor: pl.DataFrame, space: Space, paths: Sequence[Path]) -> tuple[Scale, Scale]:
    states = [state for each in paths for state in each.states]
    ends = outdoor.select(
        low=pl.col("outdoor_c").quantile(0.01),
        high=pl.col("outdoor_c").max(),
        damp=pl.col("outdoor_humidity_ratio").max(),
    ).row(0, named=True)
    warm = max(ends["high"], space.cooling_setpoint_c, *(s.dry_bulb_c for s in states))
    cold = min(ends["low"], *(s.dry_bulb_c for s in states), space.cooling_setpoint_c - 15)
    damp = max(ends["damp"], space.limit_humidity_ratio, *(s.humidity_ratio for s in states)) * 1000
    cold, warm = cold // 5 * 5, warm // 5 * 5 + 5
    return Scale(cold, warm, LEFT, RIGHT), Scale(0.0, ((damp + 0.5) // 2 + 1) * 2 / 1000, BOTTOM, TOP)


def _density(outdoor: pl.DataFrame, x: Scale, y: Scale, pressure_pa: float) -> Markup:
    """Cells of outdoor hours, cut off at saturation; each shade holds twice the hours of the one before."""
    grams = pl.col("outdoor_humidity_ratio") * 1000
    cells = (
        outdoor.filter(pl.col("outdoor_c").is_between(x.low, x.high, closed="left"))
        .group_by((pl.col("outdoor_c") / KELVIN).floor().alias("k"), (grams / GRAMS).floor().alias("g"))
        .agg(pl.col("weight_h").sum().alias("hours"))
        .sort("k", "g")
    )
    most = max(cells["hours"].to_list())
    drawn = []
    for k, g, hours in cells.iter_rows():
        shade = next((s for s in range(SHADES) if hours > most / 2 ** (s + 1)), SHADES - 1)
        left, low = k * KELVIN, g * GRAMS / 1000
        drawn.append(
            element(
                "rect",
                class_="outdoor",
                fill_opacity=f"{0.62 * 0.62**shade:.2f}",
                x=x(left),
                y=y(low + GRAMS / 1000),
                width=x(left + KELVIN) - x(left),
                height=y(low) - y(low + GRAMS / 1000),
                data_outdoor_c=float(left),
                data_humidity_ratio=float(low),
                data_hours=float(hours),
            )
        )
    below = [(x(t), y(w)) for t, w in _line(1.0, x, y, pressure_pa)]
    ends = [(RIGHT, TOP), (RIGHT, BOTTOM), (LEFT, BOTTOM)]
    clip = element("clipPath", element("path", d=path([*below, *ends]) + "Z"), id=f"{NAME}-below")
    return element("defs", clip) + element("g", join(drawn), clip_path=f"url(#{NAME}-below)")


def _frame(x: Scale, y: Scale) -> Markup:
    """Axes and rules; the plotted area carries its scales, so that a place can be read back."""
    area = element(
        "rect",
        class_="grid",
        x=LEFT,
        y=TOP,
        width=RIGHT - LEFT,
        height=BOTTOM - TOP,
        data_dry_bulb_low=x.low,
        data_dry_bulb_high=x.high,
        data_humidity_ratio_low=y.low,
        data_humidity_ratio_high=y.high,
    )
    verticals = [
        line(x(m), BOTTOM, x(m), BOTTOM + 4, class_="axis")
        + label(x(m), BOTTOM + 17, f"{m:g}", anchor="middle", class_="small")
        for m in x.marks(8)
    ]
    levels = [
        line(RIGHT, y(m), RIGHT + 4, y(m), class_="axis") + label(RIGHT + 8, y(m) + 4, f"{m * 1000:g}", class_="small")
        for m in y.marks(8)
    ]
    titles = label(RIGHT, BOTTOM + 35, "dry-bulb, °C", anchor="end", class_="quiet small")
    titles += label(WIDTH - 2, TOP - 10, "g/kg", anchor="end", class_="quiet small")
    return area + join(verticals) + join(levels) + titles


def _saturation(x: Scale, y: Scale, pressure_pa: float) -> Markup:
    """Saturation and lines of equal relative humidity, as far as they lie on the paper."""
    drawn = []
    for fraction in (*HUMIDITIES, 1.0):
        points = _line(fraction, x, y, pressure_pa)
        style = "axis saturation" if fraction == 1.0 else "grid"
        places = path((x(t), y(w)) for t, w in points)
        drawn.append(element("path", class_=style, d=places, data_relative_humidity=fraction))
        if fraction < 1.0:
            drawn.append(_percent(fraction, *points[-1], x, y))
    return join(drawn)


def _percent(fraction: float, t: float, w: float, x: Scale, y: Scale) -> Markup:
    """Which humidity a line is of, where it leaves the paper."""
    anchor, aside = ("middle", 0.0) if t < x.high else ("end", 4.0)
    return label(x(t) - aside, y(w) - 5, f"{fraction:.0%}", anchor=anchor, class_="quiet small halo")


def _line(fraction: float, x: Scale, y: Scale, pressure_pa: float) -> list[tuple[float, float]]:
    """Dry-bulb [degC] and humidity ratio [kg/kg] along a line of equal relative humidity."""
    steps = int(x.high - x.low) * 2
    grid = [x.low + (x.high - x.low) * k / steps for k in range(steps + 1)]
    states = ((t, plain(air.humidity_ratio_from_relative_humidity(t, fraction, pressure_pa))) for t in grid)
    return [(t, w) for t, w in states if w <= y.high]


def _asked(space: Space, x: Scale, y: Scale) -> Markup:
    """The limit, up to the set point."""
    limit, setpoint = y(space.limit_humidity_ratio), x(space.cooling_setpoint_c)
    mark = element("path", class_="asked", d=path([(LEFT, limit), (setpoint, limit), (setpoint, BOTTOM)]))
    words = label(LEFT + 4, limit - 5, "humidity limit", class_="asked-text halo small")
    return mark + words + label(setpoint + 4, BOTTOM - 6, "set point", class_="asked-text halo small")


def _path(each: Path, style: str, x: Scale, y: Scale) -> Markup:
    known: Mapping[str, State] = {state.name: state for state in each.states}
    lines = [
        element(
            "path",
            element("title", f"{text.words(each.strategy)}: {process.name}"),
            class_=style,
            d=path((x(known[end].dry_bulb_c), y(known[end].humidity_ratio)) for end in (process.start, process.end)),
            data_strategy=each.strategy,
            data_process=process.name,
        )
        for process in each.processes
    ]
    dots = [
        element(
            "circle",
            element("title", f"{text.words(each.strategy)}: {state.name}"),
            class_=f"{style} dot",
            cx=x(state.dry_bulb_c),
            cy=y(state.humidity_ratio),
            r=4.2,
            data_strategy=each.strategy,
            data_state=state.name,
            data_dry_bulb_c=state.dry_bulb_c,
            data_humidity_ratio=state.humidity_ratio,
            data_dew_point_c=state.dew_point_c,
        )
        for state in each.states
    ]
    return join(lines) + join(dots)


def _numbers(paths: Sequence[Path], x: Scale, y: Scale) -> Markup:
    """A number beside every state, and below the chart what it is of: today's left, the other's right."""
    drawn: list[Markup] = []
    taken: list[tuple[float, float]] = []
    for each, style, left, side in zip(paths, STYLES, (LEFT, WIDTH / 2), (8.0, -8.0), strict=False):
        for place, (number, state) in enumerate(numbered(paths, each)):
            at_x, at_y = x(state.dry_bulb_c) + side, y(state.humidity_ratio) + 4
            while any(abs(at_x - tx) < CLOSE_X and abs(at_y - ty) < CLOSE_Y for tx, ty in taken):
                at_y += CLOSE_Y
            taken.append((at_x, at_y))
            anchor = None if side > 0 else "end"
            drawn.append(label(at_x, at_y, number, anchor=anchor, class_=f"{style}-text halo small strong"))
            words = element("tspan", f"{number} ", class_="strong") + element("tspan", state.name)
            drawn.append(label(left, BOTTOM + LINE * (place + 3.6), words, class_=f"{style}-text small"))
    return join(drawn)


def numbered(paths: Sequence[Path], path: Path) -> list[tuple[int, State]]:
    """The states of one of the paths with their numbers; what it shares with an earlier one has that one's number."""
    known: dict[State, int] = {}
    for each in paths:
        for state in each.states:
            known.setdefault(state, len(known) + 1)
    return [(known[state], state) for state in path.states]


def _key(paths: Sequence[Path]) -> Markup:
    drawn = []
    for place, (each, style) in enumerate(zip(paths, STYLES, strict=False)):
        at_y = 16 + 19 * place
        when = "today" if place == 0 else "best"
        drawn.append(line(LEFT, at_y - 4, LEFT + 32, at_y - 4, class_=style))
        drawn.append(label(LEFT + 40, at_y, f"{when}: {text.words(each.strategy)}", class_=f"{style}-text strong"))
    return join(drawn)


def _words(outdoor: pl.DataFrame, space: Space, paths: Sequence[Path], hour: str) -> str:
    above = outdoor.filter(pl.col("outdoor_humidity_ratio") > space.limit_humidity_ratio)["weight_h"].sum()
    ways = [
        f"{text.words(each.strategy)}: "
        + ", ".join(f"{s.name} {s.dry_bulb_c:.1f} °C, {s.humidity_ratio * 1000:.2f} g/kg" for s in each.states)
        for each in paths
    ]
    return (
        f"Outdoors it is damper than the limit of {space.limit_humidity_ratio * 1000:.2f} g/kg for {above:,.0f} hours a "
        f"year. Pressure {space.pressure_pa / 1000:.2f} kPa. {hour}" + "".join(f" {way}." for way in ways)
    )
