"""The same table in every form people keep it in gives the same frame; what was typed is kept."""

from pathlib import Path

import polars as pl
import pytest
from polars.testing import assert_frame_equal

from screener.strategies import REGISTRY
from screener.tables import read_portfolio
from tests.tables.portfolios import SITE, TARIFFS, sites, table, write

CHANGES = ({"postal_code": "601", "climate_zone": "", "name": "Calle Sol"}, {"postal_code": "00601"})


def test_parquet_and_csv_are_the_same_to_it(tmp_path: Path) -> None:
    from_csv = read_portfolio(write(tmp_path / "csv", sites=sites(*CHANGES)))
    folder = write(tmp_path / "parquet")
    (folder / "sites.csv").unlink()
    frame = pl.read_csv(sites(*CHANGES).encode(), schema_overrides={"postal_code": pl.String})
    assert frame["floor_area_m2"].dtype == pl.Int64
    frame.write_parquet(folder / "sites.parquet")
    assert_frame_equal(read_portfolio(folder).sites, from_csv.sites)


def test_workbook_and_csv_are_the_same_to_it(tmp_path: Path) -> None:
    pytest.importorskip("xlsxwriter", reason="writes the workbook that is read back")
    from_csv = read_portfolio(write(tmp_path / "csv", sites=sites(*CHANGES, {"floor_area_m2": "big"})))
    folder = write(tmp_path / "xlsx")
    (folder / "sites.csv").unlink()
    frame = pl.read_csv(sites(*CHANGES).encode())  # the postal code becomes a number, as in a spreadsheet
    numbers_and_a_word = [1000, 1000, 1000, "big"]
    frame = pl.concat([frame, frame[:1].with_columns(site_id=pl.lit("D"))])
    write_workbook(
        folder / "sites.xlsx", frame.with_columns(floor_area_m2=pl.Series(numbers_and_a_word, dtype=pl.Object))
    )
    from_workbook = read_portfolio(folder)
    assert_frame_equal(from_workbook.sites, from_csv.sites)
    assert from_workbook.faults["value"].to_list() == ["big"]


def write_workbook(file: Path, frame: pl.DataFrame) -> None:
    import xlsxwriter

    with xlsxwriter.Workbook(file) as book:
        sheet = book.add_worksheet()
        for column, name in enumerate(frame.columns):
            sheet.write_column(0, column, [name, *frame[name].to_list()])


@pytest.mark.parametrize(
    "content",
    [
        sites(*CHANGES).encode("utf-8-sig"),
        sites(*CHANGES).replace("\n", "\r\n").encode(),
        sites(*CHANGES).replace("site_id", " Site_ID ").encode(),
        sites(*CHANGES).replace("office", " OFFICE ").encode(),
        sites(*CHANGES).replace("4A", "4a").encode(),
        sites(*CHANGES).replace('"1000"', '"1e3"').encode(),
        sites(*CHANGES).replace('"1000"', '"1,000.0"').encode(),
        sites(*CHANGES).encode() + b"\n,,\n",
    ],
    ids=["byte order mark", "CRLF", "header", "case and spaces", "zone", "exponent", "thousands", "blank rows"],
)
def test_spelling_that_changes_nothing(content: bytes, tmp_path: Path) -> None:
    plain = read_portfolio(write(tmp_path / "plain", sites=sites(*CHANGES)))
    spelt = read_portfolio(write(tmp_path / "spelt", sites=content))
    assert spelt.faults.is_empty()
    assert_frame_equal(spelt.sites, plain.sites)


def test_postal_code_gets_its_zeros_back(tmp_path: Path) -> None:
    changes = [{"postal_code": code} for code in ("601", "1234", "00601", "00601-1234")]
    portfolio = read_portfolio(write(tmp_path, sites=sites(*changes)))
    assert portfolio.sites["postal_code"].to_list() == [None, "00601", "01234", "00601", "00601"]
    assert portfolio.sites_given["postal_code"].to_list() == [None, "converted", "converted", "given", "converted"]


def test_rows_are_counted_as_in_the_file(tmp_path: Path) -> None:
    header, good, bad = sites({"floor_area_m2": "-1", "name": "two\nlines"}).split("\n", 2)
    portfolio = read_portfolio(write(tmp_path, sites="\n".join([header, good, "", bad])))
    assert portfolio.faults["row"].to_list() == [4]
    assert '"name":"two\\nlines"' in portfolio.rejects["record"][0]


def test_rows_of_unequal_length(tmp_path: Path) -> None:
    text = sites({}, {}) + "D,office\n" + '"E","office","4A","10","T1","surplus"\n'
    portfolio = read_portfolio(write(tmp_path, sites=text))
    assert portfolio.sites["site_id"].to_list() == ["A", "B", "C"]
    assert portfolio.rejects["site_id"].to_list() == ["D", "E"]


# One building in both systems, by hand from 1 ft = 0.3048 m, 1 lb = 0.45359237 kg, 1 Btu = 1055.05585262 J, all exact
# but the last [NIST SP 811, appendix B.8]
SI = {
    "elevation_m": "304.8",
    "floor_area_m2": "9290.304",
    "cooling_setpoint_c": "25",
    "heating_setpoint_c": "20",
    "humidity_limit_dew_point_c": "12.5",
    "outdoor_air_l_s": "4719.474432",
    "infiltration_l_s_m2": "0.508",
    "process_moisture_kg_h": "45.359237",
    "open_case_length_m": "30.48",
    "door_case_length_m": "15.24",
    "cooling_capacity_kw": "351.6852842067",
    "cooling_cop": "3.223781771894",
}
US = {
    "elevation_ft": "1000",
    "floor_area_ft2": "100000",
    "cooling_setpoint_f": "77",
    "heating_setpoint_f": "68",
    "humidity_limit_dew_point_f": "54.5",
    "outdoor_air_cfm": "10000",
    "infiltration_cfm_ft2": "0.1",
    "process_moisture_lb_h": "100",
    "open_case_length_ft": "100",
    "door_case_length_ft": "50",
    "cooling_capacity_tons": "100",
    "cooling_eer": "11",
}


def test_us_and_si_tables_give_the_same_frame(tmp_path: Path) -> None:
    place = {name: SITE[name] for name in ("site_id", "building_type", "climate_zone", "tariff_id")}
    si = read_portfolio(write(tmp_path / "si", sites=table(place | SI)))
    us = read_portfolio(write(tmp_path / "us", sites=table(place | US)))
    assert_frame_equal(us.sites, si.sites, rel_tol=1e-9, abs_tol=1e-9)
    assert set(us.sites_given.select(list(SI)).row(0)) == {"converted"}
    assert set(si.sites_given.select(list(SI)).row(0)) == {"given"}


def test_what_a_portfolio_leaves_out_ships_with_the_program(tmp_path: Path) -> None:
    portfolio = read_portfolio(write(tmp_path))
    assert portfolio.equipment.is_empty()
    assert sorted(portfolio.strategies["strategy"]) == sorted(REGISTRY)
    assert portfolio.building_types.height == 11
    assert portfolio.settings.name == tmp_path.name
    assert portfolio.notes[-1].startswith("investment of overcool_electric_reheat, ")


def test_own_strategies_lie_over_the_shipped_ones(tmp_path: Path) -> None:
    own = "strategy,candidate,investment_per_kw,life_years,note\nstandalone_dehumidifier,,55,,quotation\n"
    own += "overcool_fuel_reheat,No,,,\n"
    before = read_portfolio(write(tmp_path / "shipped")).strategies
    portfolio = read_portfolio(write(tmp_path / "own", strategies=own))
    rows = {row["strategy"]: row for row in portfolio.strategies.to_dicts()}
    shipped = {row["strategy"]: row for row in before.to_dicts()}
    assert rows["standalone_dehumidifier"] == shipped["standalone_dehumidifier"] | {
        "investment_fixed": 0.0,
        "investment_per_l_day": 0.0,
        "investment_per_kw": 55.0,
        "size_exponent": None,
        "price_at_size": None,
        "published_low": None,
        "published_high": None,
        "note": "quotation",
    }
    changed = shipped["overcool_fuel_reheat"] | {"candidate": False}
    assert rows["overcool_fuel_reheat"] == changed
    assert "standalone_dehumidifier" not in portfolio.notes[-1]


def test_columns_and_files_that_are_not_used_are_noted(tmp_path: Path) -> None:
    folder = write(tmp_path, sites=sites({"region": "North"}), contacts="who\nme\n")
    notes = read_portfolio(folder).notes
    assert notes[0] == "contacts.csv is not used: no table of that name"
    assert any(note.startswith("sites: region kept as the owner's own") for note in notes)


def test_settings_are_read(tmp_path: Path) -> None:
    folder = write(tmp_path)
    (folder / "portfolio.toml").write_text('name = "Seven stores"\ncurrency = "JPY"\ndiscount_rate = 0\n', "utf-8")
    (folder / "tariffs.csv").write_text(TARIFFS.replace("0.12", "27.5").replace("0.04", "12"))
    portfolio = read_portfolio(folder)
    assert (portfolio.settings.name, portfolio.settings.discount_rate) == ("Seven stores", 0)
    assert portfolio.settings.study_years == 15
    assert portfolio.tariffs["electricity_price_per_kwh"].to_list() == [27.5]
    assert "in USD, not JPY" in portfolio.notes[-1]


def test_own_building_type_starts_from_a_shipped_one(tmp_path: Path) -> None:
    own = "building_type,based_on,opens_hour,humidity_limit_rh_pct,cooling_setpoint_f\nHall,Retail,10,45,77\n"
    portfolio = read_portfolio(write(tmp_path, building_types=own, sites=sites({"building_type": "hall"})))
    rows = {row["building_type"]: row for row in portfolio.building_types.to_dicts()}
    changed = {"building_type": "hall", "based_on": "retail", "opens_hour": 10.0, "humidity_limit_rh_pct": 45.0}
    changed |= {"humidity_limit_dew_point_c": None, "cooling_setpoint_c": pytest.approx(25, abs=1e-9)}
    assert rows["hall"] == rows["retail"] | changed
    sources = portfolio.building_type_sources.filter(building_type="hall").row(0, named=True)
    assert sources["opens_hour"] == "building_types table of the portfolio"
    assert sources["closes_hour"] == portfolio.building_type_sources.filter(building_type="retail")["closes_hour"][0]
