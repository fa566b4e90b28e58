"""The report in a real browser: nothing is fetched, nothing complained of, tables sort, and it fits telephone and paper.

Chromium comes from the system's packages (`apt-get install chromium`); where there is none these tests are skipped.
"""

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from screener import report
from tests.report.conftest import HARM

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no chromium on this machine: apt-get install chromium")
WIDTHS = {"telephone": 390, "desktop": 1280}


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    api = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
    with api.sync_playwright() as playwright:
        running = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield running
        running.close()


@pytest.fixture(scope="module", params=["report", "site", "odds", "site odds"])
def document(
    request: pytest.FixtureRequest, example: Path, likely: Path, tmp_path_factory: pytest.TempPathFactory
) -> Path:
    """The report of the run, and the page of its first site, without and with odds."""
    if request.param == "report":
        return example / "report.html"
    if request.param == "odds":
        return likely / "report.html"
    run = likely if request.param == "site odds" else example
    (file,) = report.write_site(run, "S126", tmp_path_factory.mktemp("site"))
    return file


class Visit:
    """A page opened from a file, with whatever it asked for and complained about."""

    def __init__(self, browser: Any, file: Path, width: int = 1280, scripts: bool = True) -> None:
        self.context = browser.new_context(
            viewport={"width": width, "height": 900}, java_script_enabled=scripts, offline=True
        )
        self.page = self.context.new_page()
        self.requests: list[str] = []
        self.complaints: list[str] = []
        self.page.on("request", lambda request: self.requests.append(request.url))
        self.page.on("console", lambda message: self.complaints.append(message.text))
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.on("dialog", lambda dialog: (self.complaints.append(dialog.message), dialog.dismiss()))
        self.page.goto(file.as_uri())

    def column(self, table: str, name: str) -> list[str]:
        """The cells of a column as they are shown, from the top."""
        place = self.page.locator(f"#{table} thead th").evaluate_all(
            "(heads, name) => heads.findIndex((head) => head.dataset.column === name)", name
        )
        cells = self.page.locator(f"#{table} tbody tr:not(.behind)").evaluate_all(
            "(rows, place) => rows.map((row) => row.cells[place].textContent)", place
        )
        return [str(cell) for cell in cells]


@pytest.mark.parametrize("width", WIDTHS.values(), ids=list(WIDTHS))
def test_no_request_no_complaint_and_no_scrolling_sideways(browser: Any, document: Path, width: int) -> None:
    visit = Visit(browser, document, width)
    assert visit.requests == [document.as_uri()]
    assert visit.complaints == []
    assert visit.page.evaluate("document.documentElement.scrollWidth") <= width


def test_wide_tables_scroll_inside_themselves(browser: Any, example: Path) -> None:
    visit = Visit(browser, example / "report.html", WIDTHS["telephone"])
    inside, outside = visit.page.locator("#sites").evaluate("(t) => [t.scrollWidth, t.parentElement.clientWidth]")
    assert inside > outside
    assert visit.page.locator("#sites").evaluate("(t) => getComputedStyle(t.parentElement).overflowX") == "auto"


def test_no_table_of_a_report_is_cut_off_at_1280(browser: Any, likely: Path) -> None:
    """With the ranges of its odds too; notes make no row tall until they are asked for."""
    visit = Visit(browser, likely / "report.html")
    visit.page.locator("details summary", has_text="where no change pays").click()
    for table in visit.page.locator("table").all():
        inside, outside = table.evaluate("(t) => [t.scrollWidth, t.parentElement.clientWidth]")
        assert inside <= outside, table.get_attribute("id")
    heights = visit.page.locator("#sites tbody tr").evaluate_all("(rows) => rows.map((row) => row.offsetHeight)")
    assert max(heights) <= 60
    notes = visit.page.locator("#sites .behind [data-column=notes]").first
    assert not notes.is_visible()
    visit.page.locator("#sites .behind summary").first.click()
    assert notes.is_visible()


def test_a_table_is_narrowed_by_what_stands_in_its_rows(browser: Any, example: Path) -> None:
    visit = Visit(browser, example / "report.html")
    visit.page.locator("details summary", has_text="where no change pays").click()
    names = visit.column("other-sites", "name")
    visit.page.locator("label.filter input").first.fill(names[2].upper())
    shown = visit.page.locator("#other-sites tbody tr:not(.behind):not([hidden])")
    assert shown.count() == 1
    assert names[2] in shown.first.inner_text()
    visit.page.locator("label.filter input").first.fill("")
    assert shown.count() == len(names)


@pytest.mark.parametrize(("name", "kind"), [("cost_saved", float), ("simple_payback_years", float), ("site_id", str)])
def test_a_click_on_a_heading_sorts_and_another_turns_round(browser: Any, example: Path, name: str, kind: type) -> None:
    frame = pl.read_parquet(example / "ranking.parquet").filter(pl.col("net_savings") > 0)
    visit = Visit(browser, example / "report.html")
    heading = visit.page.locator(f"#sites th[data-column={name}]")
    for descending, told in ((False, "ascending"), (True, "descending")):
        heading.locator("button").click()
        assert heading.get_attribute("aria-sort") == told
        due = frame.sort(name, descending=descending)["site_id"].to_list()
        assert visit.column("sites", "site_id") == due
    assert kind is str or visit.page.locator("#sites th[aria-sort]").count() == 1


def test_sorting_works_from_the_keyboard(browser: Any, example: Path) -> None:
    visit = Visit(browser, example / "report.html")
    before = visit.column("sites", "investment")
    visit.page.locator("#sites th[data-column=investment] button").focus()
    visit.page.keyboard.press("Enter")
    assert visit.column("sites", "investment") == sorted(before, key=lambda words: float(words.replace(",", "")))


def test_figures_shown_are_those_of_the_ranking(browser: Any, example: Path) -> None:
    """As people read them: thousands separated, whole amounts; three digits in the headline."""
    frame = pl.read_parquet(example / "ranking.parquet").filter(pl.col("net_savings") > 0).sort("rank")
    visit = Visit(browser, example / "report.html")
    for name in ("cost_saved", "investment", "net_savings"):
        assert visit.column("sites", name) == [f"{round(value):,}" for value in frame[name]]
    total = pl.read_parquet(example / "ranking.parquet")["cost_saved"].sum()
    assert f"{float(f'{total:.3g}'):,.0f} USD a year" in visit.page.locator(".answer").inner_text()


def test_without_scripts_everything_is_there_to_read(browser: Any, example: Path) -> None:
    visit = Visit(browser, example / "report.html", scripts=False)
    assert visit.complaints == []
    assert visit.page.locator("button").count() == 0
    sites = pl.read_parquet(example / "ranking.parquet")
    rows = visit.page.locator("#sites tbody tr:not(.behind)").count()
    assert rows == sites.filter(pl.col("net_savings") > 0).height
    visit.page.locator("details summary", has_text="where no change pays").click()
    assert visit.page.locator("#other-sites tbody tr").first.is_visible()
    assert visit.page.locator("svg.chart").count() == 5


def test_names_that_are_script_do_not_run(browser: Any, hostile: Path) -> None:
    visit = Visit(browser, hostile / "report.html")
    visit.page.wait_for_timeout(200)
    assert visit.complaints == []
    assert visit.requests == [(hostile / "report.html").as_uri()]
    assert visit.page.title() == f"{HARM}: what better dehumidification would save"


def test_on_paper_it_is_a4_and_short(browser: Any, example: Path) -> None:
    visit = Visit(browser, example / "report.html")
    paper = visit.page.pdf(prefer_css_page_size=True)
    assert 3 <= paper.count(b"/Type /Page\n") <= 8
    assert b"/MediaBox [0 0 594.95996 841.91998]" in paper  # 210 x 297 mm in points


@pytest.mark.parametrize("width", WIDTHS.values(), ids=list(WIDTHS))
def test_letters_of_charts_can_be_read(browser: Any, document: Path, width: int) -> None:
    """Nothing below 8 CSS pixels, where letters begin to run together: common practice, no source."""
    visit = Visit(browser, document, width)
    smallest = visit.page.evaluate(
        """() => Math.min(...[...document.querySelectorAll("svg.chart text")].map((text) => {
            const svg = text.ownerSVGElement;
            return parseFloat(getComputedStyle(text).fontSize) * svg.clientWidth / svg.viewBox.baseVal.width;
        }))"""
    )
    assert smallest >= 8
