"""A day of the site: the heat of people, machines and sun hour by hour, and the heat that is put back all the same."""

from calendar import month_name

import polars as pl
from markupsafe import Markup

from screener.report.palette import CLAY, DARK_BLUE, OCHRE, PALE_BLUE, Fill, patterns
from screener.report.svg import WIDTH, Chart, Scale, element, join, label, line, scale_to, short

NAME = "day"
SOURCE = "the hours of this day worked out anew, as in the run"
BRINGS = {
    "people_w": ("people", Fill(OCHRE)),
    "machines_w": ("lights and equipment", Fill(PALE_BLUE)),
    "sun_w": ("sun", Fill(OCHRE, hatched=True)),
}
REHEAT = {"today": ("reheat today", Fill(CLAY)), "best": ("with the best strategy", Fill(DARK_BLUE))}
LEFT, RIGHT, TOP, BOTTOM = 48.0, WIDTH - 6, 66.0, 280.0


def day(hours: pl.DataFrame, now: str, then: str, date: tuple[int, int]) -> Chart:
    """Heat inside above the line, reheat below it; today's bar left, the other right.

    `hours`: strategy, hour (0-23), people_w, machines_w, sun_w and reheat_w [W] of the day `date` (month, day).
    """
    roles = {"today": now} | ({"best": then} if then != now else {})
    reheat = {role: hours.filter(strategy=strategy).sort("hour") for role, strategy in roles.items()}
    today = reheat["today"]
    inside = today.select(kw=pl.sum_horizontal(list(BRINGS)) / 1000)["kw"]
    put_back = [-kw / 1000 for each in reheat.values() for kw in each["reheat_w"]]
    y = scale_to([*inside, *put_back], BOTTOM, TOP, about=6)
    width = (RIGHT - LEFT) / 24
    bars = [_stack(row, LEFT + row["hour"] * width + 1, width - 2, y) for row in today.iter_rows(named=True)]
    for place, (role, each) in enumerate(reheat.items()):
        own = (width - 2) / len(reheat)
        for row in each.iter_rows(named=True):
            bars.append(_below(row, role, LEFT + row["hour"] * width + 1 + place * own, own, y))
    clock = [label(LEFT + h * width, BOTTOM + 16, str(h), anchor="middle", class_="small") for h in range(0, 25, 3)]
    keyed = [*BRINGS.values(), *(REHEAT[role] for role in reheat)]
    fills = [fill for _, fill in keyed]
    return Chart(
        NAME,
        f"A day of it: {date[1]} {tuple(month_name)[date[0]]}",
        "kW by the hour of the day: above the line the heat of people, machines and sun in the space, below it reheat",
        SOURCE,
        _words(today, reheat),
        WIDTH,
        BOTTOM + 24,
        patterns(NAME, fills) + _key(keyed) + _grid(y) + join(bars) + join(clock),
    )


def _stack(row: dict[str, float], left: float, width: float, y: Scale) -> Markup:
    parts, at = [], 0.0
    for name, (called, fill) in BRINGS.items():
        kw = row[name] / 1000
        if kw > 0:
            parts.append(_rect(called, fill, kw, (at, at + kw), left, width, y, data_part=name, data_hour=row["hour"]))
            at += kw
    return join(parts)


def _below(row: dict[str, float], role: str, left: float, width: float, y: Scale) -> Markup:
    kw = row["reheat_w"] / 1000
    called, fill = REHEAT[role]
    if kw <= 0:
        return join([])
    return _rect(called, fill, kw, (-kw, 0.0), left, width, y, data_part=f"reheat {role}", data_hour=row["hour"])


def _rect(
    called: str, fill: Fill, kw: float, span: tuple[float, float], left: float, width: float, y: Scale, **data: object
) -> Markup:
    top, bottom = y(span[1]), y(span[0])
    title = element("title", f"{called}: {kw:,.1f} kW")
    place = {"x": left, "y": top, "width": width, "height": bottom - top}
    return element("rect", title, class_="edge", fill=fill.paint(NAME), **place, **data, data_kw=kw)


def _key(keyed: list[tuple[str, Fill]]) -> Markup:
    parts = []
    for place, (called, fill) in enumerate(keyed):
        at_x, at_y = 8 + place % 3 * 145, 8 + place // 3 * 19
        parts.append(element("rect", x=at_x, y=at_y, width=12, height=12, fill=fill.paint(NAME)))
        parts.append(label(at_x + 17, at_y + 11, called, class_="small"))
    return join(parts)


def _grid(y: Scale) -> Markup:
    return join(
        line(LEFT, y(m), RIGHT, y(m), class_="axis" if m == 0 else "grid")
        + label(LEFT - 6, y(m) + 4, short(abs(m)), anchor="end", class_="small")
        for m in y.marks(6)
    )


def _words(today: pl.DataFrame, reheat: dict[str, pl.DataFrame]) -> str:
    sums = today.select(pl.col(name).sum() / 1000 for name in BRINGS).row(0, named=True)
    heat = ", ".join(f"{called} {sums[name]:,.0f}" for name, (called, _) in BRINGS.items())
    told = [f"Heat in the space, kWh of the day: {heat}"]
    for role, each in reheat.items():
        most = each.sort("reheat_w", "hour", descending=[True, False]).row(0, named=True)
        words = f"{REHEAT[role][0]} {each['reheat_w'].sum() / 1000:,.0f} kWh"
        if most["reheat_w"] > 0:
            words += f", most from {most['hour']} to {most['hour'] + 1} o'clock"
        told.append(words)
    return "; ".join(told) + "."
