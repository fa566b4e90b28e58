"""Hourly prices as a tariff, worked by hand, and what is no year of prices."""

from datetime import datetime, timedelta
from pathlib import Path

import polars as pl
import pytest
from typer.testing import CliRunner

from screener import rate_sheets
from screener.commands import app
from screener.explain import tariff

NAME = "electricity_price_per_kwh"


def prices(first: datetime, hours: int = 8760) -> list[tuple[datetime, float]]:
    """0.10 but for 17 h of 4 July: 1.20."""
    times = [first + timedelta(hours=hour) for hour in range(hours)]
    return [(time, 1.20 if (time.month, time.day, time.hour) == (7, 4, 17) else 0.10) for time in times]


def written(folder: Path, rows: list[tuple[datetime, float]], name: str = NAME, factor: float = 1.0) -> Path:
    file = folder / "spot.csv"
    lines = [f"{time:%Y-%m-%d %H:%M},{price * factor:.6f}" for time, price in rows]
    file.write_text("\n".join([f"time,{name}", *lines]) + "\n", encoding="utf-8")
    return file


@pytest.mark.parametrize(("name", "factor"), [(NAME, 1.0), ("electricity_price_per_mwh", 1000.0)])
@pytest.mark.parametrize(
    ("first", "hours", "days"),
    [
        (datetime(2018, 1, 1), 8760, ("Mon-Fri", 22)),  # 4 July 2018 is a Wednesday, one of 22 working days
        (datetime(2015, 1, 1), 8760, ("Sat-Sun", 8)),  # of 2015 a Saturday, one of 8 days of the weekends
        (datetime(2020, 1, 1), 8784, ("Sat-Sun", 8)),  # of 2020 a Saturday, after a 29 February
    ],
)
def test_the_mean_of_days_alike(
    tmp_path: Path, name: str, factor: float, first: datetime, hours: int, days: tuple[str, int]
) -> None:
    """1.20 on one of n days and 0.10 on the others: (1.20 + 0.10 (n - 1)) / n; nothing else differs from 0.10."""
    kind, count = days
    sheet = rate_sheets.read(written(tmp_path, prices(first, hours), name, factor)).whole[0]
    dear = [line for line in sheet.lines if line[NAME] != 0.10]
    assert [(line["months"], line["days"], line["from_hour"], line["to_hour"]) for line in dear] == [
        ("7", kind, 17, 18)
    ]
    assert dear[0][NAME] == pytest.approx((1.20 + 0.10 * (count - 1)) / count, abs=1e-8)
    assert len(sheet.lines) == 576


def test_a_steady_load_pays_the_mean_of_all_hours(tmp_path: Path) -> None:
    """100 kW at 0.10 in July's 744 hours: 7,440.00, and 1.10 x 100 = 110.00 more on the 4th at 17 h."""
    out = tmp_path / "out"
    source = written(tmp_path, prices(datetime(2018, 1, 1)))
    done = CliRunner().invoke(app, ["tariffs", "import", str(source), "--out", str(out)])
    assert done.exit_code == 0, done.output
    bills = {bill["month"]: bill["energy_cost"] for bill in tariff.of_folder(out, "spot")["bills"]}
    assert bills[7] == pytest.approx(7550.00, abs=0.01)
    assert bills[2] == pytest.approx(672 * 10.0, abs=0.01)
    remarks = pl.read_csv(out / "imported.csv")["remarks"][0]
    # 17 h of 22 days in July: |1.20 - 0.15| + 21 x |0.10 - 0.15| = 2.10, over 8,760 hours
    assert f"{2.10 / 8760:.4f} per kWh" in remarks


def test_what_is_no_year_of_prices_is_told(tmp_path: Path) -> None:
    rows = prices(datetime(2018, 1, 1))
    short = rate_sheets.read(written(tmp_path, rows[:-1])).sheets[0]
    assert short.lost == ["8,759 hours; hourly prices are 8,760 from 1 January, 0 h, on"]
    late = rate_sheets.read(written(tmp_path, prices(datetime(2018, 1, 1, 1)))).sheets[0]
    assert late.lost[0].startswith('row 25, time, "2018-01-02 00:00": not an hour of 01-01')
    file = written(tmp_path, rows)
    file.write_text(file.read_text().replace("2018-01-01 03:00,0.100000", "2018-01-01 03:00,n/a"), encoding="utf-8")
    assert rate_sheets.read(file).sheets[0].lost == [f'row 5, {NAME}, "n/a": no price; 1 such rows']
