"""Portfolios of many sizes from tables to run folder, each in a process of its own: time, memory, and where they go.

`SIZES=100,1000,10000 pytest -m bench -s tests/benches/bench_engine.py`. Prints tables; speed is never asserted.
Further: `LEDGER=monthly` (100,000 sites and more: hourly ledgers take 40 kB a site), `CASES=all` for one case alone.
"""

import json
import os
import random
import resource
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from screener import climate, engine
from screener.climate import stations
from screener.physics import psychrometrics as air
from screener.tables import shipped

ROOT = Path(__file__).parents[2]
SITES = int(os.environ.get("SITES", "10000"))  # of benches that take one size
SIZES = [int(size) for size in os.environ.get("SIZES", "100,1000,10000").split(",")]
LEDGER = os.environ.get("LEDGER", "hourly")
PLACES = 300
FILES = 20  # different weather files, each 8760 hours
MOST_WITH_FILES = 1000  # sites with hourly files: each is read and checked
ONE = "temperature_only,standalone_dehumidifier"  # the reference, which everything is compared with, and one more
CASES = {"all": ("stations", ""), "one": ("stations", ONE), "all, files": ("files", "")}
CHOSEN = os.environ.get("CASES", ";".join(CASES)).split(";")
STAGES = {  # column of the table: stages of the run that it adds up
    "reading": ["reading tables and places", "weather files"],
    "climate": ["of batches: weather"],
    "sizing": ["of batches: sizing"],
    "engine": ["engine"],
    "ledger": ["ledger"],
    "pricing": ["of batches: pricing", "of batches: money"],
    "ranking": ["of batches: ranking", "money and ranking"],
    "report": ["report"],
    "writing": ["putting away", "writing"],
}


def portfolio(folder: Path, sites: int = SITES, weather: str = "stations") -> None:
    """Sites of all building types and many sizes, spread over PLACES stations or FILES weather files."""
    draw = random.Random(4)
    types = shipped.building_types().values["building_type"].to_list()
    listed = stations().sort("station")
    chosen = listed[sorted(draw.sample(range(listed.height), PLACES))]
    spots = chosen.select("latitude", "longitude").rows()
    rows = []
    for i in range(sites):
        place = (f"year{i % FILES}.csv", None, None) if weather == "files" else (None, *spots[i % PLACES])
        kind, area = types[i % len(types)], round(draw.uniform(200, 8000))
        rows.append((f"S{i:07}", kind, *place, area, "T"))
    columns = ["site_id", "building_type", "weather_file", "latitude", "longitude", "floor_area_m2", "tariff_id"]
    folder.mkdir()
    frame = pl.DataFrame(rows, schema=columns, orient="row", infer_schema_length=None)
    frame.select(name for name in columns if frame[name].null_count() < sites).write_csv(folder / "sites.csv")
    tariff = "tariff_id,electricity_price_per_kwh,demand_price_per_kw,fuel_price_per_kwh\nT,0.12,10,0.04\n"
    (folder / "tariffs.csv").write_text(tariff, encoding="utf-8")
    if weather == "files":
        (folder / "weather").mkdir()
        for i, station in enumerate(chosen["station"][:FILES]):
            weather_file(folder / "weather" / f"year{i}.csv", station)


def weather_file(path: Path, station: str) -> None:
    """The hours of a station as a file of the user's own."""
    day = pl.int_range(1, pl.len() + 1).over("month", "hour").alias("day")
    dew_point = air.dew_points(pl.col("outdoor_humidity_ratio"), pl.col("pressure_pa")).round(1).alias("dew_point_c")
    columns = ["month", day, "hour", pl.col("outdoor_c").round(1).alias("dry_bulb_c"), dew_point]
    climate.hours([station]).select(columns).write_csv(path)


@pytest.mark.bench
@pytest.mark.parametrize("case", CHOSEN)
def test_how_cost_grows(case: str, tmp_path: Path) -> None:
    weather, strategies = CASES[case]
    rows, split = [], []
    for sites in SIZES:
        if weather == "files" and sites > MOST_WITH_FILES:
            continue
        folder, out = tmp_path / f"{sites}", tmp_path / f"run{sites}"
        portfolio(folder, sites, weather)
        told = measured(__file__, folder, out, strategies, LEDGER)
        told["size_mb"] = sum(file.stat().st_size for file in out.rglob("*") if file.is_file()) / 1e6
        hours = 8760
        told["ns"] = 1e9 * (told["stages"]["engine"] + told["stages"]["ledger"]) / sites / hours / told["strategies"]
        rows.append(
            [f"{sites:,}", case, told["process_s"], told["processor_s"], told["peak_mb"], told["ns"], told["size_mb"]]
        )
        split.append([f"{sites:,}", case, *told["stages"].values()])
        assert told["ranked"] == sites
    heads = ["sites", "strategies", "wall s", "processor s", "peak MB", "ns per site-hour-strategy", "run folder MB"]
    print("\n\n" + markdown(heads, rows) + "\n\nseconds of it:\n\n" + markdown(["sites", "strategies", *STAGES], split))


def markdown(heads: list[str], rows: list[list[Any]]) -> str:
    def told(value: Any) -> str:
        return value if isinstance(value, str) else f"{value:,.0f}" if value >= 100 else f"{value:.1f}"

    lines = [
        heads,
        ["---:" if head != "strategies" else "---" for head in heads],
        *[[told(v) for v in row] for row in rows],
    ]
    return "\n".join(f"| {' | '.join(line)} |" for line in lines)


def measured(script: str, *arguments: object) -> dict[str, Any]:
    """What a script of these benches, in a process of its own, prints as JSON, and how long the process took."""
    began = time.perf_counter()
    command, here = [sys.executable, script, *map(str, arguments)], os.environ | {"PYTHONPATH": str(ROOT)}
    done = subprocess.run(command, check=True, stdout=subprocess.PIPE, text=True, env=here)
    return json.loads(done.stdout) | {"process_s": time.perf_counter() - began}


LISTS = ("MACHINES", "TOGETHER", "WITHOUT_EQUIPMENT")  # of strategies, that the engine goes by


def main(folder: str, out: str, strategies: str = "", form: str = "hourly") -> None:
    """Run it and print the measures as JSON."""
    from screener.strategies import REGISTRY

    for name in {*REGISTRY} - {*(strategies.split(",") if strategies else REGISTRY)}:
        del REGISTRY[name]
    from screener import ledger, outputs, pipeline
    from screener.engine import year

    left = {which: tuple(name for name in getattr(year, which) if name in REGISTRY) for which in LISTS}
    for which, names in left.items():
        setattr(year, which, names)
    if not left["WITHOUT_EQUIPMENT"]:
        year._with_otherwise = lambda sized, *_: sized

    watch, extra = engine.Progress(), {}
    timed(ledger, "accumulate", "ledger", extra)
    timed(outputs.Scratch, "keep", "putting away", extra)
    run = pipeline.run(Path(folder), Path(out), progress=watch, ledger_form=form)
    spent = watch.timings | extra | {"engine": watch.timings["of batches: hours"] - extra["ledger"]}
    used = resource.getrusage(resource.RUSAGE_SELF)
    measures = {
        "stages": {column: sum(spent[stage] for stage in stages) for column, stages in STAGES.items()},
        "processor_s": used.ru_utime + used.ru_stime,
        "peak_mb": used.ru_maxrss / 1024,
        "strategies": len(REGISTRY),
        "ranked": run.ranking["site_id"].n_unique(),
    }
    print(json.dumps(measures))


def timed(owner: Any, name: str, stage: str, spent: dict[str, float]) -> None:
    """Count the seconds that a function takes."""
    function = getattr(owner, name)

    def counted(*arguments: Any) -> Any:
        began = time.perf_counter()
        answer = function(*arguments)
        spent[stage] = spent.get(stage, 0.0) + time.perf_counter() - began
        return answer

    setattr(owner, name, counted)


if __name__ == "__main__":
    main(*sys.argv[1:])
