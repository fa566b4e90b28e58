"""How soon the changes pay back: number of sites by years of simple payback."""

import polars as pl
from markupsafe import Markup

from screener.report.svg import WIDTH, Chart, element, join, label, line, nothing_to_show, scale_to, short

NAME, TITLE = "payback", "How soon the changes pay back"
SOURCE = "simple_payback_years and investment of the ranking"
LEAST_YEARS, MOST_YEARS = 8, 15  # of the axis; what takes longer than the most is one class
LEFT, RIGHT, TOP, BOTTOM = 44.0, WIDTH - 8, 18.0, 190.0


def payback(ranking: pl.DataFrame, currency: str) -> Chart:
    """Sites worth changing, by full years of simple payback.

    `ranking`: net_savings, simple_payback_years, investment.
    """
    paying = ranking.filter(pl.col("net_savings") > 0).drop_nulls("simple_payback_years")
    if paying.is_empty():
        return nothing_to_show(NAME, TITLE, SOURCE, "No site has a change that pays.")
    slowest = int(paying.select(pl.col("simple_payback_years").max()).item()) + 1
    last = min(max(slowest, LEAST_YEARS), MOST_YEARS)
    years = pl.min_horizontal(pl.col("simple_payback_years").floor(), pl.lit(float(last))).cast(pl.Int64)
    classes = paying.group_by(years.alias("years")).agg(
        pl.len().alias("sites"), pl.col("investment").sum().alias("investment")
    )
    y = scale_to([float(n) for n in classes["sites"]], BOTTOM, TOP, about=4)
    width = (RIGHT - LEFT) / (last + 1)
    grid = join(
        line(LEFT, y(m), RIGHT, y(m), class_="axis" if m == 0 else "grid")
        + label(LEFT - 6, y(m) + 4, short(m), anchor="end", class_="small")
        for m in y.marks(4)
        if m == round(m)
    )
    bars = join(
        element(
            "rect",
            element("title", f"{c['sites']} sites, {c['investment']:,.0f} {currency}"),
            class_="saved",
            x=LEFT + c["years"] * width + 1.5,
            y=y(c["sites"]),
            width=width - 3,
            height=BOTTOM - y(c["sites"]),
            data_from_years=c["years"],
            data_sites=c["sites"],
            data_investment=c["investment"],
        )
        + label(LEFT + (c["years"] + 0.5) * width, y(c["sites"]) - 4, c["sites"], anchor="middle", class_="small")
        for c in classes.sort("years").iter_rows(named=True)
    )
    return Chart(
        NAME,
        TITLE,
        "number of sites; years of simple payback",
        SOURCE,
        _words(paying, currency),
        WIDTH,
        BOTTOM + 42,
        grid + bars + _years(width, last),
    )


def _years(width: float, last: int) -> Markup:
    marks = [label(LEFT + k * width, BOTTOM + 16, k, anchor="middle", class_="small") for k in range(last + 1)]
    more = label(RIGHT, BOTTOM + 16, "+", anchor="end", class_="small")
    return join(marks) + more + label(RIGHT, BOTTOM + 34, "years", anchor="end", class_="quiet small")


def _words(paying: pl.DataFrame, currency: str) -> str:
    counts = [paying.filter(pl.col("simple_payback_years") <= limit).height for limit in (3, 5, 10)]
    return (
        f"Of {paying.height:,} sites worth changing {counts[0]:,} pay back within 3 years, {counts[1]:,} within 5 and "
        f"{counts[2]:,} within 10; together they take {paying['investment'].sum():,.0f} {currency}."
    )
