"""Energy by end use, one bar a strategy."""

from collections.abc import Iterable

import polars as pl
from markupsafe import Markup

from screener.report.palette import END_USES, patterns
from screener.report.svg import WIDTH, Chart, Scale, element, join, label, line, nothing_to_show, scale_to, short

NAME, TITLE = "end-uses", "Energy of the air system by end use"
SOURCE = "end uses of strategies.parquet"
LEFT, RIGHT, TOP = 8.0, WIDTH - 62, 10.0
ROW, BAR = 38.0, 16.0


def end_uses(bars: pl.DataFrame, unit: str, what: str) -> Chart:
    """A stacked bar for each row.

    `bars`: label (str), note (str, may be null) and, in `unit`, the end uses of the strategy results. `what` says in
    words which sites are counted.
    """
    if bars.is_empty():
        return nothing_to_show(NAME, TITLE, SOURCE, "No strategy has results.")
    used = {name: about for name, about in END_USES.items() if bars[name].fill_null(0.0).sum() > 0}
    totals = bars.select(pl.sum_horizontal(list(END_USES))).to_series().to_list()
    x = scale_to(totals, LEFT, RIGHT, about=5)
    key, top = _key(list(used))
    bottom = top + ROW * bars.height + 6
    rows = [
        _bar(row, list(used), x, top + ROW * place, total)
        for place, (row, total) in enumerate(zip(bars.iter_rows(named=True), totals, strict=True))
    ]
    body = patterns(NAME, [fill for _, fill in used.values()]) + key + _grid(x, top, bottom) + join(rows)
    longest, shortest = max(totals), min(totals)
    words = (
        f"{what}. The longest bar is {bars['label'][totals.index(longest)]} with {_figure(longest)} {unit}, the shortest "
        f"{bars['label'][totals.index(shortest)]} with {_figure(shortest)}. {_largest(bars, used)}"
    )
    return Chart(NAME, TITLE, f"{unit}; hatched: fuel, the rest electricity", SOURCE, words, WIDTH, bottom + 22, body)


def _bar(row: dict[str, object], used: list[str], x: Scale, top: float, total: float) -> Markup:
    note = "" if row["note"] is None else f" {row['note']}"
    name = element("tspan", row["label"], class_="strong") + element("tspan", note, class_="quiet small")
    parts, at = [label(LEFT, top + 14, name, class_="halo")], 0.0
    for column in used:
        value = row[column]
        if not isinstance(value, float) or value <= 0:
            continue
        called, fill = END_USES[column]
        parts.append(
            element(
                "rect",
                element("title", f"{called}: {_figure(value)}"),
                class_="edge",
                fill=fill.paint(NAME),
                x=x(at),
                y=top + 19,
                width=x(at + value) - x(at),
                height=BAR,
                data_label=row["label"],
                data_end_use=column,
                data_value=value,
            )
        )
        at += value
    return join(parts) + label(x(at) + 5, top + 31, _figure(total), class_="small")


def _key(used: list[str]) -> tuple[Markup, float]:
    """The end uses there are, three a line, and where the bars may begin."""
    parts = []
    for place, column in enumerate(used):
        called, fill = END_USES[column]
        at_x, at_y = LEFT + place % 3 * 145, TOP + place // 3 * 19
        parts.append(element("rect", x=at_x, y=at_y, width=12, height=12, fill=fill.paint(NAME)))
        parts.append(label(at_x + 17, at_y + 11, called, class_="small"))
    return join(parts), TOP + (len(used) + 2) // 3 * 19 + 4


def _grid(x: Scale, top: float, bottom: float) -> Markup:
    return join(
        line(x(m), top, x(m), bottom, class_="axis" if m == 0 else "grid")
        + label(x(m), bottom + 15, short(m), anchor="start" if m == 0 else "middle", class_="small")
        for m in x.marks(5)
    )


def _largest(bars: pl.DataFrame, used: Iterable[str]) -> str:
    first = bars.row(0, named=True)
    known = sorted(((first[name] or 0.0, name) for name in used), reverse=True)[:3]
    parts = ", ".join(f"{END_USES[name][0]} {_figure(value)}" for value, name in known if value > 0)
    return f"Largest parts of {first['label']}: {parts}." if parts else ""


def _figure(value: float) -> str:
    """Whole, or in tenths where it is small."""
    return f"{value:,.0f}" if value >= 100 else f"{value:.1f}"
