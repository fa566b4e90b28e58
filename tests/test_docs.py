"""The README is executed: its printed sessions are what the commands print, its commands and files exist."""

import re
import shlex
from pathlib import Path

import pytest
from typer.testing import CliRunner

from screener.commands import app

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
SESSIONS = re.findall(r"```\n\$ screener (.*)\n((?:.*\n)*?)```", README)


@pytest.fixture(scope="module")
def runs(tmp_path_factory):
    """Where the sessions, one after the other, leave their runs."""
    return tmp_path_factory.mktemp("runs")


@pytest.mark.parametrize(("command", "printed"), SESSIONS, ids=[c for c, _ in SESSIONS])
def test_printed_session(command, printed, runs, monkeypatch):
    monkeypatch.chdir(ROOT)
    arguments = [str(runs / a.removeprefix("runs/")) if a.startswith("runs/") else a for a in shlex.split(command)]
    result = CliRunner().invoke(app, arguments)
    assert result.exit_code == 0, result.output
    assert result.stdout == printed


def test_both_commands_stand_on_one_line_each():
    commands = re.findall(r"^python3 -m venv .*$", README, flags=re.MULTILINE)
    assert len(commands) == 2
    assert "screener run portfolios/" in commands[0]
    assert commands[1].endswith("pytest")


def test_commands_named_exist():
    names = set(re.findall(r"^screener (\w+)", README, flags=re.MULTILINE))
    listed = CliRunner().invoke(app, ["--help"]).stdout
    assert names == {"new", "schema", "check", "run", "report", "explain", "price", "compare", "climate"}
    for name in names:
        assert re.search(rf"^\s+{name}\s", listed, flags=re.MULTILINE), name


def test_strategies_and_files_named_are_those_there_are(tmp_path):
    from screener.outputs import OUTPUTS
    from screener.strategies import REGISTRY

    for name in REGISTRY:
        assert f"`{name}`" in README
    for output in OUTPUTS:
        for kind in output.formats:
            assert f"`{output.table}.{kind}`" in README
