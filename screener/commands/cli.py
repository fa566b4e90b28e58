"""The commands: parse, call the pipeline, print. The only place that prints or exits.

stdout carries only the answer: a table for people, or one JSON document with --json. Progress and notes go to stderr,
progress only on a terminal. Heavy packages are imported inside the commands, so that --help answers at once.
"""

import json
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

    from screener.pipeline import Run

CAUTION = (
    "Screening estimates, not designs. Work on electricity, refrigerant, fuel, condensate or ventilation "
    "belongs to licensed trades under local codes."
)
app = typer.Typer(
    name="screener",
    help="Rank a portfolio of buildings by what better dehumidification would save at each of them.",
    epilog=CAUTION,
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)
climate_app = typer.Typer(help="The weather stations that come with the package.", no_args_is_help=True)
app.add_typer(climate_app, name="climate")

Folder = Annotated[Path, typer.Argument(help="Portfolio folder: sites.csv, tariffs.csv and whatever else there is.")]
RunArgument = Annotated[Path, typer.Argument(metavar="RUN", help="Folder of an earlier run, its --out.")]
LedgerForm = Literal["hourly", "monthly"]
WHERE = (
    "Condition such as climate_zone=2A or cost_saved>1000; also != < <= >= and ~ for a part of a text. May be repeated."
)
REQUIRE = (
    "How many sites at least or at most, of those that meet a condition (building_type=school>=3) "
    "or of every group (climate_zone<=5). May be repeated; needs the optional solver."
)
Json = Annotated[bool, typer.Option("--json", help="Print one JSON document instead of a table.")]
Quiet = Annotated[bool, typer.Option("--quiet", "-q", help="No progress and no notes; errors are still shown.")]
Top = Annotated[int, typer.Option("--top", min=1, help="How many sites to print; the files always hold all.")]

COMPLETENESS: dict[str, tuple[str, text.Format]] = {
    "column": ("figure", str),
    "given": ("given", text.whole),
    "sites": ("of sites", text.whole),
    "share": ("% of assumptions", text.percent),
}
BLANK: dict[str, tuple[str, text.Format]] = {
    "site_id": ("site", str),
    "name": ("name", text.words),
    "column": ("figure", str),
    "share": ("% of assumptions", text.percent),
}
BLANKS = 5  # shown
SITE_NOTES = 10  # of a kind, shown
STATION = ["station", "name", "state", "climate_zone", "latitude", "longitude", "elevation_m"]
STATION += ["dry_bulb_04_c", "dew_point_04_c", "heating_996_c"]


def main() -> None:
    """Entry point of the `screener` command."""
    app()


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


@app.command()
def new(
    folder: Annotated[Path, typer.Argument(help="Folder to make; must not hold anything yet.")],
    units: Annotated[str, typer.Option(help="Columns in si or us units.")] = "si",
    xlsx: Annotated[
        bool, typer.Option("--xlsx", help="One workbook with drop-down lists instead of CSV files.")
    ] = False,
) -> None:
    """Write an empty portfolio to fill in: headers, an example row, notes."""
    from screener.tables import empty_portfolio

    with _errors_in_words():
        files = empty_portfolio.write(folder, us=_in_us_units(units), workbook=xlsx)
        typer.echo("\n".join(str(file) for file in files))


@app.command()
def schema(
    table: Annotated[str | None, typer.Argument(help="Name of a table; none lists them.")] = None,
    as_json: Json = False,
) -> None:
    """Say what a table's columns mean, their units and bounds."""
    from screener import contracts, errors
    from screener.contracts import in_words

    with _errors_in_words():
        if table is None:
            listed = [{"table": name, "holds": in_words.summary(contracts.load(name))} for name in in_words.names()]
            if as_json:
                _print_json(listed)
            else:
                typer.echo(text.table(listed, {"table": ("table", str), "holds": ("holds", str)}))
        elif table not in in_words.names():
            raise errors.UsageError(f"there is no table {table}; the tables are {', '.join(in_words.names())}")
        elif as_json:
            _print_json(contracts.read(table))
        else:
            typer.echo(in_words.in_words(contracts.load(table)))


@app.command()
def check(folder: Folder, as_json: Json = False, quiet: Quiet = False) -> None:
    """Read a portfolio and say everything that is wrong with it; exit code 3 where anything is."""
    from screener import errors, pipeline
    from screener.assumptions import plausible, weights

    with _errors_in_words():
        portfolio, sites = pipeline.check(folder)
        faults, complete, blanks = portfolio.faults, weights.completeness(sites), weights.blanks(sites, BLANKS)
        if as_json:
            counts = {"sites": sites.height, "rejected": portfolio.rejects.height, "faults": faults.to_dicts()}
            _print_json(counts | {"completeness": complete.to_dicts(), "blanks": blanks.to_dicts()})
        else:
            typer.echo(f"{portfolio.settings.name}: {text.count(sites.height, 'good site')}{_zones(sites)}.")
            if not sites.is_empty():
                typer.echo(f"\n{_completeness(complete, blanks)}")
            if not faults.is_empty():
                typer.echo(f"\n{errors.describe(faults)}")
        of_places = sites.select("site_id", note="climate_note").drop_nulls()
        _notes([*portfolio.notes, *_site_notes(of_places), *_site_notes(plausible.of_inputs(sites))], quiet)
        if not faults.is_empty():
            raise typer.Exit(3)


@app.command()
def run(
    folder: Folder,
    out: Annotated[Path, typer.Option("--out", "-o", help="Folder for the results; made new.")],
    force: Annotated[bool, typer.Option("--force", help="Replace an earlier run in that folder.")] = False,
    strict: Annotated[bool, typer.Option("--strict", help="Stop at any fault instead of leaving rows out.")] = False,
    ledger: Annotated[
        LedgerForm, typer.Option(help="monthly: far smaller, but new tariffs keep its windows.")
    ] = "hourly",
    cluster: Annotated[
        str | None, typer.Option(metavar="ADDRESS", help="Share the work among the workers of a Dask cluster.")
    ] = None,
    top: Top = 15,
    as_json: Json = False,
    quiet: Quiet = False,
) -> None:
    """Work out every strategy at every site, price it, rank the sites and write a run folder."""
    from screener import pipeline

    with _errors_in_words():
        with _progress(quiet) as tell:
            result = pipeline.run(folder, out, force, strict, pipeline.Watch(tell), ledger, cluster=cluster)
        _print_run(result, out, top, as_json, quiet)


@app.command()
def price(
    run: RunArgument,
    tariffs: Annotated[Path, typer.Option("--tariffs", help="Folder of tariff tables, or a file of tariffs alone.")],
    out: Annotated[Path, typer.Option("--out", "-o", help="Folder for the results; made new.")],
    force: Annotated[bool, typer.Option("--force", help="Replace an earlier run in that folder.")] = False,
    top: Top = 15,
    as_json: Json = False,
    quiet: Quiet = False,
) -> None:
    """Price an earlier run with other tariffs: the results of a whole run with them, in seconds."""
    from screener import pipeline

    with _errors_in_words():
        with _progress(quiet) as tell:
            result = pipeline.reprice(run, tariffs, out, force, pipeline.Watch(tell))
        _print_run(result, out, top, as_json, quiet)
        _notes([f"`screener report {out}` writes its report"], quiet)


@app.command()
def explain(
    run: RunArgument,
    site: Annotated[str, typer.Option("--site", help="The site's id.")],
    strategy: Annotated[str | None, typer.Option(help="A strategy; its best one unless named.")] = None,
    at: Annotated[str | None, typer.Option(help="An hour, MM-DDTHH; the dampest unless named.")] = None,
    as_json: Json = False,
) -> None:
    """Walk a site's figures back to the weather: the year's account, then one hour, every step of it."""
    from screener import errors, pipeline
    from screener import explain as explaining

    with _errors_in_words():
        document = pipeline.explain(run, site, strategy, at)
        if as_json:
            _print_json(document)
        else:
            typer.echo(explaining.printed(document))
        if not document["checks"]["agree"]:
            raise errors.ResultsError(explaining.checks(document).strip())


@app.command()
def report(
    run: RunArgument,
    out: Annotated[Path | None, typer.Option("--out", "-o", help="Another folder for the files.")] = None,
    xlsx: Annotated[bool, typer.Option("--xlsx", help="Write ranking.xlsx too.")] = False,
    pictures: Annotated[bool, typer.Option("--pictures", help="Write every chart as an SVG file too.")] = False,
    site: Annotated[list[str] | None, typer.Option("--site", help="Write the page of this site instead.")] = None,
    as_json: Json = False,
) -> None:
    """Write the report of a run, or of some of its sites: one page to read, print and forward."""
    from screener import pipeline

    with _errors_in_words():
        if site:
            files = [file for each in site for file in pipeline.write_site_report(run, each, out, pictures)]
        else:
            files = pipeline.write_report(run, out, workbook=xlsx, pictures=pictures)
        if as_json:
            _print_json({"files": [str(file) for file in files]})
        else:
            typer.echo("\n".join(map(str, files)))


@app.command()
def compare(
    run: RunArgument,
    other: Annotated[Path, typer.Argument(metavar="RUN2", help="Folder of the run to compare it with.")],
    top: Top = 15,
    as_json: Json = False,
) -> None:
    """Compare two runs: what moved, by how much, which sites changed rank or best strategy, and why."""
    from screener import outputs
    from screener.ranking.compare import compare

    with _errors_in_words():
        result = compare(outputs.open_run(run), outputs.open_run(other))
    if as_json:
        totals, sites = result.totals.to_dicts(), result.moved.to_dicts()
        _print_json({"runs": [str(run), str(other)], "differs_in": result.changed, "totals": totals, "sites": sites})
    else:
        typer.echo(printing.comparison(result, top))


@app.command()
def rank(
    folder: RunArgument,
    by: Annotated[
        str, typer.Option("--by", help="Column to order by, of the ranking or the sites table.")
    ] = "net_savings",
    where: Annotated[list[str] | None, typer.Option("--where", help=WHERE)] = None,
    group_by: Annotated[
        list[str] | None, typer.Option("--group-by", help="Column to group by; may be repeated.")
    ] = None,
    ascending: Annotated[
        bool | None, typer.Option("--ascending/--descending", help="Least first; greatest first is usual for numbers.")
    ] = None,
    top: Annotated[
        int | None, typer.Option("--top", min=1, help="How many rows to print; a table stops at 15.")
    ] = None,
    as_json: Json = False,
) -> None:
    """Order, narrow or group the sites of a finished run, with what the rows down to each would save together."""
    from screener.ranking import questions

    with _errors_in_words():
        found = questions.rank(folder, by, where or (), group_by or (), ascending)
        if as_json:
            rows = found.rows if top is None else found.rows.head(top)
            _print_json({"run": str(folder), "rows": rows.to_dicts()})
        else:
            typer.echo(printing.listing(found, top or 15))


@app.command()
def choose(
    folder: RunArgument,
    budget: Annotated[float, typer.Option("--budget", help="Amount to invest, in the currency of the portfolio.")],
    phases: Annotated[int, typer.Option("--phases", min=1, max=50, help="Years, each with the budget.")] = 1,
    max_sites: Annotated[int | None, typer.Option("--max-sites", min=0, help="Change so many sites at most.")] = None,
    require: Annotated[list[str] | None, typer.Option("--require", help=REQUIRE)] = None,
    top: Top = 15,
    as_json: Json = False,
    quiet: Quiet = False,
) -> None:
    """Choose the changes with the highest net savings within a budget, one a site at most."""
    from screener.ranking import questions

    with _errors_in_words():
        chosen = questions.choose(folder, budget, max_sites, require or (), phases)
        if as_json:
            _print_json({"run": str(folder), **chosen.figures, "changes": chosen.program.changes.to_dicts()})
        else:
            typer.echo(printing.program(chosen, top))
        _notes([CAUTION], quiet)


@climate_app.command("list")
def climate_list(
    state: Annotated[str | None, typer.Option(help="Two letters, such as FL.")] = None,
    zone: Annotated[str | None, typer.Option(help="Climate zone, such as 2A.")] = None,
    as_json: Json = False,
) -> None:
    """List the stations, all or those of a state or a climate zone."""
    import polars as pl

    from screener import climate

    with _errors_in_words():
        found = climate.stations()
        for column, wanted in (("state", state), ("climate_zone", zone)):
            if wanted is not None:
                found = found.filter(pl.col(column) == wanted.strip().upper())
        _print_frame(
            found if as_json else found.select(STATION),
            as_json,
            "no station matches; run `screener climate list` for all of them",
        )


@climate_app.command("show")
def climate_show(
    station: Annotated[str, typer.Argument(help="Station number, as in `screener climate list`.")],
    units: Annotated[str, typer.Option(help="si or us.")] = "si",
    as_json: Json = False,
) -> None:
    """Show one station's year month by month."""
    from screener import climate
    from screener import units as conversion

    with _errors_in_words():
        us = _in_us_units(units)
        figures = climate.monthly_figures(station)
        _print_frame(conversion.to_us(figures) if us else figures, as_json)


@climate_app.command("find")
def climate_find(
    place: Annotated[str, typer.Argument(help='Postal code ("33101"), "latitude,longitude" or climate zone ("2A").')],
    as_json: Json = False,
) -> None:
    """Find the station for a place, with its distance."""
    from screener import climate

    with _errors_in_words():
        _print_frame(climate.find(place), as_json)


def _print_run(result: "Run", out: Path, top: int, as_json: bool, quiet: bool) -> None:
    if as_json:
        totals = result.totals.row(0, named=True)
        ranking = result.ranking.to_dicts()
        _print_json({"run": str(out), "totals": totals, "rejected": result.rejects.height, "ranking": ranking})
    else:
        typer.echo(printing.summary(result, top))
    _notes(_run_notes(result, out), quiet)


def _run_notes(result: "Run", out: Path) -> Iterator[str]:
    if not result.rejects.is_empty():
        yield f"{text.count(result.rejects.height, 'row')} left out; each with its reason in {out / 'rejects.csv'}"
    yield from result.notes
    yield f"results are in {out}"
    yield CAUTION


def _completeness(complete: "pl.DataFrame", blanks: "pl.DataFrame") -> str:
    """How often each figure is given, and the blanks that would firm up the ranking most if they were filled."""
    lines = [text.table(complete.sort("share", descending=True, maintain_order=True).to_dicts(), COMPLETENESS)]
    if not blanks.is_empty():
        lines += ["", "Filling these would firm up the ranking most:", "", text.table(blanks.to_dicts(), BLANK)]
    return "\n".join(lines)


def _site_notes(notes: "pl.DataFrame") -> Iterator[str]:
    """The first notes of `site_id, note` rows; the ranking of a run has all of them."""
    for site, note in notes.select("site_id", "note").head(SITE_NOTES).iter_rows():
        yield f"site {site}: {note}"
    if notes.height > SITE_NOTES:
        yield f"{notes.height - SITE_NOTES:,} more notes like these; a run has all of them in ranking.csv"


def _zones(sites: "pl.DataFrame") -> str:
    zones = sites["climate_zone"].drop_nulls().unique().sort()
    return f" in {text.count(len(zones), 'climate zone')} ({', '.join(zones)})" if len(zones) else ""


def _in_us_units(units: str) -> bool:
    from screener.errors import UsageError

    if units not in ("si", "us"):
        raise UsageError(f"--units is si or us, not {units}")
    return units == "us"


def _notes(notes: Iterator[str] | Sequence[str], quiet: bool) -> None:
    if not quiet:
        for note in notes:
            typer.echo(f"note: {text.printable(note)}", err=True)


@contextmanager
def _progress(quiet: bool) -> Iterator[Callable[[str], None]]:
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


@contextmanager
def _errors_in_words() -> Iterator[None]:
    """What a user can mend is told in words, with its exit code; anything else is a bug and shows its traceback."""
    from screener.errors import ScreenerError

    try:
        yield
    except ScreenerError as error:
        typer.echo(str(error), err=True)
        raise typer.Exit(error.exit_code) from None
    except OSError as error:
        if error.filename is None and error.errno is None:
            raise
        typer.echo(f"{error.strerror}: {error.filename or 'the results'}; choose another folder or make room", err=True)
        raise typer.Exit(2) from None


def _print_json(document: Mapping[str, Any] | Sequence[Mapping[str, Any]]) -> None:
    typer.echo(json.dumps(document, ensure_ascii=False, indent=1, default=str))


def _print_frame(frame: "pl.DataFrame", as_json: bool, empty: str = "nothing found") -> None:
    if as_json:
        _print_json(frame.to_dicts())
    elif frame.is_empty():
        typer.echo(empty)
    else:
        typer.echo(printing.frame(frame))


if __name__ == "__main__":
    main()
