"""New tariffs on the run of a large portfolio, and two runs compared: whole process, stages, peak memory, ledger size.

`SITES=10000 pytest -m bench -s tests/benches/bench_price.py`. Speed is printed, never asserted.
"""

import json
import resource
import sys
import time
from pathlib import Path

import polars as pl
import pytest

from screener import engine, outputs, pipeline
from screener.ranking import compare
from screener.strategies import REGISTRY
from tests.benches import bench_engine

TARIFFS = {
    "flat": {},
    "time of use": {
        "tariff_periods": "tariff_id,months,day_kind,from_hour,to_hour,electricity_price_per_kwh,demand_price_per_kw\n"
        "T,6-9,working,12,18,0.31,8\nT,,,22,6,0.07,\n"
    },
    "tiers": {"tariff_tiers": "tariff_id,up_to_kwh,electricity_price_per_kwh\nT,5000,0.16\nT,,0.1\n"},
}
PRICES = "tariff_id,electricity_price_per_kwh,demand_price_per_kw,fuel_price_per_kwh\nT,0.15,11,0.05\n"


@pytest.mark.bench
def test_large_run(tmp_path: Path) -> None:
    bench_engine.portfolio(tmp_path / "portfolio")
    bench_engine.measured(bench_engine.__file__, tmp_path / "portfolio", tmp_path / "run")
    size = (tmp_path / "run" / "ledger.parquet").stat().st_size / 1e6
    print(f"\n{bench_engine.SITES} sites, {len(REGISTRY)} strategies: ledger of {size:.0f} MB")
    for name, tables in TARIFFS.items():
        folder = tmp_path / name
        folder.mkdir()
        for table, text in (tables | {"tariffs": PRICES}).items():
            (folder / f"{table}.csv").write_text(text, encoding="utf-8")
        told = bench_engine.measured(__file__, tmp_path / "run", folder, tmp_path / f"{name} run")
        stages = ", ".join(f"{stage} {seconds:.2f} s" for stage, seconds in told["stages"].items())
        print(
            f"price, {name}: {told['wall_s']:.2f} s ({stages}), processor {told['processor_s']:.1f} s; "
            f"whole process {told['process_s']:.2f} s, peak memory {told['peak_mb']:.0f} MB; "
            f"compare {told['compare_s']:.2f} s"
        )
        priced = pl.read_parquet(tmp_path / f"{name} run" / "ranking.parquet")
        assert priced.height == bench_engine.SITES


def main(run: str, tariffs: str, out: str) -> None:
    """Price it and print the measures as JSON."""
    watch, began = engine.Progress(), time.perf_counter()
    pipeline.reprice(Path(run), Path(tariffs), Path(out), progress=watch)
    priced, used = time.perf_counter(), resource.getrusage(resource.RUSAGE_SELF)
    compare.compare(outputs.open_run(Path(run)), outputs.open_run(Path(out)))
    measures = {
        "wall_s": priced - began,
        "stages": watch.timings,
        "processor_s": used.ru_utime + used.ru_stime,
        "compare_s": time.perf_counter() - priced,
        "peak_mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
    }
    print(json.dumps(measures))


if __name__ == "__main__":
    main(*sys.argv[1:])
