"""Prices in a wrong unit are told, and prices as people write them are read.

Ranges are those the notes promise; factors are those of NIST Special Publication 811 (therm 105.4804 MJ, 10^6 Btu 1055.056 MJ)
and, for volumes of gas, 1,036 Btu per cubic foot [EIA, heat content of natural gas delivered, from memory].
"""

from pathlib import Path

import polars as pl
import pytest

from screener.errors import ContractError
from screener.tables import read_portfolio, read_tariffs
from tests.tables.portfolios import sites, write

HEAD = "tariff_id,electricity_price_per_kwh,demand_price_per_kw,fuel_price_per_kwh\n"
# column, what is typed, what it was meant as, and what the note proposes
WRONG = {
    "per MMBtu as per therm": ("fuel_price_per_therm", "9.5", "per MMBtu (0.0324)"),
    "per therm as per kWh": ("fuel_price_per_kwh", "1.2", "per therm (0.041)"),
    "per MMBtu as per kWh": ("fuel_price_per_kwh", "1.9", "per therm (0.0648)"),
    "per kWh as per therm": ("fuel_price_per_therm", "0.04", "per kWh (0.04)"),
    "per Mcf as per therm": ("fuel_price_per_therm", "11", "per Mcf (0.0362)"),
    "cents as dollars, cheap": ("electricity_price_per_kwh", "1.9", None),
    "demand in cents": ("demand_price_per_kw", "1250", "in cents (12.5)"),
    "demand of a year": ("demand_price_per_kw", "144", "per year (12)"),
    "tenfold": ("electricity_price_per_kwh", "0.0124", None),
}


def tariff_of(column: str, text: str) -> str:
    cells = {"electricity_price_per_kwh": "0.12", "demand_price_per_kw": "", "fuel_price_per_kwh": ""} | {column: text}
    return f"tariff_id,{','.join(cells)}\nT1,{','.join(cells.values())}\n"


@pytest.mark.parametrize("case", WRONG)
def test_a_price_in_a_wrong_unit_is_told(case: str, tmp_path: Path) -> None:
    column, text, proposed = WRONG[case]
    read = read_tariffs(write(tmp_path, tariffs=tariff_of(column, text)), "USD")
    mine = [note for note in read.notes if note.startswith(f"tariffs: {column} {text} in row 2")]
    assert len(mine) == 1
    assert "is unusual" in mine[0]
    assert proposed is None or proposed in mine[0]


@pytest.mark.parametrize(
    ("column", "text", "way_out"),
    [
        ("electricity_price_per_kwh", "124", "if it is per MWh, divide it by 1000"),
        ("electricity_price_per_kwh", "12.4", "if it is in cents, divide it by 100"),
        ("fuel_price_per_kwh", "8.5", "if it is per MMBtu, divide it by 293.071"),
        ("fuel_price_per_therm", "95", "if it is in cents per therm, divide it by 100"),
    ],
)
def test_a_price_that_cannot_be_is_refused_with_the_likely_unit(
    column: str, text: str, way_out: str, tmp_path: Path
) -> None:
    with pytest.raises(ContractError) as caught:
        read_tariffs(write(tmp_path, tariffs=tariff_of(column, text)), "USD")
    fault = caught.value.faults.row(0, named=True)
    assert (fault["column"], fault["rule"], fault["value"]) == (column, "too large", text)
    assert way_out in fault["message"]


def test_usual_prices_and_other_money_raise_no_note(tmp_path: Path) -> None:
    usual = write(tmp_path / "usual", tariffs=HEAD + "T1,0.126,12,0.035\n")
    assert read_tariffs(usual, "USD").notes == ()
    yen = write(tmp_path / "yen", tariffs=HEAD + "T1,25,1800,9\n")
    assert read_tariffs(yen, "JPY").notes == ()


def test_fuel_above_electricity_is_told(tmp_path: Path) -> None:
    notes = read_tariffs(write(tmp_path, tariffs=HEAD + "T1,0.06,,0.09\n"), "USD").notes
    assert any("fuel of T1 costs 0.09 per kWh, more than its electricity (0.06)" in note for note in notes)


def test_tariffs_that_charge_nothing_or_nobody_are_told(tmp_path: Path) -> None:
    tariffs = HEAD + "T1,0,0,0\nT2,0.1,,0.03\nT3,0.1,,0.03\n"
    portfolio = read_portfolio(write(tmp_path, sites=sites({"tariff_id": "T1"}, {"tariff_id": "T2"}), tariffs=tariffs))
    assert "tariffs: every price of T1 is zero or empty: what it bills costs nothing" in portfolio.notes
    assert "tariffs: no site is on T3" in portfolio.notes


def test_a_currency_that_is_not_named_is_told(tmp_path: Path) -> None:
    folder = write(tmp_path, sites=sites({"tariff_id": "T1"}), tariffs=HEAD + "T1,0.1,,0.03\n")
    assert "portfolio.toml names no currency: prices are taken for USD" in read_portfolio(folder).notes
    (folder / "portfolio.toml").write_text('currency = "EUR"\n')
    assert not [note for note in read_portfolio(folder).notes if "currency" in note]


def test_prices_in_another_currency_are_refused(tmp_path: Path) -> None:
    with pytest.raises(ContractError) as caught:
        read_tariffs(write(tmp_path, tariffs=HEAD + "T1,$0.12,,0.03\nT2,€0.12,,0.04 GBP\n"), "USD")
    told = caught.value.faults.select("row", "column", "rule", "value").rows()
    assert told == [
        (3, "electricity_price_per_kwh", "mixed currency", "€0.12"),
        (3, "fuel_price_per_kwh", "mixed currency", "0.04 GBP"),
    ]


@pytest.mark.parametrize(
    ("column", "hint"),
    [
        ("fuel_price_per_dth", "fuel_price_per_kwh or fuel_price_per_therm or fuel_price_per_mmbtu"),
        ("fuel_price_per_gj", "fuel_price_per_kwh or fuel_price_per_therm"),
        ("electricity_price_per_wh", "electricity_price_per_kwh or electricity_price_per_mwh"),
    ],
)
def test_no_column_of_another_unit_is_suggested(column: str, hint: str, tmp_path: Path) -> None:
    tariffs = f"tariff_id,{column}\nT1,8\n"
    with pytest.raises(ContractError) as caught:
        read_tariffs(write(tmp_path, tariffs=tariffs), "USD")
    faults = caught.value.faults.filter(pl.col("column") == column)
    assert "did you mean" not in faults["message"][0]
    assert hint in faults["message"][0]


def test_a_misspelt_unit_is_still_recognised(tmp_path: Path) -> None:
    with pytest.raises(ContractError, match='did you mean "fuel_price_per_therm"'):
        read_tariffs(write(tmp_path, tariffs="tariff_id,fuel_price_per_thrm\nT1,8\n"), "USD")


@pytest.mark.parametrize(
    ("column", "text", "per_kwh"),
    [
        ("electricity_price_per_kwh", "$0.124", 0.124),
        ("electricity_price_per_kwh", "12.4 c", 0.124),
        ("electricity_price_per_kwh", "12.4¢/kWh", 0.124),
        ("electricity_price_per_kwh", "0.124 USD per kWh", 0.124),
        ("electricity_price_per_mwh", "124", 0.124),
        ("fuel_price_per_mmbtu", "10", 10 / (1055.05585262e6 / 3.6e6)),
        ("fuel_price_per_mcf", "10", 10 / (1.036 * 1055.05585262e6 / 3.6e6)),
        ("fuel_price_per_ccf", "1", 1 / (0.1036 * 1055.05585262e6 / 3.6e6)),
        ("fuel_price_per_therm", "1.10 $/therm", 1.10 / (105.4804 / 3.6)),
    ],
)
def test_prices_as_utilities_write_them(column: str, text: str, per_kwh: float, tmp_path: Path) -> None:
    other = "fuel_price_per_kwh" if column.startswith("elec") else "electricity_price_per_kwh"
    tariffs = f"tariff_id,{column},{other}\nT1,{text},0.05\n"
    values = read_tariffs(write(tmp_path, tariffs=tariffs), "USD").tariffs
    name = "electricity_price_per_kwh" if column.startswith("elec") else "fuel_price_per_kwh"
    assert values[name].item() == pytest.approx(per_kwh, rel=1e-9)


def test_windows_as_utilities_write_them(tmp_path: Path) -> None:
    """The same tariff, in the words of a rate sheet and in plain figures."""
    head = "tariff_id,months,day_kind,from_hour,to_hour,electricity_price_per_kwh\n"
    words = "T1,Jun–Sep,Mon-Fri,12 PM,6:00 pm,$0.21\nT1,October to May,weekend,noon,18:00,15 c\n"
    plain = "T1,6-9,working,12,18,0.21\nT1,10-5,other,12,18,0.15\n"
    tariffs = HEAD + "T1,0.1,,0.03\n"
    read = [
        read_tariffs(write(tmp_path / name, tariffs=tariffs, tariff_periods=head + rows), "USD").periods
        for name, rows in (("words", words), ("plain", plain))
    ]
    assert read[0].drop("months").equals(read[1].drop("months"))


def test_a_price_per_another_unit_in_the_cell_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ContractError) as caught:
        read_tariffs(write(tmp_path, tariffs=HEAD + "T1,0.1,,1.1/therm\n"), "USD")
    assert caught.value.faults["rule"].to_list() == ["not a number"]


def test_fuel_above_electricity_is_told_across_tables_and_months(tmp_path: Path) -> None:
    """Electricity 0.05, and 0.04 more in a charge; fuel 0.03, and from a window 0.1 in two months."""
    periods = "tariff_id,months,fuel_price_per_kwh\nT1,1-2,0.1\nT2,1-2,0.08\n"
    charges = "tariff_id,charge,electricity_price_per_kwh\nT1,rider,0.04\nT2,rider,0.04\n"
    tariffs = HEAD + "T1,0.05,,0.03\nT2,0.05,,0.03\n"
    folder = write(tmp_path, tariffs=tariffs, tariff_periods=periods, tariff_charges=charges)
    told = [note for note in read_tariffs(folder, "USD").notes if "more than its electricity" in note]
    assert len(told) == 1
    assert "fuel of T1 costs 0.1 per kWh in month 1, 2, more than its electricity (0.09)" in told[0]


@pytest.mark.parametrize(
    ("header", "row", "told"),
    [
        ("charge,electricity_price_per_kwh", "energy,0.4", "electricity of T1 adds up to 0.52 USD/kWh"),
        (
            "electricity_percent",
            "0.065",
            "electricity_percent 0.065 in row 2 is unusual, 0.2 to 40 per cent is usual; if it is a share, write 6.5",
        ),
        ("fuel_percent", "65", "fuel_percent 65 in row 2 is unusual"),
        ("demand_price_per_kw,ratchet_percent", "8,0.8", "if it is a share, write 80"),
        ("fuel_demand_price_per_kw", "25", "it would be usual per therm_h (0.853)"),
    ],
)
def test_charges_in_a_wrong_unit_are_told(header: str, row: str, told: str, tmp_path: Path) -> None:
    tariffs = "tariff_id,electricity_price_per_kwh\nT1,0.12\n"
    folder = write(tmp_path, tariffs=tariffs, tariff_charges=f"tariff_id,{header}\nT1,{row}\n")
    assert [note for note in read_tariffs(folder, "USD").notes if told in note]


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ("electricity_price", 'did you mean "electricity_price_per_kwh" or "electricity_price_per_mwh"?'),
        ("electricity_price_cents_per_kwh", "not a unit that tariffs knows"),
        ("electricity_lb_co2_per_kwh", "not a unit that tariffs knows"),
    ],
)
def test_no_unit_is_put_into_a_heading(typed: str, told: str, tmp_path: Path) -> None:
    with pytest.raises(ContractError) as caught:
        read_tariffs(write(tmp_path, tariffs=f"tariff_id,demand_price_per_kw,{typed}\nT1,5,0.5\n"), "USD")
    faults = caught.value.faults.filter(pl.col("column") == typed)
    assert told in faults["message"].item()
