"""What is drawn is what the tables hold: values beside the shapes, and the shapes themselves, parsed back."""

from pathlib import Path
from xml.etree.ElementTree import Element

import polars as pl
import pytest

from screener import report
from screener.outputs import RunFolder, open_run
from screener.report.charts.savings_curve import savings_curve
from screener.report.charts.site_map import site_map
from screener.report.svg import element, number, round_step, scale_to
from tests.report.reading import SVG, drawing, shapes

NAMES = ("savings-curve", "site-map", "payback", "strategy-grid", "end-uses")
END_USES = ("compressor", "fans", "dehumidifier", "reheat_electricity", "heating_electricity")
END_USES += ("reheat_fuel", "regeneration_fuel", "heating_fuel")


@pytest.fixture(scope="module")
def drawn(example: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Element]:
    out = tmp_path_factory.mktemp("pictures")
    files = report.write(example, out, pictures=True)
    return {file.stem: drawing(file.read_text(encoding="utf-8")) for file in files if file.suffix == ".svg"}


@pytest.fixture(scope="module")
def run(example: Path) -> RunFolder:
    return open_run(example)


@pytest.fixture(scope="module")
def paying(run: RunFolder) -> pl.DataFrame:
    return run.table("ranking").filter(pl.col("net_savings") > 0).sort("rank").collect()


def numbers(found: list[dict[str, str]], name: str) -> list[float]:
    return [float(each[name]) for each in found]


def proportional(one: list[float], other: list[float]) -> None:
    """Coordinates are written to a hundredth."""
    scale = sum(one) / sum(other)
    assert one == pytest.approx([scale * value for value in other], abs=0.02)


@pytest.mark.parametrize("name", NAMES)
def test_every_chart_says_what_it_shows(drawn: dict[str, Element], name: str) -> None:
    root = drawn[name]
    assert root.tag == f"{SVG}svg"
    assert root.attrib["role"] == "img"
    named = {
        each.attrib["id"]: each for each in root.iter() if each.tag in (f"{SVG}title", f"{SVG}desc") and each.attrib
    }
    assert root.attrib["aria-labelledby"].split() == list(named)
    assert all(len(each.text or "") > 10 for each in named.values())


@pytest.mark.parametrize("name", NAMES)
def test_unit_and_source_stand_below_every_chart(example: Path, name: str) -> None:
    html = (example / "report.html").read_text(encoding="utf-8")
    figure = html.split(f'<figure class="picture" id="{name}">')[1].split("</figure>")[0]
    assert 'class="unit"' in figure
    assert "Source: " in figure


def test_bars_of_the_curve_are_the_yearly_savings(drawn: dict[str, Element], paying: pl.DataFrame) -> None:
    bars = shapes(drawn["savings-curve"], "data-cost-saved")
    assert [bar["data-site"] for bar in bars] == paying["site_id"].to_list()
    assert numbers(bars, "data-cost-saved") == pytest.approx(paying["cost_saved"].to_list(), rel=1e-8)
    proportional(numbers(bars, "height"), paying["cost_saved"].to_list())


def test_lines_of_the_curve_are_running_sums(drawn: dict[str, Element], paying: pl.DataFrame) -> None:
    dots = shapes(drawn["savings-curve"], "data-net-savings-so-far")
    gained, invested = (paying[name].cum_sum().to_list() for name in ("net_savings", "investment"))
    assert numbers(dots, "data-net-savings-so-far") == pytest.approx(gained, rel=1e-8)
    assert numbers(dots, "data-investment-so-far") == pytest.approx(invested, rel=1e-8)
    zero = {path.attrib["d"].split("L")[0].split()[1] for path in drawn["savings-curve"].iter(f"{SVG}path")}
    assert len(zero) == 1  # both lines start from nothing
    proportional([float(zero.copy().pop()) - y for y in numbers(dots, "cy")], gained)


def test_the_curve_of_many_sites_draws_some_and_counts_all() -> None:
    many = pl.DataFrame(
        {"rank": range(1, 5001), "site_id": [f"s{k}" for k in range(5000)], "name": "n", "investment": 10.0}
    ).with_columns(cost_saved=6000.0 - pl.col("rank"), net_savings=6000.0 - pl.col("rank"))
    chart = savings_curve(many, "USD")
    dots = shapes(drawing(chart.svg), "data-net-savings-so-far")
    assert 100 < len(dots) < 200
    assert float(dots[-1]["data-net-savings-so-far"]) == many["net_savings"].sum()
    assert float(dots[-1]["data-investment-so-far"]) == 50_000
    assert chart.notes


def test_the_map_has_every_site_with_coordinates_at_its_place(drawn: dict[str, Element], run: RunFolder) -> None:
    spots = shapes(drawn["site-map"], "data-latitude")
    placed = run.table("sites_used").drop_nulls("latitude").select("site_id", "latitude", "longitude").collect()
    saved = dict(run.table("ranking").select("site_id", "cost_saved").collect().iter_rows())
    assert {spot["data-site"] for spot in spots} == set(placed["site_id"])
    where = {site: (latitude, longitude) for site, latitude, longitude in placed.iter_rows()}
    for spot in spots:
        assert (float(spot["data-latitude"]), float(spot["data-longitude"])) == pytest.approx(where[spot["data-site"]])
        assert float(spot["data-cost-saved"]) == pytest.approx(saved[spot["data-site"]], rel=1e-8)
    straight(numbers(spots, "data-longitude"), numbers(spots, "cx"))
    straight(numbers(spots, "data-latitude"), numbers(spots, "cy"))
    large = [spot for spot in spots if float(spot["data-cost-saved"]) > 5_000]
    proportional([r * r / 100 for r in numbers(large, "r")], numbers(large, "data-cost-saved"))  # area, not width


def straight(values: list[float], places: list[float]) -> None:
    """Places lie on a straight scale of the values."""
    low, high = values.index(min(values)), values.index(max(values))
    slope = (places[high] - places[low]) / (values[high] - values[low])
    assert places == pytest.approx([places[low] + slope * (v - values[low]) for v in values], abs=0.02)


def test_sites_of_a_crowded_map_are_put_together_and_none_is_lost() -> None:
    count = 4000
    sites = pl.DataFrame(
        {
            "site_id": [f"s{k}" for k in range(count)],
            "latitude": [25.0 + k * 20 / count for k in range(count)],
            "longitude": [-120.0 + k * 7 % 50 for k in range(count)],
        }
    )
    ranking = pl.DataFrame({"rank": range(1, count + 1), "site_id": sites["site_id"], "cost_saved": [2.0] * count})
    spots = shapes(drawing(site_map(ranking, sites, "USD").svg), "data-cost-saved")
    assert len(spots) < 1500
    assert sum(float(spot["data-cost-saved"]) for spot in spots) == 2.0 * count
    assert sum(int(spot.get("data-sites", 1)) for spot in spots) == count


def test_payback_classes_hold_every_site_worth_changing(drawn: dict[str, Element], paying: pl.DataFrame) -> None:
    bars = shapes(drawn["payback"], "data-from-years")
    years = [int(value) for value in paying["simple_payback_years"].to_list()]
    assert {int(bar["data-from-years"]): int(bar["data-sites"]) for bar in bars} == {y: years.count(y) for y in years}
    assert sum(numbers(bars, "data-investment")) == pytest.approx(paying["investment"].sum(), rel=1e-8)
    proportional(numbers(bars, "height"), numbers(bars, "data-sites"))


def test_the_grid_has_every_group_of_the_run(drawn: dict[str, Element], run: RunFolder) -> None:
    cells = shapes(drawn["strategy-grid"], "data-best")
    groups = run.table("groups").collect()
    assert sum(int(cell["data-sites"]) for cell in cells) == groups["sites"].sum()
    found = {
        (cell["data-climate-zone"], cell["data-building-type"], *best.split(":"))
        for cell in cells
        for best in cell["data-best"].split(",")
        if best
    }
    due = groups.filter(pl.col("sites_with_savings") > 0)
    assert found == {
        (zone, kind, strategy, str(sites))
        for zone, kind, strategy, sites in due.select(
            "climate_zone", "building_type", "best_strategy", "sites_with_savings"
        ).iter_rows()
    }


def test_end_uses_are_those_of_the_sites_worth_changing(
    drawn: dict[str, Element], run: RunFolder, paying: pl.DataFrame
) -> None:
    parts = shapes(drawn["end-uses"], "data-end-use")
    sites = run.table("sites_used").select("site_id", "floor_area_m2").collect()
    results = run.table("strategies").collect().join(paying.select("site_id", "best_strategy"), on="site_id")
    results = results.join(sites, on="site_id").filter(pl.col("unavailable").is_null())
    bars = {"as today": pl.col("is_current"), "best for each site": pl.col("strategy") == pl.col("best_strategy")}
    bars |= {name.replace("_", " "): pl.col("strategy") == name for name in results["strategy"].unique()}
    for label, chosen in bars.items():
        frame = results.filter(chosen)
        for use in END_USES:
            due = frame[f"{use}_kwh"].sum() / frame["floor_area_m2"].sum()
            here = [p for p in parts if p["data-label"] == label and p["data-end-use"] == f"{use}_kwh"]
            assert sum(numbers(here, "data-value")) == pytest.approx(due, rel=1e-8)
    assert {part["data-label"] for part in parts} == set(bars)
    proportional(numbers(parts, "width"), numbers(parts, "data-value"))


def test_round_steps_and_scales() -> None:
    assert [round_step(v) for v in (0.07, 0.9, 1.0, 1.1, 3.0, 7.0)] == [0.1, 1.0, 1.0, 2.0, 5.0, 10.0]
    scale = scale_to([3.0, 11.0], 0.0, 100.0)
    assert (scale.low, scale.high) == (0.0, 15.0)
    assert scale.marks(5) == [0.0, 5.0, 10.0, 15.0]
    assert scale(7.5) == 50.0
    below = scale_to([-5.0, 10.0], 0.0, 90.0)  # a third of the way from -5 to 10
    assert (below.low, below.high, below(0.0)) == (-5.0, 10.0, 30.0)


def test_coordinates_as_people_write_them() -> None:
    """To a hundredth, and nothing is neither "-0" nor "0.00"."""
    assert [number(x) for x in (0.0, -0.001, 10.0, -2.5, 1.006, 100.0)] == ["0", "0", "10", "-2.5", "1.01", "100"]


def test_text_and_attributes_are_escaped() -> None:
    made = element("text", '<b> & "c"', data_site='"><script>', x=1.0)
    root = drawing(f"<svg>{made}</svg>")
    assert root[0].text == '<b> & "c"'
    assert root[0].attrib == {"data-site": '"><script>', "x": "1"}
