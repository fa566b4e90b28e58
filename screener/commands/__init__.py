"""The commands: parse, call the pipeline, print. The only place that prints or exits.

stdout carries only the answer: a table for people, or one JSON document with --json. Progress and notes go to stderr,
progress only on a terminal. Heavy packages are imported inside the commands, so that --help answers at once.
"""

import io  # noqa: I001  # commands below in the order of --help
import os
import sys

from screener.commands import portfolios, runs, answers, odds, tariffs, climate  # noqa: F401
from screener.commands.app import app

__all__ = ["app", "main"]


def main() -> None:
    """Entry point of the `screener` command. What a terminal's code page lacks is shown as a mark, and ends nothing."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")
    if strange := [text for text in (*sys.argv[1:], os.getcwd()) if not _is_utf_8(text)]:
        told = ascii(strange[0]).strip("'").replace("\\udc", "\\x")
        sys.stderr.write(
            f"{told}: the tables' readers take names in UTF-8 alone; rename it, or link to it by another name\n"
        )
        sys.exit(2)
    app()


def _is_utf_8(text: str) -> bool:
    """Whether a name given to the program is text, not bytes that no reader of tables can open."""
    try:
        text.encode()
    except UnicodeEncodeError:
        return False
    return True
