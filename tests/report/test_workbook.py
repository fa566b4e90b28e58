"""ranking.xlsx read back by another library, and its parts looked at as XML."""

import re
import zipfile
from pathlib import Path
from xml.etree import ElementTree

import polars as pl
import pytest
from polars.testing import assert_frame_equal

from screener import contracts, report
from screener.outputs import open_run
from tests.report.conftest import HARM

SHEET = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"


@pytest.fixture(scope="module")
def book(example: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("workbook")
    return next(file for file in report.write(example, out, workbook=True) if file.name == "ranking.xlsx")


def sheets(book: Path) -> dict[str, pl.DataFrame]:
    return pl.read_excel(book, sheet_id=0, engine="calamine")


@pytest.mark.parametrize(
    ("sheet", "table"), [("ranking", "ranking"), ("strategies", "strategies"), ("groups", "groups")]
)
def test_sheets_read_back_are_the_tables(book: Path, example: Path, sheet: str, table: str) -> None:
    due = open_run(example).table(table).collect()
    found = sheets(book)[sheet]
    found = found.rename({name: name.split(" [")[0] for name in found.columns})
    assert found.columns == due.columns
    assert_frame_equal(
        found.cast(dict(due.schema)), due, rel_tol=1e-12 if sheet != "groups" else 2e-8
    )  # sums of rounded figures  # type: ignore[arg-type]


def test_units_stand_in_the_headers(book: Path) -> None:
    heads = sheets(book)["ranking"].columns
    assert {"cost_saved [USD/a]", "electricity_saved_kwh [kWh/a]", "investment [USD]", "rank", "name"} <= set(heads)
    for field in contracts.load("ranking").fields:
        if field.unit and field.unit != "1":
            assert f"{field.name} [{field.unit.replace('currency', 'USD')}]" in heads


def test_notes_hold_cautions_settings_and_assumptions(book: Path) -> None:
    notes = pl.read_excel(book, sheet_name="notes", engine="calamine", has_header=False)
    words = " ".join(str(cell) for row in notes.iter_rows() for cell in row if cell)
    for due in ("screening estimates", "licensed", "discount_rate", "assumed most", "under other prices"):
        assert due in words.lower()
    columns = sheets(book)["columns"]
    assert columns.filter(sheet="ranking").height == len(contracts.load("ranking").fields)


def test_headers_are_frozen_and_numbers_formatted(book: Path) -> None:
    with zipfile.ZipFile(book) as archive:
        root = ElementTree.fromstring(archive.read("xl/workbook.xml"))
        names = [sheet.attrib["name"] for sheet in root.iter(f"{SHEET}sheet")]
        for name in ("ranking", "groups", "strategies"):
            page = ElementTree.fromstring(archive.read(f"xl/worksheets/sheet{names.index(name) + 1}.xml"))
            pane = next(page.iter(f"{SHEET}pane"))
            assert (pane.attrib["state"], pane.attrib["ySplit"]) == ("frozen", "1")
        styles = archive.read("xl/styles.xml").decode()
    assert {'formatCode="#,##0"', 'formatCode="0%"', 'formatCode="0.0"'} <= set(
        re.findall(r'formatCode="[^"]*"', styles)
    )


def test_every_part_is_well_formed_and_listed(book: Path) -> None:
    """What a program checks before it offers to repair a file: parts that are XML, each with a type of content."""
    with zipfile.ZipFile(book) as archive:
        assert archive.testzip() is None
        types = ElementTree.fromstring(archive.read("[Content_Types].xml"))
        listed = {each.attrib["PartName"].lstrip("/") for each in types if "PartName" in each.attrib}
        extensions = {each.attrib["Extension"] for each in types if "Extension" in each.attrib}
        for name in archive.namelist():
            ElementTree.fromstring(archive.read(name))
            assert name in listed or name.rpartition(".")[2] in extensions


def test_text_is_never_a_formula(hostile: Path, tmp_path: Path) -> None:
    files = report.write(hostile, tmp_path, workbook=True)
    book = next(file for file in files if file.suffix == ".xlsx")
    with zipfile.ZipFile(book) as archive:
        for name in archive.namelist():
            if name.startswith("xl/worksheets/"):
                assert next(ElementTree.fromstring(archive.read(name)).iter(f"{SHEET}f"), None) is None
    assert set(sheets(book)["ranking"]["name"]) == {HARM}


def test_the_same_run_gives_the_same_bytes(book: Path, example: Path, tmp_path: Path) -> None:
    files = report.write(example, tmp_path, workbook=True)
    assert book.read_bytes() == next(file for file in files if file.suffix == ".xlsx").read_bytes()
