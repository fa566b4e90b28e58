"""Where a site's moisture comes from and who removes it, month by month, today and with the best strategy."""

import polars as pl
from markupsafe import Markup

from screener.report.palette import CLAY, DARK_BLUE, OCHRE, PALE_BLUE, Fill, patterns
from screener.report.svg import WIDTH, Chart, Scale, element, join, label, line, scale_to, short

NAME, TITLE = "moisture", "Moisture month by month"
SOURCE = "every hour of the year worked out anew, as in the run"
ARRIVING = {
    "people_kg": ("people and processes", Fill(OCHRE)),
    "damp_air_kg": ("damp outdoor air", Fill(PALE_BLUE)),
    "given_back_kg": ("stored in another month", Fill(OCHRE, hatched=True)),
}
LEAVING = {
    "coil_kg": ("cooling coil", Fill(DARK_BLUE)),
    "cases_kg": ("display cases", Fill(CLAY)),
    "device_kg": ("dehumidifying device", Fill("#7d2a1c")),
    "dry_air_kg": ("dry outdoor air", Fill(PALE_BLUE, hatched=True)),
    "taken_up_kg": ("stored into another month", Fill(CLAY, hatched=True)),
}
MONTHS = "JFMAMJJASOND"
LEFT, RIGHT, TOP, BOTTOM = 48.0, WIDTH - 6, 66.0, 300.0


def moisture(months: pl.DataFrame, now: str, then: str) -> Chart:
    """Water arriving above the line and removed below it; for each month today's bar left, the other right.

    `months`: month (1-12), strategy (of others than `now` and `then` nothing is drawn) and kilograms a month: people_kg,
    damp_air_kg arriving, given_back_kg by the space; coil_kg, cases_kg, device_kg, dry_air_kg removed, taken_up_kg by the
    space. A kilogram of water is a litre.
    """
    both = [now, then] if now != then else [now]
    months = months.filter(pl.col("strategy").is_in(both))
    used = {n: a for n, a in (ARRIVING | LEAVING).items() if months[n].sum() > 0}
    sums = months.select(up=pl.sum_horizontal(list(ARRIVING)), down=pl.sum_horizontal(list(LEAVING)))
    y = scale_to([*sums["up"], *(-sums["down"])], BOTTOM, TOP, about=6)
    width = (RIGHT - LEFT) / 12
    bars = [
        _bar(row, LEFT + (row["month"] - 1) * width + 3 + place * (width - 6) / len(both), (width - 6) / len(both), y)
        for place, strategy in enumerate(both)
        for row in months.filter(strategy=strategy).iter_rows(named=True)
    ]
    names = [
        label(LEFT + (k + 0.5) * width, BOTTOM + 16, m, anchor="middle", class_="small") for k, m in enumerate(MONTHS)
    ]
    body = patterns(NAME, [fill for _, fill in used.values()]) + _key(list(used)) + _grid(y) + join(bars) + join(names)
    side = "left bar today, right bar with the best strategy; " if len(both) > 1 else ""
    return Chart(
        NAME,
        TITLE,
        f"litres a month, above the line arriving, below it removed; {side}hatched: carried away by dry outdoor air",
        SOURCE,
        _words(months, both),
        WIDTH,
        BOTTOM + 24,
        body,
    )


def _bar(row: dict[str, float], left: float, width: float, y: Scale) -> Markup:
    parts = []
    for kinds, sign in ((ARRIVING, 1.0), (LEAVING, -1.0)):
        at = 0.0
        for name, (called, fill) in kinds.items():
            value = row[name]
            if value <= 0:
                continue
            ends = sorted((y(sign * at), y(sign * (at + value))))
            parts.append(
                element(
                    "rect",
                    element("title", f"{called}: {value:,.0f} L"),
                    class_="edge",
                    fill=fill.paint(NAME),
                    x=left,
                    y=ends[0],
                    width=width,
                    height=ends[1] - ends[0],
                    data_month=row["month"],
                    data_strategy=row["strategy"],
                    data_part=name,
                    data_kg=value,
                )
            )
            at += value
    return join(parts)


def _key(used: list[str]) -> Markup:
    parts = []
    for place, column in enumerate(used):
        called, fill = (ARRIVING | LEAVING)[column]
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


def _words(months: pl.DataFrame, both: list[str]) -> str:
    told = []
    for strategy, when in zip(both, ("today", "with the best strategy"), strict=False):
        year = months.filter(strategy=strategy).sum()
        parts = ", ".join(
            f"{called} {year[name][0]:,.0f}" for name, (called, _) in LEAVING.items() if year[name][0] > 0
        )
        told.append(f"removed {when}, in litres a year: {parts}")
    arriving = months.filter(strategy=both[0]).sum()
    come = ", ".join(f"{called} {arriving[name][0]:,.0f}" for name, (called, _) in ARRIVING.items())
    return f"Arriving today, in litres a year: {come}; " + "; ".join(told) + "."
