"""Elsewhere than on the author's machine: other code pages, spreadsheets, ports, links and amounts."""

import io
import json
import os
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from xml.etree import ElementTree

import polars as pl
import pytest
from typer.testing import CliRunner

from screener import pipeline
from screener.commands import app
from screener.errors import UsageError
from screener.outputs import neutralised
from screener.report import svg
from tests.tables.portfolios import SITE, sites, table, write

ROOT = Path(__file__).parents[1]
NAME = "Zürich 東京 ☃"


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("anywhere")
    hostile = "a\x01b\x0cc\x7fd\x9be\ufffef"
    rows = [SITE | {"name": NAME}, SITE | {"site_id": "B", "name": hostile}, SITE | {"site_id": "C\x02"}]
    made = write(folder / "portfolio", sites=table(*rows))
    pipeline.run(made, folder / "run")
    return folder / "run"


def command(*arguments: object, code_page: str) -> subprocess.CompletedProcess[bytes]:
    called = [sys.executable, "-m", "screener", *map(str, arguments)]
    return subprocess.run(called, cwd=ROOT, capture_output=True, env=os.environ | {"PYTHONIOENCODING": code_page})


@pytest.mark.parametrize("code_page", ["cp1252", "cp437", "latin-1"])
def test_output_in_any_code_page(code_page: str, run: Path) -> None:
    shown = command("rank", run, code_page=code_page)
    assert (shown.returncode, shown.stderr) == (0, b"")
    assert b"?" in shown.stdout
    rows = json.loads(command("rank", run, "--json", code_page=code_page).stdout.decode(code_page))["rows"]
    assert NAME in {row["name"] for row in rows}


@pytest.mark.skipif(sys.platform != "linux", reason="other systems have no such names")
def test_names_that_are_no_utf_8_are_told_before_any_work(run: Path) -> None:
    """The readers of tables take texts for paths, and a run ended in their words when all was worked out."""
    called = [sys.executable.encode(), b"-m", b"screener", b"report", os.fsencode(run), b"--out", b"caf\xe9"]
    done = subprocess.run(called, cwd=ROOT, capture_output=True)
    assert (done.returncode, done.stdout) == (2, b"")
    assert done.stderr.startswith(b"caf\\xe9: ")
    assert done.stderr.count(b"\n") == 1


def test_pictures_and_pages_have_no_control_characters(run: Path, tmp_path: Path) -> None:
    done = CliRunner().invoke(app, ["report", str(run), "--pictures", "--out", str(tmp_path / "out")])
    assert done.exit_code == 0, done.output
    for site in ("B", "C\x02"):
        of_site = CliRunner().invoke(
            app, ["report", str(run), "--site", site, "--pictures", "--out", str(tmp_path / "out")]
        )
        assert of_site.exit_code == 0, of_site.output
    written = sorted((tmp_path / "out").iterdir())
    assert {path.suffix for path in written} == {".svg", ".html"}
    for path in written:
        text = path.read_text(encoding="utf-8")
        assert not [
            sign for sign in text if sign != "\n" and (sign < " " or "\x7f" <= sign <= "\x9f" or sign == "\ufffe")
        ]
        if path.suffix == ".svg":
            ElementTree.fromstring(text)  # XML 1.0 has no such characters, so a reader would refuse them
    assert svg.element("text", "a\x00\tb", data_name="\x1b").count("\N{REPLACEMENT CHARACTER}") == 3


@pytest.mark.parametrize("separator", [",", ";", "\t", "|"])
def test_no_reader_of_a_table_finds_a_formula(separator: str) -> None:
    texts = ["=1+1", "a;=1+1", "a; @x", "a\t+1", "a\n=2", "a|-1", "plain; text", "-"]
    written = neutralised(pl.DataFrame({"id": ["x"] * len(texts), "text": texts})).write_csv()
    cells = [cell for line in written.splitlines() for cell in line.split(separator)]
    assert not [cell for cell in cells if cell.strip().strip('"').strip().startswith(("=", "+", "@", "-"))]
    assert "plain; text" in written


@pytest.fixture(params=[b"", b"HTTP/1.1 400 Bad Request\r\n\r\n" * 20])
def no_scheduler(request: pytest.FixtureRequest) -> Iterator[str]:
    """The address of something that listens: it says nothing, or what a scheduler would not."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        taken: list[socket.socket] = []

        def answer() -> None:
            while True:
                try:
                    connection, _ = server.accept()
                    taken.append(connection)
                    connection.sendall(request.param)
                except OSError:
                    return

        threading.Thread(target=answer, daemon=True).start()
        yield "tcp://{}:{}".format(*server.getsockname())
        for connection in taken:
            connection.close()


def test_a_port_that_is_no_scheduler_ends_in_words(
    no_scheduler: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    pytest.importorskip("distributed", reason="needs the extra cluster")
    from screener.engine import cluster

    assert cluster.WAIT_S == 30
    monkeypatch.setattr(cluster, "WAIT_S", 2.0)
    folder, began = write(tmp_path / "portfolio"), time.monotonic()
    with pytest.raises(UsageError, match=rf"no Dask cluster at {no_scheduler} \(.+\); give its scheduler, like tcp:"):
        pipeline.run(folder, tmp_path / "run", cluster=no_scheduler)
    assert time.monotonic() - began < 20
    assert not (tmp_path / "run").exists()


ASKED = {
    ("choose", "--budget", "1e308"): "a budget of 1e+308 is more than any program costs; give at most 1e+13",
    ("rank", "--group-by", "climate_zone", "--group-by", "Climate_Zone"): "climate_zone: given twice to --group-by",
    ("rank", "--top", "9" * 30): "less than or equal to 1000000000",
}


@pytest.mark.parametrize("asked", ASKED)
def test_amounts_without_measure_and_repetitions_are_told(asked: tuple[str, ...], run: Path) -> None:
    done = CliRunner().invoke(app, [asked[0], str(run), *asked[1:]])
    assert done.exit_code == 2
    assert ASKED[asked] in done.output


def test_tables_and_weather_that_stand_elsewhere_are_told(tmp_path: Path) -> None:
    folder = write(tmp_path / "portfolio", sites=None)
    (tmp_path / "elsewhere" / "weather").mkdir(parents=True)
    (tmp_path / "elsewhere" / "mine.csv").write_text(sites({}))
    (folder / "sites.csv").symlink_to(tmp_path / "elsewhere" / "mine.csv")
    (folder / "weather").symlink_to(tmp_path / "elsewhere" / "weather")
    (folder / "inside.csv").write_text("a\n")
    notes = pipeline.check(folder)[0].notes
    told = [note for note in notes if "is a link" in note]
    there = (tmp_path / "elsewhere").resolve()
    assert told == [
        f"sites.csv is a link: what is read stands in {there / 'mine.csv'}, outside portfolio",
        f"weather is a link: what is read stands in {there / 'weather'}, outside portfolio",
    ]


def test_a_stream_without_a_code_page_is_left_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    from screener import commands

    monkeypatch.setattr(sys, "stdout", io.StringIO())
    monkeypatch.setattr(sys, "argv", ["screener", "--version"])
    with pytest.raises(SystemExit) as ended:
        commands.main()
    assert ended.value.code == 0
