"""The commands: parse, call the pipeline, print. The only place that prints or exits.

stdout carries only the answer: a table for people, or one JSON document with --json. Progress and notes go to stderr,
progress only on a terminal. Heavy packages are imported inside the commands, so that --help answers at once.
"""

import io  # noqa: I001  # commands below in the order of --help
import sys

from screener.commands import portfolios, runs, answers, odds, tariffs, climate  # noqa: F401
from screener.commands.app import app

__all__ = ["app", "main"]


def main() -> None:
    """Entry point of the `screener` command. What a terminal's code page lacks is shown as a mark, and ends nothing."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")
    app()
