"""A large portfolio from tables to run folder, in a process of its own: wall time, peak memory, time per site-hour.

`SITES=10000 pytest -m bench -s tests/benches`. Speed is printed, never asserted.
"""

import json
import os
import random
import resource
import subprocess
import sys
import time
from pathlib import Path

import polars as pl
import pytest

from screener import climate, pipeline
from screener.climate import statistical_year
from screener.strategies import REGISTRY
from screener.tables import shipped

SITES = int(os.environ.get("SITES", "10000"))
PLACES = 300
HOURS = 12 * 24 * statistical_year.DAYS
ENGINE = "working out every hour"


def portfolio(folder: Path) -> None:
    """Sites of all building types and many sizes, spread over PLACES stations."""
    draw = random.Random(4)
    types = shipped.building_types().values["building_type"].to_list()
    listed = climate.stations().sort("station")
    spots = listed[sorted(draw.sample(range(listed.height), PLACES))].select("latitude", "longitude").rows()
    rows = []
    for i in range(SITES):
        latitude, longitude = spots[i % PLACES]
        kind, area = types[i % len(types)], round(draw.uniform(200, 8000))
        rows.append((f"S{i:06}", kind, latitude, longitude, area, "T"))
    columns = ["site_id", "building_type", "latitude", "longitude", "floor_area_m2", "tariff_id"]
    folder.mkdir()
    pl.DataFrame(rows, schema=columns, orient="row").write_csv(folder / "sites.csv")
    tariff = "tariff_id,electricity_price_per_kwh,demand_price_per_kw,fuel_price_per_kwh\nT,0.12,10,0.04\n"
    (folder / "tariffs.csv").write_text(tariff, encoding="utf-8")


@pytest.mark.bench
def test_large_portfolio(tmp_path: Path) -> None:
    portfolio(tmp_path / "portfolio")
    command = [sys.executable, __file__, str(tmp_path / "portfolio"), str(tmp_path / "run")]
    done = subprocess.run(command, check=True, capture_output=True, text=True)
    told = json.loads(done.stdout)
    print(
        f"\n{SITES} sites, {PLACES} stations, {len(REGISTRY)} strategies: {told['wall_s']:.1f} s, of which engine "
        f"{told['engine_s']:.1f} s, {1e9 * told['engine_s'] / SITES / HOURS:.0f} ns per site-hour; "
        f"processor {told['processor_s']:.0f} s on {told['threads']} threads; peak memory {told['peak_mb']:.0f} MB"
    )
    results = pl.read_parquet(tmp_path / "run" / "strategies.parquet")
    assert told["ranked"] == SITES
    assert results.select("site_id", "strategy").n_unique() == SITES * len(REGISTRY)
    assert results.filter(pl.col("unavailable").is_null())["electricity_kwh"].is_finite().all()


def main(folder: str, out: str) -> None:
    """Run it and print the measures as JSON."""
    watch, began = pipeline.Watch(), time.perf_counter()
    run = pipeline.run(Path(folder), Path(out), watch=watch)
    used = resource.getrusage(resource.RUSAGE_SELF)
    measures = {
        "wall_s": time.perf_counter() - began,
        "engine_s": sum(s for stage, s in watch.timings.items() if stage.startswith(ENGINE)),
        "processor_s": used.ru_utime + used.ru_stime,
        "peak_mb": used.ru_maxrss / 1024,
        "threads": pl.thread_pool_size(),
        "ranked": run.ranking["site_id"].n_unique(),
    }
    print(json.dumps(measures))


if __name__ == "__main__":
    main(*sys.argv[1:])
