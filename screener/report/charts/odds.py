"""How sure the run is: each site's range, what swings the total most, and the odds that it is exceeded."""

from collections.abc import Iterable

import numpy as np
import polars as pl
from markupsafe import Markup

from screener import text
from screener.report.svg import (
    WIDTH,
    Chart,
    Scale,
    element,
    join,
    label,
    line,
    nothing_to_show,
    path,
    scale_to,
    short,
)

RANGES_SHOWN, SWINGS_SHOWN, POINTS = 25, 12, 100
ROW, TOP, LEFT, RIGHT = 22.0, 34.0, 52.0, WIDTH - 14
NAMES_LEFT = 168.0  # where names of figures end
CURVE_BOTTOM = 210.0
FEW = "The run has no odds of this."


def ranges(odds: pl.DataFrame, currency: str) -> Chart:
    """Net savings of each site worth changing from P10 to P90, a mark at P50 and one at what the run has, in order of rank.

    `odds`: the table of that name.
    """
    name, title, source = "odds-ranges", "Net savings of each site, and how sure they are", "odds.csv of the run"
    shown = odds.filter(pl.col("odds_pays").is_not_null()).sort("rank").head(RANGES_SHOWN)
    if shown.is_empty():
        return nothing_to_show(name, title, source, "No site has a change that pays.")
    bottom = TOP + ROW * shown.height
    columns = ("net_savings_p10", "net_savings_p90", "net_savings")
    x = _both_ways(shown.select(columns).to_numpy().ravel(), LEFT, RIGHT)
    rows = []
    for place, site in enumerate(shown.iter_rows(named=True)):
        y = TOP + ROW * (place + 0.5)
        low, high = x(site["net_savings_p10"]), x(site["net_savings_p90"])
        told = " / ".join(text.rounded(site[f"net_savings_p{percent}"]) for percent in (10, 50, 90))
        rows.append(
            label(LEFT - 6, y + 4, site["rank"], anchor="end", class_="small")
            + element(
                "rect",
                element("title", f"{site['site_id']}: {told} {currency}"),
                class_="spot",
                x=low,
                y=y - 5,
                width=max(high - low, 1.0),
                height=10,
                data_site=site["site_id"],
                data_p10=site["net_savings_p10"],
                data_p50=site["net_savings_p50"],
                data_p90=site["net_savings_p90"],
            )
            + line(x(site["net_savings_p50"]), y - 8, x(site["net_savings_p50"]), y + 8, class_="axis")
            + element("circle", class_="none", cx=x(site["net_savings"]), cy=y, r=3.2, data_run=site["net_savings"])
        )
    first = shown.row(0, named=True)
    sure = shown.filter(pl.col("net_savings_p10") > 0).height
    words = (
        f"Bars reach from what is exceeded with 90 % to what is exceeded with 10 %, the line at 50 %, the ring where the run "
        f"has it. {first['site_id']}, the first, lies between {text.rounded(first['net_savings_p10'])} and "
        f"{text.rounded(first['net_savings_p90'])} {currency}; {sure} of {text.count(shown.height, 'site')} save money with 90 %."
    )
    heading = label(LEFT - 6, 14.0, "rank", anchor="end", class_="quiet small")
    note = [f"The first {shown.height} are drawn."] if shown.height == RANGES_SHOWN else []
    body = heading + _grid(x, TOP, bottom) + join(rows)
    return Chart(name, title, f"{currency}, present value", source, words, WIDTH, bottom + 26, body, note)


def tornado(figures: pl.DataFrame, portfolio: pl.DataFrame, currency: str) -> Chart:
    """What the net savings of all are on average where a figure is low and where it is high, the widest first.

    `figures`, `portfolio`: the tables odds_figures and portfolio_odds.
    """
    name, title, source = "odds-tornado", "What swings the net savings of all", "odds_figures.csv of the run"
    swing = (pl.col("high") - pl.col("low")).abs()
    shown = figures.filter(pl.col("site_id").is_null() & (swing > 0)).sort(swing, "figure", descending=[True, False])
    shown = shown.head(SWINGS_SHOWN)
    if shown.is_empty():
        return nothing_to_show(name, title, source, FEW)
    middle = float(portfolio.filter(figure="net_savings")["mean"].item())
    bottom = TOP + ROW * shown.height
    x = _both_ways([middle, *shown["low"], *shown["high"]], NAMES_LEFT, RIGHT)
    rows = []
    for place, figure in enumerate(shown.iter_rows(named=True)):
        y = TOP + ROW * (place + 0.5)
        for end in ("low", "high"):
            at = sorted((x(middle), x(figure[end])))
            told = f"{text.words(figure['figure'])} {end}: {text.rounded(figure[end])} {currency}"
            rows.append(
                element(
                    "rect",
                    element("title", told),
                    class_="saved" if end == "high" else "outdoor",
                    x=at[0],
                    y=y - 6,
                    width=max(at[1] - at[0], 0.5),
                    height=12,
                    **{"data_figure": figure["figure"], f"data_{end}": figure[end]},
                )
            )
        rows.append(label(NAMES_LEFT - 6, y + 4, _named(figure["figure"]), anchor="end", class_="small"))
    key = element("rect", class_="outdoor", x=NAMES_LEFT, y=5, width=12, height=10)
    key += label(NAMES_LEFT + 17, 14.0, "figure low", class_="small")
    key += element("rect", class_="saved", x=NAMES_LEFT + 90, y=5, width=12, height=10)
    key += label(NAMES_LEFT + 107, 14.0, "figure high", class_="small")
    most = shown.row(0, named=True)
    words = (
        f"Each bar shows the mean of the net savings where the figure, over all sites, is at its 10th and at its 90th "
        f"percentile. {text.words(most['figure']).capitalize()} matters most: {text.rounded(most['low'])} {currency} where low, "
        f"{text.rounded(most['high'])} where high; the mean of all draws is {text.rounded(middle)}."
    )
    body = key + _grid(x, TOP, bottom) + join(rows) + line(x(middle), TOP - 4, x(middle), bottom, class_="axis")
    return Chart(name, title, f"{currency}, present value", source, words, WIDTH, bottom + 26, body)


def curve(draws: pl.DataFrame, portfolio: pl.DataFrame, currency: str) -> Chart:
    """The odds that the net savings of all exceed an amount.

    `draws`, `portfolio`: the tables odds_draws and portfolio_odds.
    """
    name, title, source = (
        "odds-curve",
        "The odds that all changes together save so much",
        "odds_draws.parquet of the run",
    )
    totals = draws["net_savings"].sort().to_numpy()
    if not len(totals) or totals[0] == totals[-1]:
        return nothing_to_show(name, title, source, FEW)
    of_all = portfolio.filter(figure="net_savings").row(0, named=True)
    shares = np.linspace(0.0, 1.0, POINTS + 1)
    x = _both_ways([totals[0], totals[-1], of_all["run"]], LEFT, RIGHT)
    y = Scale(0.0, 100.0, CURVE_BOTTOM, 22.0)
    points = [
        (float(each), 100.0 * (1.0 - share)) for each, share in zip(np.quantile(totals, shares), shares, strict=True)
    ]
    body = join(
        line(LEFT, y(mark), RIGHT, y(mark), class_="grid")
        + label(LEFT - 6, y(mark) + 4, f"{mark:.0f}", anchor="end", class_="small")
        for mark in (0, 25, 50, 75, 100)
    )
    body += _grid(x, 22.0, CURVE_BOTTOM) + element("path", class_="then", d=path((x(a), y(b)) for a, b in points))
    for percent in (10, 50, 90):
        value = of_all[f"p{percent}"]
        body += element(
            "circle",
            element("title", f"exceeded with {100 - percent} %: {text.rounded(value)} {currency}"),
            class_="saved",
            cx=x(value),
            cy=y(100 - percent),
            r=4,
            data_percent=percent,
            data_net_savings=value,
        )
        body += label(x(value) + 8, y(100 - percent) - 5, f"P{percent}", class_="small halo")
    body += line(x(of_all["run"]), 22.0, x(of_all["run"]), CURVE_BOTTOM, class_="asked")
    body += label(x(of_all["run"]), 14.0, "the run", anchor="middle", class_="small asked-text")
    told = " / ".join(text.rounded(of_all[f"p{percent}"]) for percent in (10, 50, 90))
    words = (
        f"Net savings of all are exceeded with 90, 50 and 10 % at {told} {currency}; the run has {text.rounded(of_all['run'])}. "
        f"They are above zero with {100 * of_all['odds_pays']:.0f} %."
    )
    return Chart(
        name, title, f"% of the draws; {currency}, present value", source, words, WIDTH, CURVE_BOTTOM + 26, body
    )


def _both_ways(values: Iterable[float], start: float, end: float) -> Scale:
    """A scale from a round value below all, and zero, to one above."""
    return scale_to([float(each) for each in values], start, end, about=4)


def _grid(x: Scale, top: float, bottom: float) -> Markup:
    return join(
        line(x(mark), top, x(mark), bottom, class_="axis" if mark == 0 else "grid")
        + label(x(mark), bottom + 16, short(mark), anchor="middle", class_="small")
        for mark in x.marks(4)
    )


def _named(figure: str) -> str:
    """A figure in as many letters as there is room for."""
    words = text.words(figure)
    return words if len(words) <= 26 else words[:25] + "…"
