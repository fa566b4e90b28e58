"""What surrounds the engine at a national size: memory of reading, filling, putting away, ranking, report and writing.

`SITES=1000000 pytest -m bench -s tests/benches/bench_memory.py`. The engine, whose memory does not grow with the number
of batches, answers for the first batch alone; the others get its answer under their own names.
"""

import json
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from screener import engine, outputs
from tests.benches import bench_engine


@pytest.mark.bench
def test_memory_around_the_engine(tmp_path: Path) -> None:
    bench_engine.portfolio(tmp_path / "portfolio", bench_engine.SITES)
    told = bench_engine.measured(__file__, tmp_path / "portfolio", tmp_path / "run")
    stages = ", ".join(f"{stage} {seconds:.0f} s" for stage, seconds in told["stages"].items())
    print(
        f"\n{bench_engine.SITES:,} sites but for the engine: {told['peak_mb']:,.0f} MB, {told['process_s']:.0f} s ({stages})"
    )
    run = outputs.open_run(tmp_path / "run")
    assert run.info["rows"]["ranking"] == bench_engine.SITES


def main(folder: str, out: str) -> None:
    """Run it and print the measures as JSON."""
    import resource

    from screener import pipeline
    from screener.engine import batches

    work, first = batches.work_out, []

    def answered(sites: pl.DataFrame, *arguments: Any) -> Any:
        if not first:
            first.append(work(sites, *arguments))
        names = dict(zip(first[0].sites["site_id"], sites["site_id"], strict=False))
        known = pl.col("site_id").is_in(list(names))

        def renamed(frame: pl.DataFrame) -> pl.DataFrame:
            return frame.filter(known).with_columns(pl.col("site_id").replace(names))

        batch = first[0]
        return replace(
            batch,
            sites=renamed(batch.sites),
            results=renamed(batch.results),
            ranking=renamed(batch.ranking),
            ledger=renamed(batch.ledger),
        )

    batches.work_out = answered
    watch = engine.Progress()
    pipeline.run(Path(folder), Path(out), progress=watch, ledger_form="monthly")
    print(json.dumps({"stages": watch.timings, "peak_mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024}))


if __name__ == "__main__":
    main(*sys.argv[1:])
