"""Commands on a finished run that are killed at random moments: never half a folder under its name, and the same bytes
after the same command once more. Runs themselves are killed in `test_unfinished_runs.py`."""

import random
import shutil
import subprocess
import sys
import time
from pathlib import Path

import pytest

from screener import outputs, pipeline
from tests.test_unfinished_runs import contents, portfolio_in

ROOT = Path(__file__).parents[1]
KILLS = 8  # of each command
PRICE = """
import sys
from pathlib import Path
from screener import pipeline
from screener.engine import batches
batches.PRICED_TOGETHER = batches.LEDGER_TOGETHER["hourly"] = 4
run, tariffs, out = map(Path, sys.argv[1:])
print("ready", flush=True)
sys.stdin.readline()
pipeline.reprice(run, tariffs, out)
"""
REPORT = """
import sys
from pathlib import Path
from screener import report
run, _, _ = map(Path, sys.argv[1:])
print("ready", flush=True)
sys.stdin.readline()
report.write(run, None, workbook=True, pictures=True)
"""


@pytest.fixture(scope="module")
def work(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A portfolio of sixteen sites and its run."""
    folder = tmp_path_factory.mktemp("killed")
    portfolio_in(folder / "portfolio", sites=16)
    pipeline.run(folder / "portfolio", folder / "run")
    return folder


def started(script: str, *arguments: Path) -> subprocess.Popen[str]:
    """A command in a process of its own, everything imported, that begins now."""
    command = [sys.executable, "-c", script, *map(str, arguments)]
    process = subprocess.Popen(command, cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    assert process.stdin is not None
    assert process.stdout.readline() == "ready\n"
    process.stdin.write("\n")
    process.stdin.flush()
    return process


def seconds(process: subprocess.Popen[str]) -> float:
    """How long a command takes that nobody kills."""
    began = time.perf_counter()
    assert process.wait() == 0
    return time.perf_counter() - began


def killed(process: subprocess.Popen[str], after_s: float) -> bool:
    """Whether a process was still at work when it was killed."""
    try:
        assert process.wait(after_s) == 0
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()
        return True
    return False


def test_price_goes_on_to_the_same_bytes(work: Path, tmp_path: Path) -> None:
    draw, kills, number = random.Random(3), 0, 0
    takes = seconds(started(PRICE, work / "run", work / "portfolio", tmp_path / "whole"))
    whole = contents(tmp_path / "whole")
    while kills < KILLS:
        out, number = tmp_path / f"out{number}", number + 1
        while not out.exists():
            at_once = kills < KILLS
            hit = killed(
                started(PRICE, work / "run", work / "portfolio", out), draw.uniform(0, takes) if at_once else 60
            )
            kills += hit
            if out.exists():
                assert contents(out) == whole
                assert outputs.verify(out).changed == []
    assert contents(out) == whole


def test_report_goes_on_to_the_same_bytes(work: Path, tmp_path: Path) -> None:
    """Each file is the old one or the new one, whole, and what was half written is swept by the next."""
    draw, kills = random.Random(4), 0
    run = shutil.copytree(work / "run", tmp_path / "run")
    takes = seconds(started(REPORT, run, run, run))
    whole = contents(run)
    while kills < KILLS:
        for name in ("ranking.xlsx", "savings-curve.svg"):
            (run / name).unlink(missing_ok=True)
        kills += killed(started(REPORT, run, run, run), draw.uniform(0, takes))
        there = {name: content for name, content in contents(run).items() if ".part-" not in name}
        assert {name: content for name, content in whole.items() if name in there} == there
        assert outputs.open_run(run).info["rows"]["ranking"] == 16
    assert started(REPORT, run, run, run).wait() == 0
    assert contents(run) == whole
