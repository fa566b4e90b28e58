"""The commands: parse, call, print. The only place that prints or exits."""

from screener.commands.cli import main

__all__ = ["main"]
