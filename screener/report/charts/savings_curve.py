"""Savings by site as a ranked curve, with what has been invested and gained by then."""

import math

import polars as pl
from markupsafe import Markup

from screener.report.svg import (
    WIDTH,
    Chart,
    Scale,
    element,
    join,
    label,
    line,
    nothing_to_show,
    number,
    path,
    scale_to,
    short,
)

NAME, TITLE = "savings-curve", "Savings site by site, and what they cost"
SOURCE = "cost_saved, investment and net_savings of the ranking"
MOST_DRAWN = 160  # bars that can be told apart
NAMED = 12  # so few sites have room for their names
LEFT, RIGHT, TOP, MIDDLE, BOTTOM = 52.0, WIDTH - 12, 24.0, 176.0, 352.0


def savings_curve(ranking: pl.DataFrame, currency: str) -> Chart:
    """Yearly savings of each site worth changing, in order of rank, above cumulative investment and net savings.

    `ranking`: rank, site_id, name, cost_saved, investment, net_savings. Of many sites every n-th is drawn; the
    cumulative figures always count all.
    """
    paying = ranking.filter(pl.col("net_savings") > 0).sort("rank")
    if paying.is_empty():
        return nothing_to_show(NAME, TITLE, SOURCE, "No site has a change that pays.")
    running = paying.with_columns(
        place=pl.int_range(1, pl.len() + 1),
        invested=pl.col("investment").cum_sum(),
        gained=pl.col("net_savings").cum_sum(),
    )
    every = math.ceil(running.height / MOST_DRAWN)
    drawn = running.filter((pl.col("place") % every == 0) | (pl.col("place") == running.height))
    last = running.row(-1, named=True)
    x = Scale(0.0, float(running.height), LEFT, RIGHT)
    body = _yearly(drawn, x, every) + _cumulative(drawn, x, last)
    return Chart(
        NAME,
        TITLE,
        f"above {currency} a year, below {currency} (net savings as present value)",
        SOURCE,
        _words(running, currency),
        WIDTH,
        BOTTOM + 44,
        body,
        [f"One site in {every} is drawn; sums count all."] if every > 1 else [],
    )


def _yearly(drawn: pl.DataFrame, x: Scale, every: int) -> Markup:
    y = scale_to(drawn["cost_saved"], MIDDLE, TOP + 12, about=4)
    width = (x(1.0) - x(0.0)) * every
    bars = []
    for site in drawn.iter_rows(named=True):
        right = x(site["place"])
        bars.append(
            element(
                "rect",
                element("title", f"{site['site_id']}: {site['cost_saved']:,.0f} a year"),
                class_="saved",
                x=right - width * 0.88,
                y=min(y(site["cost_saved"]), y(0.0)),
                width=max(width * 0.76, 0.8),
                height=abs(y(0.0) - y(site["cost_saved"])),
                data_site=site["site_id"],
                data_rank=site["rank"],
                data_cost_saved=site["cost_saved"],
            )
        )
    return label(LEFT, 13.0, "saved a year, by site", class_="strong") + _grid(y) + join(bars)


def _cumulative(drawn: pl.DataFrame, x: Scale, last: dict[str, float]) -> Markup:
    y = scale_to([last["invested"], last["gained"]], BOTTOM, MIDDLE + 44, about=4)
    lines, dots = Markup(""), []
    for column, style in (("invested", "spent"), ("gained", "net")):
        places = [(x(0.0), y(0.0)), *((x(s["place"]), y(s[column])) for s in drawn.iter_rows(named=True))]
        lines += element("path", class_=style, d=path(places))
    for site in drawn.iter_rows(named=True):
        dots.append(
            element(
                "circle",
                class_="saved",
                cx=x(site["place"]),
                cy=y(site["gained"]),
                r=2.2 if drawn.height <= 40 else 0.8,
                data_rank=site["rank"],
                data_investment_so_far=site["invested"],
                data_net_savings_so_far=site["gained"],
            )
        )
    heading = label(LEFT, MIDDLE + 32, "so far: ", class_="strong")
    key = (
        line(LEFT + 52, MIDDLE + 28, LEFT + 80, MIDDLE + 28, class_="net")
        + label(LEFT + 85, MIDDLE + 32, "net savings", class_="net-text")
        + line(LEFT + 170, MIDDLE + 28, LEFT + 198, MIDDLE + 28, class_="spent")
        + label(LEFT + 203, MIDDLE + 32, "investment", class_="spent-text")
    )
    return heading + key + _grid(y) + lines + join(dots) + _sites(drawn, x)


def _sites(drawn: pl.DataFrame, x: Scale) -> Markup:
    if x.high <= NAMED:
        names = [
            label(x(s["place"] - 0.5), BOTTOM + 16, s["site_id"], anchor="middle", class_="small")
            if len(s["site_id"]) * 7 < x(1.0) - x(0.0)
            else label(x(s["place"] - 0.5), BOTTOM + 16, s["place"], anchor="middle", class_="small")
            for s in drawn.iter_rows(named=True)
        ]
    else:
        marks = [mark for mark in x.marks(6) if mark >= 1 and mark == round(mark)]
        names = [label(x(mark), BOTTOM + 16, number(mark), anchor="middle", class_="small") for mark in marks]
    return join(names) + label(RIGHT, BOTTOM + 34, "sites in order of rank", anchor="end", class_="quiet small")


def _grid(y: Scale) -> Markup:
    rules = [
        line(LEFT, y(m), RIGHT, y(m), class_="axis" if m == 0 else "grid")
        + label(LEFT - 6, y(m) + 4, short(m), anchor="end", class_="small")
        for m in y.marks(4)
    ]
    return join(rules)


def _words(running: pl.DataFrame, currency: str) -> str:
    first, last = running.row(0, named=True), running.row(-1, named=True)
    half = running.filter(pl.col("gained") >= last["gained"] / 2)["place"][0]
    return (
        f"Bars fall from {first['cost_saved']:,.0f} {currency} a year at {first['site_id']} to "
        f"{last['cost_saved']:,.0f} at {last['site_id']}, the last of {running.height:,} sites. "
        f"Half of the net savings of {last['gained']:,.0f} {currency} come from the first {half:,}; "
        f"all of them take an investment of {last['invested']:,.0f} {currency}."
    )
