"""Runs that are killed, interrupted or out of room: nothing half-written is ever seen, and the next run goes on."""

import itertools
import json
import os
import pickle
import random
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import polars as pl
import pytest
from polars.testing import assert_frame_equal

from screener import outputs, pipeline
from screener.engine import MONTHLY, batches, estimate
from screener.errors import UsageError
from screener.outputs.scratch import STARTED_ANEW

ROOT = Path(__file__).parents[1]
KILLS = 20
SITES, BATCH = 8, 2
RUN = """
import pickle, sys
from pathlib import Path
from screener import pipeline
from screener.engine import batches
portfolio, out, remembered = map(Path, sys.argv[1:])
def work(sites, basis, done):
    return pickle.loads((remembered / sites["site_id"][0]).read_bytes())
batches.work_out = work
print("ready", flush=True)
sys.stdin.readline()
pipeline.run(portfolio, out, batch_sites=2)
"""


def portfolio_in(folder: Path, sites: int = SITES) -> Path:
    kinds = ["supermarket", "office", "retail", "school"]
    zones = ["1A", "2A", "4A", "3A"]
    rows = [f"S{i},{kinds[i % 4]},{1000 + 100 * i},{zones[i % 4]},T" for i in range(sites)]
    folder.mkdir()
    header = "site_id,building_type,floor_area_m2,climate_zone,tariff_id"
    (folder / "sites.csv").write_text("\n".join([header, *reversed(rows)]) + "\n", encoding="utf-8")
    tariffs = "tariff_id,electricity_price_per_kwh,demand_price_per_kw,fuel_price_per_kwh\nT,0.12,10,0.04\n"
    (folder / "tariffs.csv").write_text(tariffs, encoding="utf-8")
    return folder


def contents(run: Path) -> dict[str, object]:
    """Every byte of a run; of `run.json` all but the times."""
    found: dict[str, object] = {}
    for file in run.rglob("*"):
        if file.is_file():
            found[str(file.relative_to(run))] = file.read_bytes()
    info = json.loads(found["run.json"])
    del info["timings_s"]
    return found | {"run.json": info}


def beside(run: Path) -> list[str]:
    return [path.name for path in run.parent.iterdir() if path.name.startswith(".")]


@pytest.fixture(scope="module")
def work(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A portfolio, its run that was never interrupted, and what the engine said of each batch."""
    folder = tmp_path_factory.mktemp("unfinished")
    portfolio_in(folder / "portfolio")
    (folder / "remembered").mkdir()

    def remembering(sites: pl.DataFrame, *arguments: Any) -> estimate.Batch:
        batch = estimate.work_out(sites, *arguments)
        (folder / "remembered" / sites["site_id"][0]).write_bytes(pickle.dumps(batch))
        return batch

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(batches, "work_out", remembering)
        pipeline.run(folder / "portfolio", folder / "whole", batch_sites=BATCH)
    return folder


@pytest.fixture
def remembered(work: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The engine's answers as they were."""
    monkeypatch.setattr(batches, "work_out", lambda sites, *_: answer(work, sites))


def answer(work: Path, sites: pl.DataFrame) -> estimate.Batch:
    batch: estimate.Batch = pickle.loads((work / "remembered" / sites["site_id"][0]).read_bytes())
    return batch


def started(work: Path, out: Path) -> subprocess.Popen[str]:
    """A run in a process of its own, everything imported, that starts when a line is sent to it. The engine's answers
    are remembered: what surrounds it is tested, at many more moments."""
    command = [sys.executable, "-c", RUN, str(work / "portfolio"), str(out), str(work / "remembered")]
    run = subprocess.Popen(command, cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    assert run.stdout is not None
    assert run.stdout.readline() == "ready\n"
    return run


def go(run: subprocess.Popen[str]) -> None:
    assert run.stdin is not None
    run.stdin.write("\n")
    run.stdin.flush()


def batches_in(scratch: Path) -> int:
    return len(list(scratch.glob("[0-9]*[0-9]")))


def test_killed_at_random_moments_a_run_goes_on_to_the_same_bytes(work: Path, tmp_path: Path) -> None:
    """SIGKILL gives a process no chance to tidy up. What is compared with was never interrupted."""
    began = time.perf_counter()
    run = started(work, tmp_path / "timed")
    began = time.perf_counter()
    go(run)
    assert run.wait() == 0
    takes = time.perf_counter() - began
    draw, kills, went_on = random.Random(7), 0, 0
    for number in itertools.count():
        out, scratch = tmp_path / f"run{number}", tmp_path / f".run{number}.unfinished"
        while not out.exists():
            run = started(work, out)
            went_on += batches_in(scratch) > 0
            go(run)
            try:
                assert run.wait(draw.uniform(0.02, 1.0) * takes if kills < KILLS else None) == 0
                assert beside(out) == []
            except subprocess.TimeoutExpired:
                run.kill()
                run.wait()
                kills += 1
        assert contents(out) == contents(work / "whole")
        assert outputs.open_run(out).info["rows"]["ranking"] == SITES
        shutil.rmtree(scratch, ignore_errors=True)  # of a run killed when it was done
        if kills >= KILLS:
            break
    assert went_on > KILLS / 4


class Stop(BaseException):
    """What Ctrl-C does, at a chosen moment."""


def interrupted(work: Path, out: Path, monkeypatch: pytest.MonkeyPatch, after: int = 2) -> None:
    """Begin a run and stop it after so many batches."""
    beyond = f"S{after * BATCH}"

    def stopping(sites: pl.DataFrame, *_: Any) -> estimate.Batch:
        if sites["site_id"][0] >= beyond:
            raise Stop
        return answer(work, sites)

    with monkeypatch.context() as patch:
        patch.setattr(batches, "work_out", stopping)
        with pytest.raises(Stop):
            pipeline.run(work / "portfolio", out, batch_sites=BATCH)
    assert batches_in(out.with_name(f".{out.name}.unfinished")) == after
    assert not out.exists()


def test_the_engine_works_out_only_the_batches_that_lack(
    work: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With the real engine; what was put away by one run and what another adds make the bytes of a whole one."""
    interrupted(work, tmp_path / "run", monkeypatch, after=3)
    worked: list[str] = []

    def watched(sites: pl.DataFrame, *arguments: Any) -> estimate.Batch:
        worked.extend(sites["site_id"])
        return estimate.work_out(sites, *arguments)

    monkeypatch.setattr(batches, "work_out", watched)
    run = pipeline.run(work / "portfolio", tmp_path / "run", batch_sites=BATCH)
    assert worked == ["S6", "S7"]
    assert "continued an unfinished run, of which 3 of 4 batches were there" in run.notes
    assert contents(tmp_path / "run") == contents(work / "whole")
    assert beside(tmp_path / "run") == []


@pytest.mark.parametrize("number", [1, 100])
def test_how_many_sites_are_worked_out_together_changes_no_result(number: int, work: Path, tmp_path: Path) -> None:
    """A column of one row is divided by in another way than one of two, so a batch of one site is the hard case."""
    pipeline.run(work / "portfolio", tmp_path / "run", batch_sites=number)
    one, other = (outputs.open_run(folder) for folder in (tmp_path / "run", work / "whole"))
    for table in ("ranking", "strategies", "sites_used", "ledger", "bills"):
        assert_frame_equal(one.table(table).collect(), other.table(table).collect(), check_exact=True)


@pytest.mark.usefixtures("remembered")
def test_what_other_tables_left_is_thrown_away_with_a_note(
    work: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    interrupted(work, tmp_path / "run", monkeypatch)
    shutil.copytree(work / "portfolio", tmp_path / "dearer")
    tariffs = tmp_path / "dearer" / "tariffs.csv"
    tariffs.write_text(tariffs.read_text().replace("0.12", "0.13"))
    run = pipeline.run(tmp_path / "dearer", tmp_path / "run", batch_sites=BATCH)
    assert STARTED_ANEW in run.notes
    assert not any("continued" in note for note in run.notes)
    assert beside(tmp_path / "run") == []


@pytest.mark.usefixtures("remembered")
def test_another_ledger_or_batch_size_starts_anew_too(
    work: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    interrupted(work, tmp_path / "run", monkeypatch)
    run = pipeline.run(work / "portfolio", tmp_path / "run", batch_sites=BATCH, ledger_form=MONTHLY)
    assert STARTED_ANEW in run.notes


def test_two_processes_do_not_write_the_same_run(work: Path, tmp_path: Path) -> None:
    with (
        outputs.scratch(tmp_path / "run", {}),
        pytest.raises(UsageError, match=r"another process is writing .*run; wait for it, or name another folder"),
    ):
        pipeline.run(work / "portfolio", tmp_path / "run")


@pytest.mark.usefixtures("remembered")
def test_force_keeps_the_earlier_run_until_the_new_one_is_whole(
    work: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shutil.copytree(work / "whole", tmp_path / "run")
    before = contents(tmp_path / "run")
    with monkeypatch.context() as patch:
        patch.setattr(batches, "work_out", stop)
        with pytest.raises(Stop):
            pipeline.run(work / "portfolio", tmp_path / "run", force=True, batch_sites=BATCH)
    assert contents(tmp_path / "run") == before
    assert beside(tmp_path / "run") == []  # nothing was put away yet
    pipeline.run(work / "portfolio", tmp_path / "run", force=True, batch_sites=BATCH)
    assert contents(tmp_path / "run") == before


def stop(*_: Any) -> estimate.Batch:
    raise Stop


def dead() -> int:
    """The number of a process that is no more."""
    return subprocess.Popen([sys.executable, "-c", ""]).wait() or os.getpid() + 10**7


def test_what_a_killed_process_left_beside_a_folder_is_swept(work: Path, tmp_path: Path) -> None:
    """A run put aside by a process that was killed before the new one had its name gets its name back."""
    gone, alive = dead(), os.getppid()
    for name in (f".run.part-{gone}", f".run.part-{alive}", ".run.note-1", f".other.part-{gone}"):
        (tmp_path / name).mkdir()
    shutil.copytree(work / "whole", tmp_path / f".run.old-{gone}")
    with pytest.raises(Stop), outputs.staged(tmp_path / "run", force=True):
        raise Stop
    assert contents(tmp_path / "run") == contents(work / "whole")
    assert sorted(beside(tmp_path / "run")) == sorted([f".run.part-{alive}", ".run.note-1", f".other.part-{gone}"])


@pytest.fixture
def little_room(tmp_path: Path) -> Iterator[Path]:
    """A disk of its own with little room; needs the right to mount one."""
    disk = tmp_path / "disk"
    disk.mkdir()
    mounted = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", disk], capture_output=True)
    if mounted.returncode:
        pytest.skip("may not mount a small disk here")
    yield disk
    subprocess.run(["umount", disk], check=True)


NO_ROOM = r"cannot write to .*disk \(No space left on device\); make room or name another folder, then give the same"


@pytest.mark.usefixtures("remembered")
def test_a_full_disk_is_told_in_words_and_the_run_goes_on_once_there_is_room(work: Path, little_room: Path) -> None:
    filler, out = little_room / "filler", little_room / "run"
    for kb in (1000, 700, 400, 100):  # the room ends at another moment each time
        filler.write_bytes(b"x" * kb * 1024)
        with pytest.raises(UsageError, match=NO_ROOM):
            pipeline.run(work / "portfolio", out, batch_sites=BATCH)
        assert not out.exists()
    filler.unlink()
    subprocess.run(["mount", "-o", "remount,size=20m", little_room], check=True)
    pipeline.run(work / "portfolio", out, batch_sites=BATCH)
    assert contents(out) == contents(work / "whole")
    assert beside(out) == []


LIMITED = """
import resource, signal, sys
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (40_000, 40_000))
from screener.commands import main
sys.argv = ["screener", "run", *sys.argv[1:]]
main()
"""


def test_a_file_that_may_not_grow_ends_the_command_with_a_message(work: Path, tmp_path: Path) -> None:
    command = [sys.executable, "-c", LIMITED, str(work / "portfolio"), "--out", str(tmp_path / "run")]
    done = subprocess.run(command, capture_output=True, text=True, cwd=ROOT)
    assert done.returncode == 2
    assert done.stderr.startswith(f"cannot write to {tmp_path} (File too large); make room")
    assert "Traceback" not in done.stderr
    assert done.stdout == ""
    assert list(tmp_path.iterdir()) == []


@pytest.mark.skipif(not Path("/proc/self").exists(), reason="needs a folder that not even root can write to")
def test_a_folder_that_may_not_be_written_to_ends_the_command_with_a_message(work: Path) -> None:
    command = [sys.executable, "-m", "screener", "run", str(work / "portfolio"), "--out", "/proc/self/run"]
    done = subprocess.run(command, capture_output=True, text=True, cwd=ROOT)
    assert done.returncode == 2
    assert "cannot write to /proc/" in done.stderr
    assert "name another folder" in done.stderr
    assert "Traceback" not in done.stderr
