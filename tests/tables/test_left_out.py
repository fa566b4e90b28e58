"""What is left out can be mended under the headings of its file and read back. Own making, no source."""

import io
from pathlib import Path

import polars as pl
from typer.testing import CliRunner

from screener.commands import app
from screener.tables import adopting, left_out_sheets, read_portfolio
from tests.tables.portfolios import TARIFFS

LIST = """Stores,,,,,,
Store #,Store Name,Type,ZIP,Sq Ft,Status,Remark
1,Quay,retail,33101,9000,Open,-5
2,Mill,castle,33101,9000,Open,=1+1
3,Pond,retail,33101,a lot,Open,
4,Weir,retail,33101,9000,Closed,"two, or three"
4,Weir,retail,33101,9000,Closed,again
,Total,,,27000,,
"""
HEADINGS = ["Store #", "Store Name", "Type", "ZIP", "Sq Ft", "Status", "Remark"]
REASONS = ["left_out_row", "left_out_as", "left_out_columns", "left_out_because"]


def write(folder: Path, sites: str) -> Path:
    folder.mkdir()
    (folder / "sites.csv").write_text(sites, encoding="utf-8")
    return folder


def rejects(folder: Path) -> str:
    portfolio = read_portfolio(folder)
    return left_out_sheets(portfolio.rejects, portfolio.raws)["rejects.csv"]


def test_headings_and_cells_are_those_of_the_file(tmp_path: Path) -> None:
    sheet = pl.read_csv(io.StringIO(rejects(write(tmp_path / "p", LIST))), infer_schema=False)
    assert sheet.columns == [*HEADINGS, *REASONS]
    assert sheet["left_out_row"].to_list() == ["4", "5", "6", "7", "8"]
    assert sheet["left_out_as"].to_list() == ["with faults"] * 2 + ["closed"] * 2 + ["total"]
    assert sheet.row(0)[:7] == ("2", "Mill", "castle", "33101", "9000", "Open", "'=1+1")
    assert sheet.row(1)[4] == "a lot"
    assert sheet["left_out_columns"].to_list()[:2] == ["building_type", "floor_area_ft2"]


def test_mended_rows_are_a_table_of_sites(tmp_path: Path) -> None:
    mended = rejects(write(tmp_path / "p", LIST)).replace("castle", "retail").replace("a lot", "8000")
    portfolio = read_portfolio(write(tmp_path / "q", mended))
    assert portfolio.sites["site_id"].to_list() == ["2", "3"]
    assert portfolio.raws["sites"].frame["remark"].to_list() == ["=1+1", None]
    assert not [note for note in portfolio.notes if "left_out" in note]
    again = pl.read_csv(io.StringIO(left_out_sheets(portfolio.rejects, portfolio.raws)["rejects.csv"]))
    assert again.columns == [*HEADINGS, *REASONS]


def test_mended_rows_take_their_places_in_the_list(tmp_path: Path) -> None:
    mended = rejects(write(tmp_path / "p", LIST)).replace("castle", "retail").replace("a lot", "8000")
    (tmp_path / "rejects.csv").write_text(mended.replace("4,Weir", "9,Weir"), encoding="utf-8")
    files = [str(tmp_path / "p" / "sites.csv"), str(tmp_path / "rejects.csv")]
    result = CliRunner().invoke(app, ["adopt", *files, "--out", str(tmp_path / "q"), "--yes"])
    assert result.exit_code == 0, result.output
    assert "3 of 6 sites can be ranked; 3 left out: 2 closed, 1 line of totals" in result.stdout
    assert "rejects.csv: 3 mended rows in place of those of the list; 2 rows of it belong to none" in result.stderr
    assert read_portfolio(tmp_path / "q").sites["site_id"].to_list() == ["1", "2", "3"]


def test_other_tables_that_lose_rows_have_files_of_their_own(tmp_path: Path) -> None:
    folder = write(tmp_path / "p", LIST.replace("castle", "retail"))
    (folder / "tariffs.csv").write_text(TARIFFS + "T2,-1,\n", encoding="utf-8")
    portfolio = read_portfolio(folder)
    sheets = left_out_sheets(portfolio.rejects, portfolio.raws)
    assert [*sheets] == ["rejects_tariffs.csv", "rejects.csv"]
    assert sheets["rejects_tariffs.csv"].startswith(
        "tariff_id,electricity_price_per_kwh,fuel_price_per_kwh,left_out_row"
    )


def test_rows_set_aside_by_an_adoption_are_told_apart_from_the_rows_of_its_sites(tmp_path: Path) -> None:
    sheet = tmp_path / "stores.csv"
    title, header, *rows = LIST.splitlines()
    lines = [f"{title},", f'{header},"Owner ""A"""', *(f"{row},x" for row in rows)]
    sheet.write_text("\n".join(lines) + "\n", encoding="utf-8")
    adopting.adopt([sheet], tmp_path / "p", lambda question: question.proposed)
    told = pl.read_csv(io.StringIO(rejects(tmp_path / "p")), infer_schema=False)
    assert told["left_out_as"].to_list() == ["with faults"] * 2 + ["closed", "closed", "total"]
    assert told["site_id"].to_list() == ["2", "3", None, None, None]
    assert told["left_out_because"][2] == "status says Closed (stores.csv, row 6)"
    assert told["Store #"].to_list() == [None, None, "4", "4", None]
    assert sum("Owner" in name for name in told.columns) == 1
