"""Sheets of sites as chains really have them: own making, each habit seen in practice (common practice, no source)."""

import json
from pathlib import Path
from typing import Any

import polars as pl
import pytest
import xlsxwriter
from typer.testing import CliRunner

from screener.commands import app
from screener.contracts import load
from screener.contracts.rejects import in_words, left_out
from screener.errors import ContractError
from screener.tables import headings, read_portfolio
from screener.tables.headings import meant, usual
from tests.tables.portfolios import TARIFFS

UGLY = """Harbour Lane Grocers - store list,,,,,,,,,,
prepared by facilities; do not forward,,,,,,,,,,
,,,,,,,,,,
Store #,Store Name,Type,ZIP,Sq Ft,Tons,EER,Opens,Closes,Status,Tariff
101,Quay Street,supermarket,33101,"40,300",~95,10.5,6 AM,10:30 PM,Open,T1
0102,Mill Lane,supermarket,33101-1234,45k,TBD,n/a,24h,24h,open,T1
102,Mill Lane,supermarket,33101,45k,TBD,n/a,24h,24h,open,T1
#103,Pond Road,retail,33101,"18,000 sq ft",lots,-,7:30,21:00,Open,T1
104,Old Bridge,retail,33101,9000,20,10,8,20,Closed 2023,T1
Store #,Store Name,Type,ZIP,Sq Ft,Tons,EER,Opens,Closes,Status,Tariff
105,Weir Street,retail,33101,,20,10,8,20,Open,T1
Total,,,,"112,300",210,,,,,
* areas are leased areas as of last year,,,,,,,,,,
"""


def write(folder: Path, sites: str, tariffs: str = TARIFFS) -> Path:
    folder.mkdir(exist_ok=True)
    (folder / "sites.csv").write_text(sites, encoding="utf-8")
    (folder / "tariffs.csv").write_text(tariffs, encoding="utf-8")
    return folder


def test_a_chains_own_list_is_read_cell_by_cell(tmp_path: Path) -> None:
    portfolio = read_portfolio(write(tmp_path / "p", UGLY))
    rows = {row["site_id"]: row for row in portfolio.sites.to_dicts()}
    assert [*rows] == ["101", "0102", "#103"]
    quay, mill, pond = rows.values()
    assert quay["floor_area_m2"] == pytest.approx(40_300 * 0.09290304)
    assert mill["floor_area_m2"] == pytest.approx(45_000 * 0.09290304)
    assert pond["floor_area_m2"] == pytest.approx(18_000 * 0.09290304)
    assert quay["cooling_capacity_kw"] == pytest.approx(95 * 3.516853, rel=1e-6)
    assert quay["cooling_cop"] == pytest.approx(10.5 / 3.412142, rel=1e-6)
    assert (quay["opens_hour"], quay["closes_hour"]) == (6.0, 22.5)
    assert (mill["opens_hour"], mill["closes_hour"], mill["postal_code"]) == (24.0, 24.0, "33101")
    assert (pond["opens_hour"], pond["closes_hour"]) == (7.5, 21.0)
    assert (mill["cooling_capacity_kw"], mill["cooling_cop"], pond["cooling_capacity_kw"]) == (None, None, None)
    assert pond["row_note"] == 'cooling_capacity_tons "lots" cannot be read and is taken for empty'


def test_every_row_is_ranked_or_set_aside_with_its_reason(tmp_path: Path) -> None:
    portfolio = read_portfolio(write(tmp_path / "p", UGLY))
    told = {row["row"]: (row["rules"], row["reasons"]) for row in portfolio.rejects.to_dicts()}
    assert told[7] == ("duplicate", "the same site as 0102 in row 6")
    assert told[9] == ("closed", "status says Closed 2023")
    assert told[11][0] == "missing value"
    assert told[12] == ("total", "a line of totals: Total")
    assert told[13][0] == "remark"
    assert len(told) == 5
    assert left_out(portfolio.rejects) == {"closed": 1, "duplicate": 1, "total": 1, "remark": 1, "with faults": 1}
    line = "3 of 8 sites ranked; 5 left out: 1 closed, 1 duplicate, 1 line of totals, 1 remark, 1 with faults"
    assert in_words(3, portfolio.rejects) == line
    assert json.loads(portfolio.rejects.filter(row=9)["record"][0])["status"] == "Closed 2023"


def test_notes_say_what_was_taken_for_what(tmp_path: Path) -> None:
    notes = read_portfolio(write(tmp_path / "p", UGLY)).notes
    for heading, column in (("store #", "site_id"), ("sq ft", "floor_area_ft2"), ("tons", "cooling_capacity_tons")):
        assert f'sites: the heading "{heading}" is taken for {column}' in notes
    assert any("5 cells" in note and '"TBD"' in note and "read as empty" in note for note in notes), notes
    assert any('cooling_capacity_tons of 1 row (8) cannot be read, as "lots"' in note for note in notes), notes
    assert "sites: the header is row 4; 2 rows above it skipped" in notes


def test_the_first_line_of_terminal_json_and_page(tmp_path: Path) -> None:
    folder, out = write(tmp_path / "p", UGLY), tmp_path / "r"
    line = "3 of 8 sites ranked; 5 left out: 1 closed, 1 duplicate, 1 line of totals, 1 remark, 1 with faults"
    plain = CliRunner().invoke(app, ["run", str(folder), "--out", str(out)])
    assert plain.exit_code == 0, plain.output
    assert plain.stdout.splitlines()[0] == line
    assert line in (out / "report.html").read_text(encoding="utf-8")
    answer = CliRunner().invoke(app, ["run", str(folder), "--out", str(out), "--force", "--json"])
    document: dict[str, Any] = json.loads(answer.stdout)
    assert (next(iter(document)), document["sites"]) == ("sites", line)
    assert document["left_out"] == {"closed": 1, "duplicate": 1, "total": 1, "remark": 1, "with faults": 1}
    ranking = pl.read_parquet(out / "ranking.parquet").filter(site_id="#103")
    assert 'cooling_capacity_tons "lots" cannot be read and is taken for empty' in ranking["notes"].item()
    strict = CliRunner().invoke(app, ["run", str(folder), "--out", str(tmp_path / "s"), "--strict"])
    assert strict.exit_code != 0
    assert "lots" in strict.output


HEADS = {
    "Store No.": "site_id",
    "STORE_NUMBER": "site_id",
    "Location ID": "site_id",
    "Floor Area (Sq. Ft.)": "floor_area_ft2",
    "floor area [m²]": "floor_area_m2",
    "GSF": "floor_area_ft2",
    "Square Feet": "floor_area_ft2",
    "Zip Code": "postal_code",
    "Lat": "latitude",
    "Long.": "longitude",
    "Cooling Set-Point (°F)": "cooling_setpoint_f",
    "Cooling capacity (tons)": "cooling_capacity_tons",
    "Outdoor Air CFM": "outdoor_air_cfm",
    "Outdoor air (L/s)": "outdoor_air_l_s",
    "Max RH": "humidity_limit_rh_pct",
    "Annual kWh": "annual_electricity_kwh",
    "kWh/yr": "annual_electricity_kwh",
    "# RTUs": "cooling_units",
    "Days/Week": "open_days_per_week",
    "Heating Fuel": "heating_source",
    "Rate Schedule": "tariff_id",
}


@pytest.mark.parametrize("heading", HEADS)
def test_headings_are_read_by_meaning(heading: str) -> None:
    assert meant(heading.lower(), load("sites")) == HEADS[heading]


@pytest.mark.parametrize("heading", ["manager", "sales", "phone", "area", "temperature", "gas", "sq miles", ""])
def test_a_heading_that_may_mean_anything_is_left_alone(heading: str) -> None:
    assert meant(heading, load("sites")) is None


def test_usual_headings_name_columns_that_there_are() -> None:
    known = {name for field in load("sites").fields for name in field.names} | {"city", "state", "county"}
    assert {*usual().values()} <= known
    assert all(headings.plain(words) == words for words in usual())


def test_two_headings_for_one_figure_are_asked_about(tmp_path: Path) -> None:
    sheet = "Store #,Type,ZIP,Square Feet,GSF,Tariff\n1,retail,33101,1000,1200,T1\n"
    with pytest.raises(ContractError) as told:
        read_portfolio(write(tmp_path / "p", sheet))
    assert "'square feet' and 'gsf' may both be floor_area_m2; call the one that counts floor_area_m2" in str(
        told.value
    )


def test_a_column_under_its_own_name_wins_over_a_heading(tmp_path: Path) -> None:
    sheet = "site_id,Store #,building_type,ZIP,floor_area_m2,tariff_id\nA,77,retail,33101,1000,T1\n"
    assert read_portfolio(write(tmp_path / "p", sheet)).sites["site_id"].to_list() == ["A"]


@pytest.mark.parametrize(
    ("cell", "hours"),
    [
        ("7:30 PM", 19.5),
        ("12:15 am", 0.25),
        ("19:45", 19.75),
        ("06:00:00", 6.0),
        ("noon", 12.0),
        ("24h", 24.0),
        ("9", 9.0),
    ],
)
def test_hours_of_the_clock(cell: str, hours: float, tmp_path: Path) -> None:
    sheet = f"site_id,building_type,postal_code,floor_area_m2,opens_hour,tariff_id\nA,retail,33101,1000,{cell},T1\n"
    assert read_portfolio(write(tmp_path / "p", sheet)).sites["opens_hour"].to_list() == [hours]


@pytest.mark.parametrize("cell", ["lots", "5-6", "see note", "$$"])
def test_what_cannot_be_read_and_may_be_empty_is_blank_and_told(cell: str, tmp_path: Path) -> None:
    sheet = f"site_id,building_type,postal_code,floor_area_m2,peak_occupants,tariff_id\nA,retail,33101,1000,{cell},T1\n"
    portfolio = read_portfolio(write(tmp_path / "p", sheet))
    assert portfolio.sites["peak_occupants"].to_list() == [None]
    assert portfolio.faults.is_empty()
    assert portfolio.blanked["value"].to_list() == [cell]


def test_a_workbook_with_numbers_as_numbers(tmp_path: Path) -> None:
    """Titles above, a hidden sheet beside, ids as numbers, an hour as a time of Excel."""
    folder = tmp_path / "p"
    folder.mkdir()
    (folder / "tariffs.csv").write_text(TARIFFS, encoding="utf-8")
    with xlsxwriter.Workbook(folder / "sites.xlsx") as book:
        sheet, hidden = book.add_worksheet("sites"), book.add_worksheet("old")
        hidden.hide()
        hidden.write_row(0, 0, ["Store #", "Type"])
        clock = book.add_format({"num_format": "h:mm AM/PM"})
        sheet.write(0, 0, "Stores")
        sheet.write_row(2, 0, ["Store #", "Type", "ZIP", "Sq Ft", "Opens", "Tariff"])
        sheet.write_row(3, 0, [122, "retail", 1101, 40300])
        sheet.write_number(3, 4, 7.5 / 24, clock)
        sheet.write(3, 5, "T1")
    row = read_portfolio(folder).sites.row(0, named=True)
    assert (row["site_id"], row["postal_code"], row["opens_hour"]) == ("122", "01101", 7.5)
    assert row["floor_area_m2"] == pytest.approx(40_300 * 0.09290304)


def test_a_closing_date_counts_once_it_has_passed(tmp_path: Path) -> None:
    sheet = "Store #,Store Name,Type,ZIP,Sq Ft,Closing Date,Tariff\n"
    rows = [("1", "2021-03-31"), ("2", "3/31/2021"), ("3", "2999-01-01"), ("4", ""), ("5", "spring")]
    sheet += "".join(f"{store},Store {store},retail,33101,9000,{day},T1\n" for store, day in rows)
    portfolio = read_portfolio(write(tmp_path / "p", sheet))
    assert portfolio.sites["site_id"].to_list() == ["3", "4", "5"]
    assert portfolio.rejects["reasons"].to_list() == ["closing date says 2021-03-31", "closing date says 3/31/2021"]


def test_a_rejected_row_is_kept_as_it_was_typed(tmp_path: Path) -> None:
    sheet = "Store #,Type,ZIP,Sq Ft,Tons,Tariff\n1,retail,33101,45k,TBD,T1\n2,castle,33101,~45k,TBD,T1\n"
    record = json.loads(read_portfolio(write(tmp_path / "p", sheet)).rejects["record"].item())
    assert (record["floor_area_ft2"], record["cooling_capacity_tons"]) == ("~45k", "TBD")


def test_a_list_whose_figures_all_have_commas_is_read(tmp_path: Path) -> None:
    """Three figures in groups of three tell; two do not, and are asked about."""
    head, row = "Store #,Type,ZIP,Sq Ft,Tariff\n", '{0},retail,33101,"{0}0,300",T1\n'
    portfolio = read_portfolio(write(tmp_path / "p", head + "".join(row.format(each) for each in (1, 2, 4))))
    assert portfolio.sites["floor_area_m2"].to_list() == pytest.approx(
        [f * 0.09290304 for f in (10_300, 20_300, 40_300)]
    )
    with pytest.raises(ContractError) as told:
        read_portfolio(write(tmp_path / "q", head + "".join(row.format(each) for each in (1, 2))))
    assert "decimal mark" in str(told.value)


SAME = """Store #,Store Name,Type,ZIP,Sq Ft,Status,Tariff,Tons
1,,retail,33101,9000,,T1
1,,retail,33101,9500,,T1
2,,retail,33101,8000,,T1
2,,retail,33101,8500,,T1
3,Quay,retail,33101,7000,Closed,T1
03,Quay,retail,33101-1234,7000,,T1
4,Weir,retail,33101,6000,Closed,T1
4,Weir,retail,33101,6000,Open,T1
5,Mill,retail,33101,5000,,T1
#5,MILL,retail,33101,5200,,T1
6,Lock,retail,33101,4000,,T1,20
6,Lock,retail,33101,4000,,T1,25
"""


def test_stores_that_are_one_and_that_are_not(tmp_path: Path) -> None:
    """Without a name two rows that differ are two faults; a store that is closed once is closed, unless it is said to be open."""
    portfolio = read_portfolio(write(tmp_path / "p", SAME))
    told = {row["row"]: (row["rules"], row["reasons"]) for row in portfolio.rejects.to_dicts()}
    assert {row for row, (rules, _) in told.items() if rules == "duplicate"} == {2, 3, 4, 5, 7, 11, 13}
    assert told[2][1].startswith("stands in rows 2, 3; give every row its own")
    assert told[7] == ("duplicate", "the same site as the closed one in row 6")
    assert told[11] == ("duplicate", "the same site as 5 in row 10, but for floor_area_ft2 5200")
    assert portfolio.sites["site_id"].to_list() == ["4", "5", "6"]
    assert portfolio.sites["cooling_capacity_kw"][2] is None  # neither 20 nor 25 tons
    assert portfolio.sites["row_note"][1] == "row 11 is the same site and says otherwise: floor_area_ft2 5200"
    assert left_out(portfolio.rejects)["duplicate"] == 7


def test_the_day_of_a_run_may_be_stated(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """SOURCE_DATE_EPOCH is the day that a closing date is held against: noon of 1 June 2020."""
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1591012800")
    sheet = "Store #,Type,ZIP,Sq Ft,Closing Date,Tariff\n1,retail,33101,9000,2020-05-31,T1\n2,retail,33101,9000,2020-06-02,T1\n"
    portfolio = read_portfolio(write(tmp_path / "p", sheet))
    assert portfolio.sites.select("site_id", "row_note").rows() == [("2", "closing date 2020-06-02")]
    assert not [note for note in portfolio.notes if "not used" in note]
