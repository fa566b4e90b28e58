"""The commands: parse, call the pipeline, print. The only place that prints or exits.

stdout carries only the answer: a table for people, or one JSON document with --json. Progress and notes go to stderr,
progress only on a terminal. Heavy packages are imported inside the commands, so that --help answers at once.
"""

from screener.commands import portfolios, runs, answers, odds, tariffs, climate  # noqa: F401, I001  # in the order of --help
from screener.commands.app import app

__all__ = ["app", "main"]


def main() -> None:
    """Entry point of the `screener` command."""
    app()
