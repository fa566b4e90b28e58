"""Checking a large table: 100 000 sites of 30 columns from CSV, in a process of its own: wall time and peak memory.

`pytest -m bench -s tests/benches/bench_door.py`. Speed is printed, never asserted.
"""

import json
import random
import resource
import subprocess
import sys
import time
from pathlib import Path

import polars as pl
import pytest

from screener import climate, pipeline
from screener.tables import read_portfolio

SITES = 100_000
PLACES = 300
TARIFF = "tariff_id,electricity_price_per_kwh,fuel_price_per_kwh\nT1,0.12,0.04\n"


def portfolio(folder: Path, faulty: float) -> None:
    """Sites with nearly every column filled, in US units, a share of them with a fault in some cell."""
    draw = random.Random(7)
    spots = climate.stations().sort("station").select("latitude", "longitude").rows()[:PLACES]
    bad = {"floor_area_ft2": "big", "cooling_eer": 99, "tariff_id": "T9", "climate_zone": "9Z", "opens_hour": ""}
    rows = []
    for number in range(SITES):
        latitude, longitude = spots[number % PLACES]
        row = {
            "site_id": f"S{number:06}",
            "name": f"Store {number}, Elm Street",
            "building_type": ("supermarket", "Office", "school")[number % 3],
            "postal_code": "",
            "latitude": latitude,
            "longitude": longitude,
            "climate_zone": "",
            "weather_file": "",
            "elevation_ft": draw.randint(0, 900),
            "floor_area_ft2": draw.randint(5_000, 90_000),
            "opens_hour": 7,
            "closes_hour": 22,
            "open_days_per_week": 7,
            "cooling_setpoint_f": 74,
            "heating_setpoint_f": 68,
            "humidity_limit_dew_point_f": draw.choice([55, 52, ""]),
            "peak_occupants": draw.randint(5, 300),
            "outdoor_air_cfm": draw.randint(500, 9_000),
            "infiltration_cfm_ft2": round(draw.random() / 10, 3),
            "process_moisture_lb_h": draw.randint(0, 30),
            "open_case_length_ft": draw.randint(0, 200),
            "door_case_length_ft": draw.randint(0, 200),
            "cooling_capacity_tons": draw.randint(20, 200),
            "cooling_eer": draw.choice([10.5, 11, 12]),
            "heating_source": draw.choice(["fuel", "electric"]),
            "current_strategy": draw.choice(["temperature_only", "overcool_fuel_reheat", ""]),
            "equipment_id": "",
            "tariff_id": "T1",
            "annual_electricity_kwh": draw.randint(100_000, 4_000_000),
            "region": "north",
        }
        if draw.random() < faulty:
            column = draw.choice(list(bad))
            row[column] = bad[column]
        rows.append(row)
    folder.mkdir()
    pl.DataFrame(rows, infer_schema_length=None, strict=False).write_csv(folder / "sites.csv")
    (folder / "tariffs.csv").write_text(TARIFF, encoding="utf-8")


@pytest.mark.bench
@pytest.mark.parametrize("faulty", [0.0, 0.1], ids=["clean", "a tenth faulty"])
def test_large_table(faulty: float, tmp_path: Path) -> None:
    portfolio(tmp_path / "portfolio", faulty)
    command = [sys.executable, __file__, str(tmp_path / "portfolio")]
    told = json.loads(subprocess.run(command, check=True, capture_output=True, text=True).stdout)
    print(
        f"\n{SITES:,} sites of 30 columns, {told['rejected']:,} rejected: tables {told['tables_s']:.2f} s "
        f"({told['tables_processor_s']:.2f} s of processor), "
        f"with places and filling {told['check_s']:.2f} s; peak memory {told['peak_mb']:.0f} MB"
    )
    assert told["good"] + told["rejected"] == SITES


def main(folder: Path) -> None:
    """Read and check the tables, then check the portfolio as the command does; print the measures as JSON."""
    began, busy = time.perf_counter(), time.process_time()
    read_portfolio(folder)
    read, was_busy = time.perf_counter(), time.process_time()
    checked, sites = pipeline.check(folder)
    measures = {
        "tables_s": read - began,
        "tables_processor_s": was_busy - busy,
        "check_s": time.perf_counter() - read,
        "peak_mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
        "good": sites.height,
        "rejected": checked.rejects.height,
    }
    print(json.dumps(measures))


if __name__ == "__main__":
    main(Path(sys.argv[1]))
