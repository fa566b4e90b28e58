"""Rows of a rate sheet that say nothing, too much, or what no month has, and the very words their authors are told."""

from pathlib import Path

import pytest

from screener.errors import ContractError
from screener.tables import read_tariffs
from tests.tables.portfolios import write

TARIFFS = "tariff_id,electricity_price_per_kwh\nT1,0.12\n"
# the header and a row of tariff_charges; column, rule and value of its fault, and a part of the message
FAULTS = {
    "no price": ("charge,months", "peak,6-9", None, "no price", None, "give a price in it"),
    "two prices": (
        "electricity_price_per_kwh,demand_price_per_kw",
        "0.1,5",
        None,
        "two prices",
        "electricity_price_per_kwh, demand_price_per_kw",
        "write a row for each",
    ),
    "months": ("months,demand_price_per_kw", "summer,5", "months", "not months", "summer", "Nov-Feb"),
    "days": ("days,demand_price_per_kw", "M-F,5", "days", "not days", "M-F", "Mon-Fri"),
    "half a window": (
        "from_hour,demand_price_per_kw",
        "12,5",
        "from_hour, to_hour",
        "half a window",
        "12 to ",
        "give both",
    ),
    "empty window": (
        "from_hour,to_hour,demand_price_per_kw",
        "12,12 PM,5",
        "from_hour, to_hour",
        "empty window",
        "12 to 12 PM",
        "the whole day",
    ),
    "empty block": ("above,up_to,demand_price_per_kw", "50,50,5", "above, up_to", "empty block", "50 to 50", "before"),
    "a tax by the hour": (
        "from_hour,to_hour,electricity_percent",
        "8,12,5",
        None,
        "goes by the month",
        "electricity_percent",
        "leave days, hours and blocks",
    ),
    "a ratchet of energy": (
        "electricity_price_per_kwh,ratchet_percent",
        "0.1,80",
        "ratchet_percent",
        "no ratchet",
        "80",
        "demand_price_per_kw",
    ),
    "a unit of something else": (
        "up_to,block_unit,demand_price_per_kw",
        "50,therm,5",
        "block_unit",
        "wrong unit",
        "therm",
        "use kw",
    ),
    "cents": (
        "electricity_price_per_kwh",
        "12.4",
        "electricity_price_per_kwh",
        "too large",
        "12.4",
        "if it is in cents, divide it by 100",
    ),
}


@pytest.mark.parametrize("case", FAULTS)
def test_faulty_charge(case: str, tmp_path: Path) -> None:
    header, row, column, rule, value, message = FAULTS[case]
    with pytest.raises(ContractError) as caught:
        read_tariffs(write(tmp_path, tariffs=TARIFFS, tariff_charges=f"tariff_id,{header}\nT1,{row}\n"), "USD")
    mine = caught.value.faults.filter(table="tariff_charges")
    assert mine.select("row", "column", "rule", "value").rows() == [(2, column, rule, value)]
    assert message in mine["message"].item()
    assert caught.value.faults.filter(table="tariffs")["rule"].to_list() == ["incomplete tariff"]
