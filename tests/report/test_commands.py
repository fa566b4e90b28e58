"""`screener report` as a user meets it, and what a terminal shows while a run goes on."""

import json
import os
import pty
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from screener import text
from screener.commands import app
from screener.engine import Progress
from tests.report.conftest import EXAMPLE, ROOT


def screener(*arguments: object):
    return CliRunner().invoke(app, [str(a) for a in arguments])


def test_report_names_what_it_wrote(example: Path, tmp_path: Path) -> None:
    result = screener("report", example, "--out", tmp_path / "for_the_board", "--xlsx", "--pictures")
    assert result.exit_code == 0, result.output
    named = [Path(line) for line in result.stdout.splitlines()]
    assert {file.name for file in named} == {file.name for file in (tmp_path / "for_the_board").iterdir()}
    assert {"report.html", "ranking.xlsx", "savings-curve.svg"} <= {file.name for file in named}
    assert json.loads(screener("report", example, "-o", tmp_path, "--json").stdout) == {
        "files": [str(tmp_path / "report.html")]
    }


def test_report_without_a_folder_rewrites_the_runs_own(example: Path) -> None:
    before = (example / "report.html").read_bytes()
    (example / "report.html").write_text("spoilt")
    assert screener("report", example).exit_code == 0
    assert (example / "report.html").read_bytes() == before
    assert not [file for file in example.iterdir() if "part-" in file.name]


def test_what_is_no_run_and_what_cannot_be_written_are_told_in_words(example: Path, tmp_path: Path) -> None:
    result = screener("report", tmp_path)
    assert result.exit_code == 2
    assert "holds no run" in result.stderr
    (tmp_path / "file").write_text("x")
    result = screener("report", example, "--out", tmp_path / "file")
    assert result.exit_code == 2
    assert "name another folder" in result.stderr


def test_a_terminal_sees_stages_and_counts_and_a_pipe_nothing(tmp_path: Path) -> None:
    """Progress goes to stderr when that is a terminal: a pseudo-terminal here."""
    folder = tmp_path / "portfolio"
    shutil.copytree(EXAMPLE, folder)
    sites = (EXAMPLE / "sites.csv").read_text(encoding="utf-8").splitlines(keepends=True)
    (folder / "sites.csv").write_text("".join(sites[:3]), encoding="utf-8")
    command = [sys.executable, "-m", "screener", "run", str(folder), "--out"]
    ours, theirs = pty.openpty()
    with subprocess.Popen([*command, str(tmp_path / "a")], stdout=subprocess.PIPE, stderr=theirs, cwd=ROOT) as running:
        os.close(theirs)
        seen = b""
        while True:
            try:
                chunk = os.read(ours, 4096)
            except OSError:  # Linux tells the end of a pseudo-terminal so
                break
            if not chunk:
                break
            seen += chunk
        printed = running.communicate()[0]
    assert running.returncode == 0
    shown = seen.decode()
    stages = re.findall(r"\x1b\[2K(.*?) \.\.\.", shown)
    assert stages[0] == "reading tables and places"
    assert "working out every hour of every strategy: 2 of 2 sites" in stages
    assert stages[-1] == "writing"
    assert b"\x1b" not in printed
    silent = subprocess.run([*command, str(tmp_path / "b")], capture_output=True, cwd=ROOT, check=True)
    assert b"every hour" not in silent.stderr
    assert silent.stdout == printed


def test_long_stages_tell_the_time_left_and_short_ones_do_not(monkeypatch: pytest.MonkeyPatch) -> None:
    """A quarter done in 30 s leaves three times as long."""
    clock, told = [100.0], []
    monkeypatch.setattr("screener.engine.progress.time.perf_counter", lambda: clock[0])
    watch = Progress(told.append)
    watch.stage("working")
    watch.count(10_000, "sites")
    clock[0] += 1.0
    watch.done(100)
    clock[0] += 29.0
    watch.done(2_500)
    watch.done(10_000)
    watch.stop()
    assert told == [
        "working",
        "working: 100 of 10,000 sites",
        "working: 2,500 of 10,000 sites, 2 min left",
        "working: 10,000 of 10,000 sites",
    ]
    assert watch.timings == {"working": 30.0}


def test_durations_in_words() -> None:
    assert [text.duration(s) for s in (0.2, 8.4, 59.9, 95, 3_600, 4_200)] == [
        "1 s",
        "8 s",
        "1 min",
        "2 min",
        "1 h 0 min",
        "1 h 10 min",
    ]
