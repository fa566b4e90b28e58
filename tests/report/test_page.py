"""The report says what the tables say, in order, complete, with nothing of a portfolio taken for markup."""

import re
from itertools import pairwise
from pathlib import Path

import polars as pl
import pytest

from screener import pipeline, report
from screener.outputs import open_run
from screener.strategies import REGISTRY
from tests.report.conftest import EXAMPLE, HARM
from tests.report.reading import Page, page

QUESTIONS = ["how-much", "which-sites", "which-strategy", "what-if", "next", "cautions"]


@pytest.fixture(scope="module")
def shown(example: Path) -> Page:
    return page((example / "report.html").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def ranking(example: Path) -> pl.DataFrame:
    return pl.read_parquet(example / "ranking.parquet")


def column(rows: list[dict[str, str]], name: str) -> list[float]:
    return [float(row[name]) for row in rows]


def test_sections_answer_in_the_order_of_those_who_decide(example: Path) -> None:
    html = (example / "report.html").read_text(encoding="utf-8")
    assert re.findall(r'<section id="([a-z-]+)">', html) == QUESTIONS
    headings = re.findall(r"<h(\d)", html)
    assert headings[0] == "1"
    assert headings.count("1") == 1
    assert all(int(b) - int(a) <= 1 for a, b in pairwise(headings))  # no level is left out


def test_the_sites_are_those_of_the_ranking(shown: Page, ranking: pl.DataFrame) -> None:
    paying, others = ranking.filter(pl.col("net_savings") > 0), ranking.filter(pl.col("net_savings") == 0)
    assert paying.height > 3
    for name, frame in (("sites", paying), ("other-sites", others)):
        rows = shown.tables[name]
        assert [row["site_id"] for row in rows] == frame["site_id"].to_list()
        assert [row.get("notes", "") for row in rows] == [
            (note or "").replace("_", " ") for note in frame["notes"].to_list()
        ]
        assert column(rows, "rank") == frame["rank"].to_list()
        assert column(rows, "hours_above_limit") == pytest.approx(frame["hours_above_limit"].to_list(), rel=1e-8)
    figures = ("cost_saved", "investment", "net_savings", "simple_payback_years", "savings_to_investment")
    for figure in (*figures, "electricity_saved_kwh", "fuel_saved_kwh"):  # electricity and fuel apart
        assert column(shown.tables["sites"], figure) == pytest.approx(paying[figure].to_list(), rel=1e-8)


def test_totals_and_zones_add_up_to_the_ranking(shown: Page, ranking: pl.DataFrame) -> None:
    for figure in ("cost_saved", "investment", "net_savings", "electricity_saved_kwh", "emissions_saved_kg"):
        assert shown.totals[figure] == pytest.approx(ranking[figure].sum(), rel=1e-8)
    for figure in ("cost_saved", "investment", "net_savings"):
        assert sum(column(shown.tables["zones"], figure)) == pytest.approx(ranking[figure].sum(), rel=1e-8)
        assert sum(column(shown.tables["changes"], figure)) == pytest.approx(ranking[figure].sum(), rel=1e-8)
    assert sum(column(shown.tables["zones"], "sites")) == ranking.height


def test_the_first_line_of_what_if_is_the_run_and_dearer_things_never_pay_better(
    shown: Page, ranking: pl.DataFrame
) -> None:
    cases = {row["case"]: row for row in shown.tables["what-if"]}
    assert float(cases["as it is"]["net_savings"]) == pytest.approx(ranking["net_savings"].sum(), rel=1e-8)
    net = {name: float(row["net_savings"]) for name, row in cases.items()}
    cheap, dear = net["investments are half as large"], net["investments are twice as large"]
    assert cheap > net["as it is"] > net["investments are half as large again"] > dear
    assert net["electricity costs a quarter less"] < net["as it is"] < net["electricity costs a quarter more"]
    low, high = (next(v for name, v in net.items() if f"two points {way}" in name) for way in ("lower", "higher"))
    assert low > net["as it is"] > high


def test_what_if_with_half_the_investment_by_hand(shown: Page, example: Path) -> None:
    """Every site takes the highest of worth less half the investment, as the head of sql/ranking.sql has it."""
    results = open_run(example).table("strategies").collect()
    half = results.filter("candidate", ~pl.col("is_current"), "holds_limit")
    bought = pl.col("investment") + pl.col("replacement_pv") - pl.col("residual_pv")
    net = half.with_columns(net=pl.col("net_savings") + bought / 2)
    best = net.group_by("site_id").agg(pl.col("net").max()).filter(pl.col("net") > 0)
    row = next(row for row in shown.tables["what-if"] if row["case"] == "investments are half as large")
    assert float(row["net_savings"]) == pytest.approx(best["net"].sum(), abs=0.01 * best.height)
    assert int(row["sites_with_savings"]) == best.height


def test_the_shortlist_narrows_down_to_the_ranking(shown: Page, ranking: pl.DataFrame, example: Path) -> None:
    results = open_run(example).table("strategies").collect()
    rows = {row["strategy"].replace(" ", "_"): row for row in shown.tables["shortlist"]}
    assert set(rows) == set(results.filter("candidate")["strategy"])
    changed = ranking.filter(pl.col("net_savings") > 0)
    for name, row in rows.items():
        counts = [int(row[step]) for step in ("sites", "available", "holding", "paying", "best")]
        assert counts == sorted(counts, reverse=True)
        assert counts[-1] == changed.filter(best_strategy=name).height
        assert counts[0] == ranking.filter(pl.col("current_strategy") != name).height


def test_assumptions_are_counted_from_the_origins(shown: Page, ranking: pl.DataFrame, example: Path) -> None:
    used = open_run(example).table("sites_used").collect()
    chosen = used.filter(pl.col("site_id").is_in(ranking.filter(pl.col("net_savings") > 0)["site_id"].implode()))
    columns = [name for name in used.columns if name.endswith("_origin")]
    counts = sorted((int(chosen[name].str.starts_with("assumed").sum() or 0) for name in columns), reverse=True)
    shown_counts = column(shown.tables["assumptions"], "sites")
    assert max(shown_counts) == counts[0]
    assert len(shown_counts) == min(8, sum(count > 0 for count in counts))


def test_written_again_it_is_the_same_to_the_byte(example: Path, tmp_path: Path) -> None:
    (again,) = report.write(example, tmp_path)
    assert again.read_bytes() == (example / "report.html").read_bytes()


def test_it_asks_for_nothing_and_stays_small(example: Path, shown: Page) -> None:
    assert [target for target in shown.loads if not target.startswith("#")] == []
    assert "://" not in re.sub(r'xmlns="[^"]*"', "", (example / "report.html").read_text(encoding="utf-8"))
    assert (example / "report.html").stat().st_size < 2_000_000


def test_input_is_never_markup(hostile: Path) -> None:
    html = (hostile / "report.html").read_text(encoding="utf-8")
    shown = page(html)
    assert shown.tags.count("script") == 1
    assert "img" not in shown.tags
    assert HARM in shown.text  # told as it was typed
    rows = shown.tables["sites"] + shown.tables["other-sites"]
    assert {row["name"] for row in rows} == {HARM}


def few_sites(folder: Path) -> Path:
    """Three sites of the example with everything but their strategies table."""
    folder.mkdir()
    for name in ("tariffs.csv", "equipment.csv", "portfolio.toml"):
        (folder / name).write_bytes((EXAMPLE / name).read_bytes())
    lines = (EXAMPLE / "sites.csv").read_text(encoding="utf-8").splitlines()
    (folder / "sites.csv").write_text("\n".join(lines[:4]) + "\n", encoding="utf-8")
    return folder


def test_placeholders_are_called_so_wherever_money_hangs_on_them(tmp_path: Path) -> None:
    pipeline.run(few_sites(tmp_path / "portfolio"), tmp_path / "run")
    html = (tmp_path / "run" / "report.html").read_text(encoding="utf-8")
    for section in re.split(r'<section id="', html)[1:6]:
        assert "placeholder" in section, section[:20]
    assert html.count('<span class="flag">placeholder</span>') == 2  # answer and sum


def test_prices_of_the_owner_are_not_called_placeholders(tmp_path: Path) -> None:
    folder = few_sites(tmp_path / "portfolio")
    rows = "".join(f"{name},8000\n" for name in REGISTRY)
    (folder / "strategies.csv").write_text("strategy,investment_fixed\n" + rows, encoding="utf-8")
    pipeline.run(folder, tmp_path / "run")
    html = (tmp_path / "run" / "report.html").read_text(encoding="utf-8")
    assert "worth changing" in html
    assert "placeholder" not in html


def test_a_portfolio_where_nothing_pays_still_has_a_report(tmp_path: Path) -> None:
    folder = tmp_path / "portfolio"
    folder.mkdir()
    (folder / "sites.csv").write_text(
        "site_id,building_type,floor_area_m2,climate_zone,tariff_id,current_strategy\nA,office,500,8,t,temperature_only\n"
    )
    (folder / "tariffs.csv").write_text("tariff_id,electricity_price_per_kwh,fuel_price_per_kwh\nt,0.1,0.05\n")
    pipeline.run(folder, tmp_path / "run")
    shown = page((tmp_path / "run" / "report.html").read_text(encoding="utf-8"))
    assert "No change at 1 site would pay" in shown.text
    assert "sites" not in shown.tables
    assert [row["site_id"] for row in shown.tables["other-sites"]] == ["A"]
