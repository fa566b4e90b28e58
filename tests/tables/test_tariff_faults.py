"""Tariffs whose windows or blocks do not fit together, and the very words their authors are told.

Expected texts are the project's own promise to its users: what, where, which value, the way out.
"""

from pathlib import Path

import polars as pl
import pytest

from screener import calendar
from screener.errors import ContractError
from screener.tables import read_portfolio, read_tariffs
from screener.tables.tariff_faults import NO_DAYS
from tests.tables.portfolios import sites, write

TARIFFS = "tariff_id,electricity_price_per_kwh,fuel_price_per_kwh\nT1,0.12,0.04\nT2,,0.04\n"
WINDOW = "tariff_id,period,months,day_kind,from_hour,to_hour,electricity_price_per_kwh,demand_price_per_kw,fuel_price_per_kwh\n"
T2 = "T2,,,,,,0.10,,\n"  # a price for T2 all year
TIER = "tariff_id,months,up_to_kwh,electricity_price_per_kwh\n"
NO_MONTHS = "not months; write them by number: 6-9 or 11-2,5, or 6 to 9 where a spreadsheet makes a date of it"

# rows of tariff_periods after one that prices T2: then row, column, rule, value and message of each fault in that table
PERIODS = {
    "months as a spreadsheet mangles them": ("T1,,9-Jun,,,,0.2,,\n", [(3, "months", "not months", "9-Jun", NO_MONTHS)]),
    "a month 13": ("T1,,10-13,,,,0.2,,\n", [(3, "months", "not months", "10-13", NO_MONTHS)]),
    "half a window": (
        "T1,,,,12,,0.2,,\n",
        [(3, "from_hour, to_hour", "half a window", "12 to ", "one hour is missing; give both")],
    ),
    "an empty window": (
        "T1,,,,12,12,0.2,,\n",
        [
            (
                3,
                "from_hour, to_hour",
                "empty window",
                "12 to 12",
                "closes when it opens; the whole day is 0 to 24, or no hours at all",
            )
        ],
    ),
    "no price at all": ("T1,peak,,,8,12,,,\n", [(3, None, "no price", None, "changes nothing; give a price in it")]),
    "fuel by the hour": (
        "T1,,,,8,12,,,0.05\n",
        [
            (
                3,
                "fuel_price_per_kwh",
                "goes by the month",
                "0.05",
                "holds for whole months; give it in a row for all days and hours",
            )
        ],
    ),
    "windows that overlap over midnight": (
        "T1,,,,22,6,0.05,,\nT1,,7,working,5,8,0.06,,\n",
        [
            (
                row,
                "electricity_price_per_kwh",
                "windows overlap",
                value,
                f"row {other} sets it too, first in month 7, working days, hour 5; let windows not overlap",
            )
            for row, value, other in ((3, "0.05", 4), (4, "0.06", 3))
        ],
    ),
    "one demand window twice": (
        "T1,,,,8,12,,5,\nT1,,,,8,12,,7,\n",
        [
            (
                row,
                "demand_price_per_kw",
                "windows overlap",
                value,
                f"row {other} sets it too, first in month 1, working days, hour 8; let windows not overlap",
            )
            for row, value, other in ((3, "5", 4), (4, "7", 3))
        ],
    ),
    "one period, two demand prices": (
        "T1,peak,,,8,12,,5,\nT1,peak,6-9,,14,16,,7,\n",
        [
            (
                row,
                "demand_price_per_kw",
                "two demand prices",
                value,
                f"row {other} has another for this period in month 6; rows of one period share one demand price",
            )
            for row, value, other in ((3, "5", 4), (4, "7", 3))
        ],
    ),
    "cents": (
        "T1,,,,8,12,21,,\n",
        [
            (
                3,
                "electricity_price_per_kwh",
                "too large",
                "21",
                "too dear for a price in USD; if it is in cents, divide it by 100",
            )
        ],
    ),
    "an unknown tariff": (
        "T9,,,,8,12,0.2,,\n",
        [(3, "tariff_id", "unknown tariff_id", "T9", "not among the tariffs; it has T1, T2")],
    ),
    "a kind of day": (
        "T1,,,Noday,,,0.2,,\n",
        [(3, "day_kind", "not days", "Noday", NO_DAYS)],
    ),
    "single days that overlap": (
        "T1,,6-9,Mon-Thu,12,18,0.3,,\nT1,,9,Thu to Fri,17,20,0.2,,\nT1,,6-9,Fri,12,17,0.2,,\n",
        [
            (
                3,
                "electricity_price_per_kwh",
                "windows overlap",
                "0.3",
                "row 4 sets it too, first in month 9, thursdays, hour 17; let windows not overlap",
            ),
            (
                4,
                "electricity_price_per_kwh",
                "windows overlap",
                "0.2",
                "row 3 sets it too, first in month 9, thursdays, hour 17; let windows not overlap",
            ),
        ],
    ),
}


def faults_of(folder: Path) -> pl.DataFrame:
    with pytest.raises(ContractError) as caught:
        read_tariffs(folder, "USD")
    return caught.value.faults


def told(faults: pl.DataFrame, table: str) -> list[tuple[object, ...]]:
    mine = faults.filter((pl.col("table") == table) & (pl.col("rule") != "incomplete tariff"))
    return mine.select("row", "column", "rule", "value", "message").rows()


@pytest.mark.parametrize("case", PERIODS)
def test_faulty_window(case: str, tmp_path: Path) -> None:
    rows, expected = PERIODS[case]
    faults = faults_of(write(tmp_path, tariffs=TARIFFS, tariff_periods=WINDOW + T2 + rows))
    assert told(faults, "tariff_periods") == expected


GAPS = {
    "nothing gives a price": (
        {},
        "missing value",
        "empty; give electricity_price_per_kwh, or windows or tiers that cover the year",
    ),
    "a window that leaves the night out": (
        {"tariff_periods": WINDOW + "T2,,,,6,22,0.1,,\n"},
        "gap between windows",
        "no price at 192 of the 576 times of a year (month, kind of day, hour), first in month 1, working days, hour 0; "
        "give the tariff a price of its own or close the gap",
    ),
    "tiers of the summer alone": (
        {"tariff_tiers": TIER + "T2,6-9,,0.1\n"},
        "gap between windows",
        "no price at 384 of the 576 times of a year (month, kind of day, hour), first in month 1, working days, hour 0; "
        "give the tariff a price of its own or close the gap",
    ),
}


@pytest.mark.parametrize("case", GAPS)
def test_gap(case: str, tmp_path: Path) -> None:
    """By hand: 12 months x 2 kinds of day x 8 hours of the night are 192, 8 x 2 x 24 of the rest of the year 384."""
    tables, rule, message = GAPS[case]
    faults = faults_of(write(tmp_path, tariffs=TARIFFS, **tables))
    expected = [(3, "electricity_price_per_kwh", rule, None, message)]
    assert faults.select("row", "column", "rule", "value", "message").rows() == expected


TIERS = {
    "no last block": (
        "T2,,1000,0.1\nT2,,5000,0.2\n",
        [
            (
                3,
                "up_to_kwh",
                "no last block",
                "5000",
                "no block follows in month 1; add a row for the rest, with up_to_kwh empty",
            )
        ],
    ),
    "blocks that end together": (
        "T2,,1000,0.1\nT2,3,1000,0.2\nT2,,,0.3\n",
        [
            (row, "up_to_kwh", "blocks overlap", "1000", "another block ends here too in month 3; keep one of them")
            for row in (2, 3)
        ],
    ),
    "no months": ("T2,summer,,0.1\n", [(2, "months", "not months", "summer", NO_MONTHS)]),
}


@pytest.mark.parametrize("case", TIERS)
def test_faulty_tiers(case: str, tmp_path: Path) -> None:
    rows, expected = TIERS[case]
    faults = faults_of(write(tmp_path, tariffs=TARIFFS, tariff_tiers=TIER + rows))
    assert told(faults, "tariff_tiers") == expected


def test_a_month_is_billed_by_tiers_or_by_windows(tmp_path: Path) -> None:
    tables = {"tariff_periods": WINDOW + "T2,,6-9,,12,18,0.3,,\n", "tariff_tiers": TIER + "T2,8-5,,0.1\n"}
    faults = faults_of(write(tmp_path, tariffs=TARIFFS, **tables))
    message = "row 2 of tariff_periods has a price for month 8; bill a month by tiers or by windows"
    assert told(faults, "tariff_tiers") == [(2, "months", "tiers and windows", "T2", message)]


def test_a_window_at_fault_takes_its_tariff_and_its_sites_along(tmp_path: Path) -> None:
    """A tariff that lost a window would bill the wrong amount without a word."""
    tables = {"tariff_periods": WINDOW + T2 + "T1,,9-Jun,,,,0.2,,\n", "sites": sites({"tariff_id": "T2"})}
    portfolio = read_portfolio(write(tmp_path, tariffs=TARIFFS, **tables))
    assert portfolio.sites["site_id"].to_list() == ["B"]
    assert portfolio.tariffs["tariff_id"].to_list() == ["T2"]
    assert portfolio.tariff_periods["tariff_id"].to_list() == ["T2"]
    told = portfolio.faults.filter(pl.col("table") != "tariff_periods").select("table", "row", "message").rows()
    assert told == [
        ("sites", 2, "its row of the tariffs table is rejected; correct that row first"),
        ("tariffs", 2, "row 3 of tariff_periods is at fault; correct it first"),
    ]
    assert set(portfolio.rejects["table"]) == {"sites", "tariffs", "tariff_periods"}


def test_fuel_with_a_price_in_every_month_needs_none_of_its_own(tmp_path: Path) -> None:
    """A site that burns fuel is only rejected where some month has no price."""
    monthly = "T1,,11-3,,,,,,0.05\nT1,,4-10,,,,,,0.03\nT2,,11-3,,,,,,0.05\n"
    tables = {
        "tariffs": "tariff_id,electricity_price_per_kwh\nT1,0.12\nT2,0.12\n",
        "tariff_periods": WINDOW + monthly,
        "sites": sites({"heating_source": "fuel"}, {"heating_source": "fuel", "tariff_id": "T2"}),
    }
    faults = read_portfolio(write(tmp_path, **tables)).faults
    assert faults.select("site_id", "rule", "value").rows() == [("C", "no fuel price", "T2")]


def test_a_file_of_tariffs_alone(tmp_path: Path) -> None:
    folder = write(tmp_path, tariffs=TARIFFS.replace("T2,", "T2,0.1"), tariff_periods=WINDOW + T2)
    read = read_tariffs(folder / "tariffs.csv", "USD")
    assert read.tariffs["tariff_id"].to_list() == ["T1", "T2"]
    assert read.periods.is_empty()
    assert read.notes == ("tariff_periods.csv beside tariffs.csv is not read; give the folder to have it read too",)


@pytest.mark.parametrize("source", ["nowhere", "notes.txt", "."])
def test_no_tariffs_to_be_found(source: str, tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("0.12")
    message = faults_of(tmp_path / source)["message"].to_list()
    assert len(message) == 1
    assert message[0].endswith(
        ("; give tariffs.csv, or the folder that holds it", "; add tariffs.csv: what energy costs")
    )


@pytest.mark.parametrize(
    ("text", "months"),
    [
        ("6-9", [6, 7, 8, 9]),
        ("6 to 9", [6, 7, 8, 9]),
        ("11-2, 5", [1, 2, 5, 11, 12]),
        ("12-1", [1, 12]),
        ("1-12", list(range(1, 13))),
        ("07", [7]),
        ("7-7", [7]),
        ("", None),
        ("0-3", None),
        ("jun-sep", [6, 7, 8, 9]),
        ("June to September", [6, 7, 8, 9]),
        ("Nov – Feb", [1, 2, 11, 12]),
        ("Jan, Apr and 6-7", [1, 4, 6, 7]),
        ("all year", list(range(1, 13))),
        ("9-Jun", None),
        ("June-9", None),
        ("summer", None),
        ("6-", None),
    ],
)
def test_months(text: str, months: list[int] | None) -> None:
    assert calendar.months(text) == months
