"""Rate sheets of others: what is imported, what is not and why, and that an independent biller comes to the same bills.

The sheets beside the checkout are those of an open database (README there). `WHOLE_YEAR=1` bills all of them, all months.
"""

import json
import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import polars as pl
import pytest
from typer.testing import CliRunner

from screener import calendar, outputs, pipeline, price, rate_sheets, tables
from screener.commands import app
from screener.errors import UsageError
from tests import load_shapes, sheet_biller
from tests.money_cases import DAY_KIND
from tests.report.reading import drawing, shapes
from tests.tables.portfolios import sites, write

SHARED = Path(__file__).parents[2] / "shared" / "tariffs"
EVERY = 1 if os.environ.get("WHOLE_YEAR") else 23
HEADER = (
    "label,utility,type,assessed,period,basic_charge_limit (imperial),basic_charge_limit (metric),month_start,month_end,"
    "hour_start,hour_end,weekday_start,weekday_end,charge (imperial),charge (metric),units,Notes\n"
)
INVENTED = HEADER + (
    'L1,electric,customer,,,,,,,,,,,30,30,$/month,"two\nlines"\n'
    ",electric,energy,,,0,0,1,12,0,24,0,6,0.07,0.07,$/kWh,\n"
    ",electric,demand,,maximum,0,0,1,12,0,24,0,6,5,5,$/kW,\n"
    ",electric,demand,,on-peak,0,0,6,9,12,18,0,4,9,9,$/kW,\n"
    ",gas,energy,,,0,0,1,12,0,24,0,6,1.1,0.388,$/therm or $/m3,\n"
)
CENT = 0.01

needs_sheets = pytest.mark.skipif(not SHARED.is_dir(), reason="the open rate sheets are not beside the checkout")


def hours_of(shape: str) -> pl.DataFrame:
    """A load as a ledger of one strategy has it, hour after hour."""
    hours = list(load_shapes.hours(shape))
    columns = {
        "month": [hour.month for hour in hours],
        "day_kind": [calendar.WEEK[hour.weekday] for hour in hours],
        "hour": [hour.hour for hour in hours],
        "hours": [1.0] * len(hours),
        "a.electricity_kwh": [hour.electricity for hour in hours],
        "a.fuel_kwh": [hour.fuel for hour in hours],
        "a.peak_kw": [hour.electricity for hour in hours],
        "a.fuel_peak_kw": [hour.fuel for hour in hours],
    }
    return pl.DataFrame(columns).cast({"month": pl.Int8, "day_kind": pl.Enum(calendar.WEEK), "hour": pl.Int8})


def by_slot(hours: pl.DataFrame) -> pl.DataFrame:
    """The hours as a run keeps them."""
    working = pl.col("day_kind").is_in(calendar.WEEK[:5])
    kind = pl.when(working).then(pl.lit("working")).otherwise(pl.lit("other")).cast(DAY_KIND)
    hours = hours.with_columns(day_kind=kind)
    amounts = pl.col("hours", "a.electricity_kwh", "a.fuel_kwh").sum(), pl.col("a.peak_kw", "a.fuel_peak_kw").max()
    return hours.group_by("month", "day_kind", "hour").agg(amounts).sort("month", "day_kind", "hour")


def bills(
    folder: Path, hours: pl.DataFrame, ids: list[str], in_order: bool
) -> dict[tuple[str, int], Mapping[str, Any]]:
    read = tables.read_tariffs(folder, "USD")
    kinds = hours["day_kind"].dtype.categories.to_list()  # type: ignore[attr-defined]
    rates = price.rates(**tables.of_rates(read.tables.__getitem__), kinds=tuple(kinds))
    where = pl.DataFrame({"site_id": ids, "tariff_id": ids}).with_columns(
        current_strategy=pl.lit(None, pl.String), annual_electricity_kwh=pl.lit(None, pl.Float64)
    )
    ledger = where.select("site_id").join(hours, how="cross", maintain_order="left_right")
    billed = price.bills(ledger, rates, where, in_order)
    return {(row["site_id"], row["month"]): row for row in billed.iter_rows(named=True)}


@pytest.fixture(scope="module")
def imported(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("imported")
    rate_sheets.write(rate_sheets.read(SHARED / "sheets.parquet"), folder)
    return folder


@needs_sheets
def test_nearly_all_sheets_are_imported_and_the_others_named(imported: Path) -> None:
    listed = pl.read_csv(imported / "imported.csv")
    assert listed.height == 668
    assert listed["imported"].mean() >= 0.98  # type: ignore[operator]
    assert listed.filter("imported")["lost"].null_count() == listed["imported"].sum()
    assert listed["lost"].null_count() == listed.height
    assert listed["remarks"].str.contains("single days").sum() > 1


@needs_sheets
@pytest.mark.parametrize("shape", load_shapes.SHAPES)
def test_bills_are_those_of_an_independent_biller(shape: str, imported: Path) -> None:
    sheets = pl.read_parquet(SHARED / "sheets.parquet").partition_by("sheet", as_dict=True, maintain_order=True)
    known = {*pl.read_csv(imported / "imported.csv").filter("imported")["sheet"]}
    ids = [name for (name,) in sheets if name in known][::EVERY]
    hours, apart = list(load_shapes.hours(shape)), []
    for first in range(0, len(ids), 40):
        mine = bills(imported, hours_of(shape), ids[first : first + 40], in_order=True)
        for name in ids[first : first + 40]:
            for month, bill in sheet_biller.bills(sheets[name,].to_dicts(), hours).items():
                row = mine[name, month]
                told = {part: row[f"{part}_cost"] or 0.0 for part in bill}
                apart += [
                    (name, month, part, told[part], bill[part]) for part in bill if abs(told[part] - bill[part]) > CENT
                ]
    assert not apart


@needs_sheets
def test_a_ledger_bills_the_same_but_for_blocks_together_with_hours(imported: Path) -> None:
    ids = pl.read_csv(imported / "tariffs.csv")["tariff_id"].to_list()[::EVERY]
    hours = hours_of("office")
    in_order, kept = bills(imported, hours, ids, True), bills(imported, by_slot(hours), ids, False)
    apart = {
        name
        for (name, month), row in kept.items()
        for part in price.COSTS
        if abs((row[part] or 0.0) - (in_order[name, month][part] or 0.0)) > CENT
    }
    remarks = pl.read_csv(imported / "imported.csv").filter(pl.col("sheet").is_in(apart))
    assert remarks["remarks"].str.contains("fills its blocks evenly|single days").all()


@needs_sheets
def test_the_published_form_and_the_table_of_all_say_the_same() -> None:
    table = {sheet.label: sheet for sheet in rate_sheets.read(SHARED / "sheets.parquet").sheets}
    raw = rate_sheets.read(SHARED / "raw").sheets
    assert len(raw) == len([*(SHARED / "raw").glob("*.csv")])
    shared = [sheet for sheet in raw if sheet.label in table]
    assert shared
    for sheet in shared:
        lines = [[*map(dict, each.lines)] for each in (sheet, table[sheet.label])]
        assert sorted(map(str, lines[0])) == sorted(map(str, lines[1]))


@needs_sheets
def test_importing_twice_gives_the_same_bytes(imported: Path, tmp_path: Path) -> None:
    rate_sheets.write(rate_sheets.read(SHARED / "sheets.parquet"), tmp_path)
    for name in ("tariffs.csv", "tariff_charges.csv", "imported.csv"):
        assert (tmp_path / name).read_bytes() == (imported / name).read_bytes()


def test_an_invented_sheet_by_hand(tmp_path: Path) -> None:
    """July, 100 kW day and night: 74,400 kWh x 0.07 = 5,208; 100 x 5 + 100 x 9 = 1,400; January without the 900."""
    source = tmp_path / "invented.csv"
    source.write_text(INVENTED, encoding="utf-8")
    rate_sheets.write(rate_sheets.read(source), tmp_path / "out")
    months = bills(tmp_path / "out", by_slot(hours_of("flat")), ["L1"], False)
    july, january = months["L1", 7], months["L1", 1]
    assert (july["energy_cost"], july["demand_cost"]) == (pytest.approx(5208.0), 1400.0)
    assert january["demand_cost"] == 500.0
    therms = 50 * 744 / (105.4804 / 3.6)
    assert january["fuel_cost"] == pytest.approx(1.1 * therms, abs=CENT)


LOST = {
    "half hours": ("1,12,0,15.5,0,6,5", "within an hour"),
    "days": ("1,12,0,24,0,7,5", "a window that is none"),
    "backwards": ("11,2,0,24,0,6,5", "ends before it begins"),
    "no price": ("1,12,0,24,0,6,", "no number"),
}


@pytest.mark.parametrize("case", LOST)
def test_what_tables_cannot_hold_is_told(case: str, tmp_path: Path) -> None:
    cells, reason = LOST[case]
    row = f",electric,demand,,x,0,0,{cells},,$/kW,\n"
    (tmp_path / "sheet.csv").write_text(INVENTED + row, encoding="utf-8")
    [sheet] = rate_sheets.read(tmp_path / "sheet.csv").sheets
    assert any(reason in lost for lost in sheet.lost)


def test_months_without_a_charge_for_gas_are_told(tmp_path: Path) -> None:
    seasonal = INVENTED.replace(",gas,energy,,,0,0,1,12,", ",gas,energy,,,0,0,1,10,")
    (tmp_path / "sheet.csv").write_text(seasonal, encoding="utf-8")
    [sheet] = rate_sheets.read(tmp_path / "sheet.csv").sheets
    assert sheet.remarks == ["no charge for gas in months 11-12: what is burnt then has no price"]


def test_daily_demand_and_unknown_units_are_told(tmp_path: Path) -> None:
    daily = ",electric,demand,daily,x,0,0,1,12,0,24,0,6,5,5,$/kW,\n"
    unit = ",gas,energy,,,0,0,1,12,0,24,0,6,5,5,$/MMBtu,\n"
    (tmp_path / "sheet.csv").write_text(INVENTED + daily + unit, encoding="utf-8")
    [sheet] = rate_sheets.read(tmp_path / "sheet.csv").sheets
    assert len(sheet.lost) == 1
    assert "$/MMBtu" in sheet.lost[0]
    assert any("demand by the day" in remark for remark in sheet.remarks)
    assert [line.get("demand_assessed") for line in sheet.lines if line["charge"] == "electric daily demand x"] == [
        "daily"
    ]


def database_item() -> dict[str, Any]:
    """A rate in the form of the open database: two periods of energy, the second in tiers, demand on peak and of the month."""
    night_day = [0] * 8 + [1] * 12 + [0] * 4
    return {
        "label": "J1",
        "energyratestructure": [
            [{"rate": 0.05, "adj": 0.01}],
            [{"max": 10_000, "rate": 0.12, "unit": "kWh"}, {"rate": 0.10}],
        ],
        "energyweekdayschedule": [[0] * 24] * 5 + [night_day] * 4 + [[0] * 24] * 3,
        "energyweekendschedule": [[0] * 24] * 12,
        "demandratestructure": [[{"rate": 0.0}], [{"rate": 7.0}]],
        "demandweekdayschedule": [[0] * 24] * 5 + [night_day] * 4 + [[0] * 24] * 3,
        "demandweekendschedule": [[0] * 24] * 12,
        "demandrateunit": "kW",
        "flatdemandstructure": [[{"max": 60, "rate": 2.0}, {"rate": 3.0}]],
        "flatdemandmonths": [0] * 12,
        "fixedchargefirstmeter": 25,
        "fixedchargeunits": "$/month",
        "mincharge": 40,
        "minchargeunits": "$/month",
    }


def test_the_form_of_the_open_database_by_hand(tmp_path: Path) -> None:
    """January, 100 kW: 74,400 kWh x 0.06 = 4,464; demand 60 x 2 + 40 x 3 = 240. July 2018 has 22 weekdays: 22 x 12 x 100 =
    26,400 kWh of 74,400 by day, which take 26,400/74,400 of the first 10,000: 3,548.387 x 0.12 + 22,851.613 x 0.10 =
    2,710.968, and the other 48,000 x 0.06 = 2,880; on peak 100 x 7 beside 240."""
    (tmp_path / "rates.json").write_text(json.dumps({"items": [database_item()]}), encoding="utf-8")
    read = rate_sheets.read(tmp_path / "rates.json")
    assert not read.sheets[0].lost
    rate_sheets.write(read, tmp_path / "out")
    months = bills(tmp_path / "out", by_slot(hours_of("flat")), ["J1"], False)
    assert months["J1", 1]["energy_cost"] == pytest.approx(4464.0, abs=CENT)
    assert months["J1", 1]["demand_cost"] == 240.0
    assert months["J1", 7]["energy_cost"] == pytest.approx(2710.968 + 2880.0, abs=CENT)
    assert months["J1", 7]["demand_cost"] == 940.0


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ({"demandrateunit": "hp"}, "demand by the hp"),
        ({"coincidentratestructure": [[{"rate": 3}]]}, "highest load"),
        ({"energyratestructure": [[{"rate": 0.1, "max": 20, "unit": "kWh daily"}], [{"rate": 0.2}]]}, "kWh daily"),
        ({"energyweekdayschedule": [[9] * 24] * 12}, "names period 9"),
        ({"minchargeunits": "$/year"}, "mincharge"),
    ],
)
def test_what_of_the_database_the_tables_cannot_hold_is_told(
    change: dict[str, Any], reason: str, tmp_path: Path
) -> None:
    (tmp_path / "rates.json").write_text(json.dumps([database_item() | change]), encoding="utf-8")
    lost = " ".join(rate_sheets.read(tmp_path / "rates.json").sheets[0].lost)
    assert reason in lost


def test_the_commands(tmp_path: Path) -> None:
    (tmp_path / "sheets").mkdir()
    (tmp_path / "sheets" / "invented.csv").write_text(INVENTED, encoding="utf-8")
    (tmp_path / "sheets" / "rates.json").write_text(json.dumps(database_item()), encoding="utf-8")
    (tmp_path / "sheets" / "other.csv").write_text("a,b\n1,2\n", encoding="utf-8")
    out = tmp_path / "out"
    done = CliRunner().invoke(app, ["tariffs", "import", str(tmp_path / "sheets"), "--out", str(out), "--json"])
    assert done.exit_code == 0, done.output
    assert json.loads(done.stdout)["imported"] == 2
    again = CliRunner().invoke(app, ["tariffs", "import", str(tmp_path / "sheets"), "--out", str(out)])
    assert again.exit_code == 2
    shown = CliRunner().invoke(app, ["tariffs", "show", "L1", "--tariffs", str(out), "--month", "7"])
    assert shown.exit_code == 0, shown.output
    assert "Bill of July for 100 kW round the clock: 74,400 kWh, highest 100.0 kW" in shown.stdout
    assert shown.stdout.rstrip().endswith("6,638.00")  # 5,208 + 1,400 + 30
    as_json = CliRunner().invoke(app, ["tariffs", "show", "J1", "--tariffs", str(out), "--json"])
    assert [bill["month"] for bill in json.loads(as_json.stdout)["bills"]] == list(range(1, 13))
    nobody = CliRunner().invoke(app, ["tariffs", "show", "L9", "--tariffs", str(out)])
    assert nobody.exit_code == 2
    assert "it has L1, J1" in nobody.output


def test_imported_tariffs_price_a_run_to_the_same_bytes(tmp_path: Path) -> None:
    """Imported and run; priced anew from the same sheets imported once more; and from the tables that the run kept."""
    (tmp_path / "sheets").mkdir()
    (tmp_path / "sheets" / "invented.csv").write_text(INVENTED, encoding="utf-8")
    (tmp_path / "sheets" / "rates.json").write_text(json.dumps(database_item()), encoding="utf-8")
    for name in ("portfolio", "again"):
        rate_sheets.write(rate_sheets.read(tmp_path / "sheets"), tmp_path / name)
    rows = sites({"tariff_id": "J1", "heating_source": "electric"}).replace('"T1"', '"L1"')
    (tmp_path / "portfolio" / "sites.csv").write_text(rows, encoding="utf-8")
    pipeline.run(tmp_path / "portfolio", tmp_path / "run")
    run = outputs.open_run(tmp_path / "run")
    (tmp_path / "kept").mkdir()
    for name in tables.TARIFF_TABLES:
        run.input(name).write_csv(tmp_path / "kept" / f"{name}.csv")
    for name in ("again", "kept"):
        pipeline.reprice(tmp_path / "run", tmp_path / name, tmp_path / f"{name} run")
        for file in ("strategies.parquet", "bills.parquet", "ranking.parquet"):
            assert (tmp_path / f"{name} run" / file).read_bytes() == (tmp_path / "run" / file).read_bytes()


def test_gas_demand_asks_for_a_ledger_that_has_it(tmp_path: Path) -> None:
    """A run without such a tariff keeps no highest hours of fuel; one with it bills them."""
    plain = write(tmp_path / "plain", tariffs="tariff_id,electricity_price_per_kwh,fuel_price_per_kwh\nT1,0.1,0.04\n")
    demand = "tariff_id,charge,fuel_demand_price_per_kw\nT1,gas demand,0.5\n"
    with_demand = write(tmp_path / "demand", tariff_charges=demand, tariffs=(plain / "tariffs.csv").read_text())
    pipeline.run(plain, tmp_path / "plain run")
    with pytest.raises(UsageError, match="keeps no highest hours of fuel, which T1 charges"):
        pipeline.reprice(tmp_path / "plain run", with_demand, tmp_path / "out")
    pipeline.run(with_demand, tmp_path / "demand run")
    ledger = pl.read_parquet(tmp_path / "demand run" / "ledger.parquet")
    without, charged = (
        pl.read_parquet(tmp_path / f"{name} run" / "strategies.parquet") for name in ("plain", "demand")
    )
    peaks = ledger.group_by("month").agg(pl.col("temperature_only.fuel_peak_kw").max())
    more = 0.5 * peaks["temperature_only.fuel_peak_kw"].sum()
    cost = [each.filter(strategy="temperature_only")["fuel_cost"].item() for each in (without, charged)]
    assert more > 1
    assert cost[1] - cost[0] == pytest.approx(more, abs=0.02)


def test_a_load_of_ones_own(tmp_path: Path) -> None:
    (tmp_path / "invented.csv").write_text(INVENTED, encoding="utf-8")
    rate_sheets.write(rate_sheets.read(tmp_path / "invented.csv"), tmp_path / "out")
    load = tmp_path / "load.csv"
    pl.DataFrame({"electricity_kw": [10.0] * 8760}).write_csv(load)
    asked = ["tariffs", "show", "L1", "--tariffs", str(tmp_path / "out"), "--load", str(load), "--json", "--month", "2"]
    [bill] = json.loads(CliRunner().invoke(app, asked).stdout)["bills"]
    assert bill["total"] == pytest.approx(10 * 672 * 0.07 + 10 * 5 + 30)
    tariffs = write(tmp_path / "plain", tariffs="tariff_id,electricity_price_per_kwh\nT1,0.1\n")
    pl.DataFrame({"electricity_kw": [10.0] * 8760, "fuel_kw": [2.0] * 8760}).write_csv(load)
    burnt = ["tariffs", "show", "T1", "--tariffs", str(tariffs), "--load", str(load), "--month", "2"]
    assert "burns 1,344 kWh of fuel, which the tariff has no price for" in CliRunner().invoke(app, burnt).stdout
    pl.DataFrame({"electricity_kw": [10.0] * 12}).write_csv(load)
    refused = CliRunner().invoke(app, asked)
    assert refused.exit_code == 2
    assert "8,760 hours" in refused.output


def test_single_days_are_shown_exactly(tmp_path: Path) -> None:
    """Of January, which begins on a Monday, 19 days are Monday to Thursday: 100 kW x 24 h x 19 x 0.02 + 74,400 x 0.07."""
    days = INVENTED + ",electric,energy,,extra,0,0,1,12,0,24,0,3,0.02,0.02,$/kWh,\n"
    (tmp_path / "invented.csv").write_text(days, encoding="utf-8")
    [sheet] = rate_sheets.read(tmp_path / "invented.csv").sheets
    assert "single days" in sheet.remarks[0]
    rate_sheets.write(rate_sheets.read(tmp_path / "invented.csv"), tmp_path / "out")
    asked = ["tariffs", "show", "L1", "--tariffs", str(tmp_path / "out"), "--month", "1"]
    shown = json.loads(CliRunner().invoke(app, [*asked, "--json"]).stdout)
    of_january = {row["day_kind"]: row["prices"][0] for row in shown["prices"] if row["month"] == 1}
    assert of_january == {"mon-thu": 0.09, "fri": 0.07, "other": 0.07}
    assert shown["bills"][0]["energy_cost"] == pytest.approx(2400 * 19 * 0.02 + 74_400 * 0.07)
    assert "mon-thu" in CliRunner().invoke(app, asked).stdout


def test_no_rate_sheets_are_told(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="holds no rate sheets"):
        rate_sheets.read(tmp_path)
    (tmp_path / "a.csv").write_text("a,b\n1,2\n", encoding="utf-8")
    with pytest.raises(UsageError, match="holds no rate sheets"):
        rate_sheets.read(tmp_path / "a.csv")


def test_the_picture_of_a_tariff_has_every_hour_at_its_price(tmp_path: Path) -> None:
    (tmp_path / "rates.json").write_text(json.dumps([database_item()]), encoding="utf-8")
    rate_sheets.write(rate_sheets.read(tmp_path / "rates.json"), tmp_path / "out")
    picture = tmp_path / "picture.svg"
    asked = ["tariffs", "show", "J1", "--tariffs", str(tmp_path / "out"), "--picture"]
    assert CliRunner().invoke(app, [*asked, str(picture)]).exit_code == 0
    bars = shapes(drawing(picture.read_text(encoding="utf-8")), "data-price")
    told = {(bar["data-day-kind"], bar["data-months"], bar["data-from-hour"]): float(bar["data-price"]) for bar in bars}
    year = ",".join(map(str, range(1, 13)))
    seasons = ",".join(map(str, (1, 2, 3, 4, 5, 10, 11, 12)))
    summer = {("working", "6,7,8,9", hour): price for hour, price in (("0", 0.06), ("8", 0.12), ("20", 0.06))}
    assert told == {("working", seasons, "0"): 0.06, ("other", year, "0"): 0.06} | summer
    nowhere = CliRunner().invoke(app, [*asked, str(tmp_path / "no" / "picture.svg")])
    assert nowhere.exit_code == 2
    assert "name another file" in nowhere.output
