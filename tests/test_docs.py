"""The README is executed: its printed sessions are what the commands print, its commands and files exist."""

import re

import pytest
from typer.testing import CliRunner

from screener.commands import app
from tests import readme

README = readme.README.read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def runs(tmp_path_factory):
    """Where the sessions, one after the other, leave their runs."""
    return tmp_path_factory.mktemp("runs")


@pytest.mark.parametrize(("command", "printed"), readme.sessions(), ids=[c for c, _ in readme.sessions()])
def test_printed_session(command, printed, runs, monkeypatch):
    monkeypatch.chdir(readme.ROOT)
    assert readme.printed(command, runs) == printed, readme.AGAIN


def test_both_commands_stand_on_one_line_each():
    commands = re.findall(r"^python3 -m venv .*$", README, flags=re.MULTILINE)
    assert len(commands) == 2
    assert "screener run portfolios/" in commands[0]
    assert commands[1].endswith("-m pytest -n auto --dist loadfile")


def test_commands_named_exist():
    names = set(re.findall(r"^screener (\w+)", README, flags=re.MULTILINE))
    listed = CliRunner().invoke(app, ["--help"]).stdout
    known = {
        "new",
        "adopt",
        "schema",
        "check",
        "run",
        "report",
        "explain",
        "price",
        "compare",
        "tariffs",
        "climate",
        "verify",
    }
    assert names == known
    for name in names:
        assert re.search(rf"^\s+{name}\s", listed, flags=re.MULTILINE), name


def test_strategies_and_files_named_are_those_there_are(tmp_path):
    from screener.outputs import OUTPUTS
    from screener.strategies import REGISTRY

    named = re.findall(r"`(\w+)`", "\n".join(re.findall(r"^\| (`\w+`(?:, `\w+`)*) \|", README, flags=re.MULTILINE)))
    assert len(named) >= 12
    assert {*named} <= {*REGISTRY}
    for output in OUTPUTS:
        for kind in output.formats:
            assert f"`{output.table}.{kind}`" in README
