"""What README.md shows of the program at work: sessions as they are printed, pictures as they are drawn.

`python -m tests.readme` runs the sessions, one after the other, and writes both anew; the tests compare.
"""

import re
import shlex
from collections.abc import Iterator
from pathlib import Path

from typer.testing import CliRunner

from screener import report
from screener.commands import app

ROOT = Path(__file__).parents[2]
README = ROOT / "README.md"
SESSION = re.compile(r"(?<=```\n)\$ screener (.*)\n((?:.*\n)*?)(?=```)")
PICTURE = re.compile(r"!\[[^\]]+\]\(([^)]+\.svg)\)")
AGAIN = "make it anew: python -m tests.readme"


def sessions() -> list[tuple[str, str]]:
    """The commands shown, without the program's name, and what is printed below them."""
    return SESSION.findall(README.read_text(encoding="utf-8"))


def printed(command: str, runs: Path) -> str:
    """What a command prints when it is given at the top of the checkout, with `runs` for the folder of that name."""
    arguments = [str(runs / a.removeprefix("runs/")) if a.startswith("runs/") else a for a in shlex.split(command)]
    result = CliRunner().invoke(app, arguments)
    if result.exit_code != 0:
        raise RuntimeError(f"screener {command}: {result.output}")
    return result.stdout


def pictures(run: Path, out: Path) -> Iterator[tuple[Path, Path]]:
    """The pictures shown, and the same drawn into `out` from the example's run."""
    drawn = {file.name: file for file in report.write(run, out, pictures=True)}
    for shown in PICTURE.findall(README.read_text(encoding="utf-8")):
        yield ROOT / shown, drawn[Path(shown).name]
