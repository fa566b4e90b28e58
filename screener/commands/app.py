"""What all commands share: the app and its options, how errors are told, how answers and notes are printed."""

import json
import os
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer

from screener import __version__, text
from screener.commands import printing

if TYPE_CHECKING:
    import polars as pl

CAUTION = (
    "Screening estimates, not designs. Work on electricity, refrigerant, fuel, condensate or ventilation "
    "belongs to licensed trades under local codes."
)
MOST_ROWS = 1_000_000_000  # printed
app = typer.Typer(
    context_settings={"help_option_names": ["-h", "--help"]},
    name="screener",
    help="Rank a portfolio of buildings by what better dehumidification would save at each of them.",
    epilog=CAUTION,
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)

Folder = Annotated[Path, typer.Argument(help="Portfolio folder: sites.csv, tariffs.csv and whatever else there is.")]
RunArgument = Annotated[Path, typer.Argument(metavar="RUN", help="Folder of an earlier run, its --out.")]
LedgerForm = Literal["hourly", "monthly"]
Json = Annotated[bool, typer.Option("--json", help="Print one JSON document instead of a table.")]
Quiet = Annotated[bool, typer.Option("--quiet", "-q", help="No progress and no notes; errors are still shown.")]
Top = Annotated[
    int, typer.Option("--top", min=1, max=MOST_ROWS, help="How many sites to print; the files always hold all.")
]


def _version(show: bool) -> None:
    """Called while options are still read: with the first option that has a value typer loads its validation library."""
    if show:
        typer.echo(f"screener {__version__}")
        raise typer.Exit(0)


@app.callback(invoke_without_command=True)
def screener(
    version: Annotated[
        bool, typer.Option("--version", help="Print the version and stop.", is_eager=True, callback=_version)
    ] = False,
) -> None:
    """Rank a portfolio of buildings by what better dehumidification would save at each of them."""


@contextmanager
def errors_in_words() -> Iterator[None]:
    """What a user can mend is told in words, with its exit code; anything else is a bug and shows its traceback."""
    from screener.errors import ScreenerError

    try:
        yield
    except ScreenerError as error:
        typer.echo(str(error), err=True)
        raise typer.Exit(error.exit_code) from None
    except BrokenPipeError:  # whoever read has read enough
        sys.stdout = open(os.devnull, "w")  # noqa: SIM115  # so that nothing is left to be flushed into the pipe
        raise typer.Exit(0) from None
    except OSError as error:
        if error.filename is None and error.errno is None:
            raise
        typer.echo(f"{error.strerror}: {error.filename or 'the results'}; choose another folder or make room", err=True)
        raise typer.Exit(2) from None


@contextmanager
def progress_line(quiet: bool) -> Iterator[Callable[[str], None]]:
    """One line on stderr that is written over, on a terminal only."""
    on = sys.stderr.isatty() and not quiet

    def tell(stage: str) -> None:
        if on:
            typer.echo(f"\r\x1b[2K{stage} ...", err=True, nl=False)

    try:
        yield tell
    finally:
        if on:
            typer.echo("\r\x1b[2K", err=True, nl=False)


def notes(notes: Iterator[str] | Sequence[str], quiet: bool) -> None:
    if not quiet:
        for note in notes:
            typer.echo(f"note: {text.printable(note)}", err=True)


def print_json(document: Mapping[str, Any] | Sequence[Mapping[str, Any]]) -> None:
    encoding = (getattr(sys.stdout, "encoding", None) or "utf-8").lower().replace("-", "")
    typer.echo(json.dumps(document, ensure_ascii=encoding != "utf8", indent=1, default=str))


def print_frame(frame: "pl.DataFrame", as_json: bool, empty: str = "nothing found") -> None:
    if as_json:
        print_json(frame.to_dicts())
    elif frame.is_empty():
        typer.echo(empty)
    else:
        typer.echo(printing.frame(frame))


def in_us_units(units: str) -> bool:
    from screener.errors import UsageError

    if units not in ("si", "us"):
        raise UsageError(f"--units is si or us, not {units}")
    return units == "us"
