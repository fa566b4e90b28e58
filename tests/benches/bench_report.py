"""The report of a large portfolio from its run folder, in a process of its own: wall time and size.

`SITES=10000 pytest -m bench -s tests/benches/bench_report.py`. Speed is printed, never asserted.
"""

import subprocess
import sys
import time
from pathlib import Path

import pytest

from screener import pipeline
from tests.benches.bench_engine import SITES, portfolio


@pytest.mark.bench
def test_report_of_a_large_portfolio(tmp_path: Path) -> None:
    portfolio(tmp_path / "portfolio")
    pipeline.run(tmp_path / "portfolio", tmp_path / "run")
    command = [sys.executable, "-m", "screener", "report", str(tmp_path / "run"), "--out", str(tmp_path)]
    start = time.perf_counter()
    subprocess.run(command, check=True, capture_output=True)
    seconds = time.perf_counter() - start
    size = (tmp_path / "report.html").stat().st_size
    print(f"\n{SITES:,} sites: report in {seconds:.1f} s, {size / 1e6:.2f} MB")
