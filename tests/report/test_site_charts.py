"""The charts of a site: the psychrometric one against psychrolib, the others against the frames they are drawn from."""

from xml.etree.ElementTree import Element

import polars as pl
import psychrolib
import pytest

from screener.report.charts.day import day
from screener.report.charts.humidity import humidity
from screener.report.charts.moisture import ARRIVING, LEAVING, moisture
from screener.report.charts.psychrometric import Path, Process, Space, State, psychrometric
from tests.report.reading import SVG, drawing, shapes

PRESSURE_PA = 95_000.0
DRAWN = 0.006  # coordinates are written to a hundredth
STEEP = 4.0  # so much steeper than across a line may run: the rounding of x shows in y


def state(name: str, t: float, w: float) -> State:
    psychrolib.SetUnitSystem(psychrolib.SI)
    return State(name, t, w, psychrolib.GetTDewPointFromHumRatio(t, w, PRESSURE_PA))


@pytest.fixture(scope="module")
def outdoor() -> pl.DataFrame:
    hours = [(t, 0.1 * t / 1000 + 0.004 + k * 0.002, 8.0) for t in range(-8, 37) for k in range(3)]
    return pl.DataFrame(hours, schema=["outdoor_c", "outdoor_humidity_ratio", "weight_h"], orient="row")


@pytest.fixture(scope="module")
def chart(outdoor: pl.DataFrame) -> Element:
    outside = state("outdoor air", 33.0, 0.016)
    reheat = [state("coil out", 10.0, 0.0078), state("supply", 16.0, 0.0078)]
    now = Path("overcool_electric_reheat", [outside, *reheat], [Process("reheat", "coil out", "supply")])
    best = Path("standalone_dehumidifier", [outside, state("space", 23.0, 0.0095)], [])
    made = psychrometric(outdoor, Space(PRESSURE_PA, 23.0, 0.0097), [now, best], "At noon.")
    return drawing(made.alone)


class Paper:
    """What a place on the chart means, from the frame that carries its scales."""

    def __init__(self, chart: Element) -> None:
        (frame,) = shapes(chart, "data-dry-bulb-low")
        number = {name: float(value) for name, value in frame.items() if name != "class"}
        self.left, self.top = number["x"], number["y"]
        self.t0 = number["data-dry-bulb-low"]
        self.w1 = number["data-humidity-ratio-high"]
        self.kelvin = (number["data-dry-bulb-high"] - self.t0) / number["width"]  # a unit of the drawing
        self.ratio = (self.w1 - number["data-humidity-ratio-low"]) / number["height"]

    def place(self, t: float, w: float) -> tuple[float, float]:
        return self.left + (t - self.t0) / self.kelvin, self.top + (self.w1 - w) / self.ratio

    def value(self, x: float, y: float) -> tuple[float, float]:
        return self.t0 + (x - self.left) * self.kelvin, self.w1 - (y - self.top) * self.ratio


def points(d: str) -> list[tuple[float, float]]:
    return [(float(x), float(y)) for x, y in (pair.split() for pair in d.lstrip("M").split("L"))]


def test_saturation_and_humidity_lines_are_psychrolibs_as_far_as_they_are_drawn(chart: Element) -> None:
    paper = Paper(chart)
    lines = shapes(chart, "data-relative-humidity")
    assert sorted(float(each["data-relative-humidity"]) for each in lines) == [0.2, 0.4, 0.6, 0.8, 1.0]
    psychrolib.SetUnitSystem(psychrolib.SI)
    for each in lines:
        places = points(each["d"])
        assert len(places) > 20
        for x, y in places:
            t, _ = paper.value(x, y)
            due = psychrolib.GetHumRatioFromRelHum(t, float(each["data-relative-humidity"]), PRESSURE_PA)
            assert y == pytest.approx(paper.place(t, due)[1], abs=STEEP * DRAWN)


def test_states_are_drawn_where_they_are_and_have_psychrolibs_dew_point(chart: Element) -> None:
    paper = Paper(chart)
    dots = shapes(chart, "data-state")
    assert [dot["data-state"] for dot in dots] == ["outdoor air", "coil out", "supply", "outdoor air", "space"]
    psychrolib.SetUnitSystem(psychrolib.SI)
    for dot in dots:
        t, w = float(dot["data-dry-bulb-c"]), float(dot["data-humidity-ratio"])
        assert (float(dot["cx"]), float(dot["cy"])) == pytest.approx(paper.place(t, w), abs=DRAWN)
        dew_point = psychrolib.GetTDewPointFromHumRatio(t, w, PRESSURE_PA)
        assert float(dot["data-dew-point-c"]) == pytest.approx(dew_point, abs=1e-3)
    (reheat,) = shapes(chart, "data-process")
    due = [paper.place(10.0, 0.0078), paper.place(16.0, 0.0078)]
    assert points(reheat["d"]) == [pytest.approx(each, abs=DRAWN) for each in due]


def test_cells_hold_the_hours_of_the_year(chart: Element, outdoor: pl.DataFrame) -> None:
    cells = shapes(chart, "data-hours")
    (frame,) = shapes(chart, "data-dry-bulb-low")
    inside = outdoor.filter(pl.col("outdoor_c") >= float(frame["data-dry-bulb-low"]))
    assert sum(float(cell["data-hours"]) for cell in cells) == pytest.approx(inside["weight_h"].sum())
    by_hours = sorted(cells, key=lambda cell: float(cell["data-hours"]))
    assert float(by_hours[0]["fill-opacity"]) <= float(by_hours[-1]["fill-opacity"])


def test_a_strategy_that_stays_is_drawn_once(outdoor: pl.DataFrame) -> None:
    only = Path("standalone_dehumidifier", [state("space", 23.0, 0.0095)], [])
    made = psychrometric(outdoor, Space(PRESSURE_PA, 23.0, 0.0097), [only], "At noon.")
    assert len(shapes(drawing(made.alone), "data-state")) == 1
    assert "best" not in str(made.body)


@pytest.fixture(scope="module")
def months() -> pl.DataFrame:
    rows = [
        {
            "month": m,
            "strategy": s,
            "people_kg": 100.0,
            "damp_air_kg": 40.0 * m,
            "coil_kg": 60.0 + 30 * m,
            "cases_kg": 40.0,
        }
        | {"given_back_kg": 0.0, "taken_up_kg": 0.0}
        | {"device_kg": 10.0 * m if s == "b" else 0.0, "dry_air_kg": 10.0 * m if s == "a" else 0.0}
        for s in "ab"
        for m in range(1, 13)
    ]
    return pl.DataFrame(rows)


def test_moisture_bars_are_the_months(months: pl.DataFrame) -> None:
    bars = shapes(drawing(moisture(months, "a", "b").alone), "data-kg")
    found = {(int(b["data-month"]), b["data-strategy"], b["data-part"]): float(b["data-kg"]) for b in bars}
    for row in months.iter_rows(named=True):
        for part in (*ARRIVING, *LEAVING):
            assert found.get((row["month"], row["strategy"], part), 0.0) == row[part]
    heights, values = ([float(b[name]) for b in bars] for name in ("height", "data-kg"))
    scale = sum(heights) / sum(values)
    assert heights == pytest.approx([scale * value for value in values], abs=0.02)
    of_july = [b for b in bars if b["data-month"] == "7" and b["data-strategy"] == "a"]
    bottom_of_arriving = max(float(b["y"]) + float(b["height"]) for b in of_july if b["data-part"] in ARRIVING)
    top_of_leaving = min(float(b["y"]) for b in of_july if b["data-part"] in LEAVING)
    assert bottom_of_arriving == pytest.approx(top_of_leaving, abs=0.02)  # the line between them


def test_humidity_lines_are_duration_curves() -> None:
    """Counted by hand: hours at least as damp as each drawn dew point."""
    hours = pl.DataFrame({"dew_point_c": [float(k % 17) for k in range(8760)], "weight_h": 1.0})
    lines = {"today": "overcool_electric_reheat", "temperature only": "temperature_only"}
    warmer = hours.with_columns(pl.col("dew_point_c") + 1.0)
    frame = pl.concat(
        [each.with_columns(strategy=pl.lit(s)) for each, s in zip((hours, warmer), lines.values(), strict=True)]
    )
    root = drawing(humidity(frame, 12.8, lines).alone)
    drawn = shapes(root, "data-line")
    assert [each["data-line"] for each in drawn] == list(lines)
    for each in drawn:
        mine = frame.filter(strategy=lines[each["data-line"]])["dew_point_c"]
        for pair in each["data-hours-and-dew-points"].split():
            count, dew_point = map(float, pair.split(":"))
            assert (mine > dew_point).sum() <= count <= (mine >= dew_point).sum()
    assert f"{(frame.filter(strategy=lines['today'])['dew_point_c'] > 12.8).sum():,} hours above 12.8" in str(
        next(root.iter(f"{SVG}desc")).text
    )


def test_a_day_shows_the_heat_inside_and_the_reheat_below_it() -> None:
    """Every bar is a figure of the frame, on one scale; the most reheat is told with its hour."""
    rows = [
        {"strategy": s, "hour": h, "people_w": 100.0 * h, "machines_w": 2000.0, "sun_w": 50.0 * (h % 12)}
        | {"reheat_w": 300.0 * h if s == "a" else 0.0}
        for s in "ab"
        for h in range(24)
    ]
    root = drawing(day(pl.DataFrame(rows), "a", "b", (7, 3)).alone)
    bars = shapes(root, "data-kw")
    found = {(int(b["data-hour"]), b["data-part"]): float(b["data-kw"]) for b in bars}
    for row in rows[:24]:
        for part in ("people_w", "machines_w", "sun_w"):
            assert found.get((row["hour"], part), 0.0) == pytest.approx(row[part] / 1000)
        assert found.get((row["hour"], "reheat today"), 0.0) == pytest.approx(row["reheat_w"] / 1000)
        assert (row["hour"], "reheat best") not in found
    heights, values = ([float(b[name]) for b in bars] for name in ("height", "data-kw"))
    scale = sum(heights) / sum(values)
    assert heights == pytest.approx([scale * value for value in values], abs=0.02)
    told = str(next(root.iter(f"{SVG}desc")).text)
    assert "reheat today 83 kWh, most from 23 to 24 o'clock" in told
    assert "with the best strategy 0 kWh" in told
