"""Pages of a run with odds: what is drawn and said is what the tables hold; without odds nothing is said of them."""

from pathlib import Path

import pytest

from screener import report
from screener.contracts.origins import is_given
from screener.outputs import beside, open_run
from screener.text import rounded
from tests.report.reading import SVG, drawing, page, shapes


def test_each_bar_is_a_sites_range_and_in_order_of_rank(likely: Path) -> None:
    table = beside.odds_table(open_run(likely), "odds").drop_nulls("odds_pays").sort("rank").head(25)
    bars = shapes(drawing((likely / "odds-ranges.svg").read_text(encoding="utf-8")), "data-p10")
    assert [bar["data-site"] for bar in bars] == table["site_id"].to_list()
    for percent in (10, 50, 90):
        drawn = [float(bar[f"data-p{percent}"]) for bar in bars]
        assert drawn == pytest.approx(table[f"net_savings_p{percent}"].to_list(), rel=1e-8)
    widths = [float(bar["width"]) for bar in bars]
    spans = (table["net_savings_p90"] - table["net_savings_p10"]).to_list()
    scale = sum(widths) / sum(spans)
    assert widths == pytest.approx([max(scale * span, 1.0) for span in spans], abs=0.5)


def test_the_tornado_has_the_widest_first(likely: Path) -> None:
    figures = beside.odds_table(open_run(likely), "odds_figures").to_dicts()
    known = {row["figure"]: row for row in figures if row["site_id"] is None}
    root = drawing((likely / "odds-tornado.svg").read_text(encoding="utf-8"))
    lows, highs = shapes(root, "data-low"), shapes(root, "data-high")
    assert [bar["data-figure"] for bar in lows] == [bar["data-figure"] for bar in highs]
    spans = []
    for low, high in zip(lows, highs, strict=True):
        row = known[low["data-figure"]]
        assert float(low["data-low"]) == pytest.approx(row["low"], rel=1e-8)
        assert float(high["data-high"]) == pytest.approx(row["high"], rel=1e-8)
        spans.append(abs(row["high"] - row["low"]))
    assert spans == sorted(spans, reverse=True)
    assert spans[0] == max(abs(row["high"] - row["low"]) for row in known.values())


def test_the_curve_falls_and_has_the_percentiles(likely: Path) -> None:
    table = beside.odds_table(open_run(likely), "portfolio_odds").filter(figure="net_savings").row(0, named=True)
    root = drawing((likely / "odds-curve.svg").read_text(encoding="utf-8"))
    dots = shapes(root, "data-percent")
    assert [float(dot["data-net-savings"]) for dot in dots] == pytest.approx([table[n] for n in ("p10", "p50", "p90")])
    line = next(each for each in root.iter(f"{SVG}path") if each.attrib.get("class") == "then").attrib["d"]
    points = [tuple(map(float, part.split())) for part in line.lstrip("M").split("L")]
    assert points == sorted(points)
    heights = [y for _, y in points]
    assert heights == sorted(heights)


def test_the_headline_has_the_range_in_three_digits(likely: Path) -> None:
    shown = page((likely / "report.html").read_text(encoding="utf-8"))
    row = beside.odds_table(open_run(likely), "portfolio_odds").filter(figure="net_savings").row(0, named=True)
    told = " / ".join(rounded(row[name]) for name in ("p10", "p50", "p90"))
    assert f"Net savings of {told} USD are exceeded with 90, 50 and 10 %." in shown.text
    worth = [float(each["worth_knowing"]) for each in shown.tables["find-out"]]
    assert worth == sorted(worth, reverse=True)
    assert worth


def test_a_site_says_its_odds_and_what_is_assumed(likely: Path, tmp_path: Path) -> None:
    (file,) = report.write_site(likely, "S126", tmp_path)
    row = beside.odds_table(open_run(likely), "odds").filter(site_id="S126").row(0, named=True)
    text = page(file.read_text(encoding="utf-8")).text
    assert f"It pays with {round(100 * row['odds_pays'])} %" in text
    assert "is assumed, not stated" not in text
    assumed = open_run(likely).table("sites_used").collect().filter(~is_given("current_strategy"))["site_id"][0]
    (file,) = report.write_site(likely, assumed, tmp_path)
    assert "What the site has today is assumed, not stated" in page(file.read_text(encoding="utf-8")).text


def test_a_run_without_odds_says_nothing_of_them(example: Path) -> None:
    html = (example / "report.html").read_text(encoding="utf-8")
    assert 'id="how-sure"' not in html
    assert "exceeded with 90" not in html
