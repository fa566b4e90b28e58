"""Commands that make a run, price it anew, explain it and write its report."""

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from screener import text
from screener.commands import printing
from screener.commands.app import (
    CAUTION,
    Folder,
    Json,
    LedgerForm,
    Quiet,
    RunArgument,
    Top,
    app,
    errors_in_words,
    notes,
    print_json,
    progress_line,
)

if TYPE_CHECKING:
    from screener.pipeline import Run


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
    from screener.engine import Progress

    with errors_in_words():
        with progress_line(quiet) as tell:
            result = pipeline.run(folder, out, force, strict, Progress(tell), ledger, cluster=cluster)
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
    from screener.engine import Progress

    with errors_in_words():
        with progress_line(quiet) as tell:
            result = pipeline.reprice(run, tariffs, out, force, Progress(tell))
        _print_run(result, out, top, as_json, quiet)
        notes([f"`screener report {out}` writes its report"], quiet)


@app.command()
def explain(
    run: RunArgument,
    site: Annotated[str, typer.Option("--site", help="The site's id.")],
    strategy: Annotated[str | None, typer.Option(help="A strategy; its best one unless named.")] = None,
    at: Annotated[str | None, typer.Option(help="An hour, MM-DDTHH; the dampest unless named.")] = None,
    as_json: Json = False,
    quiet: Quiet = False,
) -> None:
    """Walk a site's figures back to the weather: the year's account, then one hour, every step of it."""
    from screener import errors
    from screener import explain as explaining

    with errors_in_words():
        document = explaining.of_folder(run, site, strategy, at)
        if as_json:
            print_json(document)
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
    where: Annotated[
        list[str] | None, typer.Option("--where", help="Only sites that meet this condition, as of rank; needs --out.")
    ] = None,
    as_json: Json = False,
    quiet: Quiet = False,
) -> None:
    """Write the report of a run, or of some of its sites: one page to read, print and forward."""
    from screener import errors, outputs
    from screener import report as reports
    from screener.outputs import beside

    with errors_in_words():
        if site and where:
            raise errors.UsageError("--site and --where: give one of them")
        if site:
            files = [file for each in site for file in reports.write_site(run, each, out, pictures)]
        else:
            files = reports.write(run, out, workbook=xlsx, pictures=pictures, where=where or ())
            if where and beside.has_odds(outputs.open_run(run)):
                notes([f"the odds of {run} are of all its sites together: a report on some of them is without"], quiet)
        if as_json:
            print_json({"files": [str(file) for file in files]})
        else:
            typer.echo("\n".join(map(str, files)))


@app.command()
def verify(run: RunArgument, as_json: Json = False, quiet: Quiet = False) -> None:
    """See whether every file of a run is as the run left it, those for spreadsheets too."""
    from screener import errors, outputs

    with errors_in_words():
        found = outputs.verify(run)
        if as_json:
            print_json({"files": len(found.files), "changed": found.changed})
        else:
            typer.echo(f"{len(found.files) - len(found.changed)} of {len(found.files)} files are as the run left them")
        if found.changed:
            spoilt = any(file.endswith((".parquet", ".json")) for file in found.changed)
            way_out = "run the portfolio again" if spoilt else "no figure is read from files for spreadsheets or pages"
            raise errors.ResultsError(f"{run}: {', '.join(found.changed)} missing or changed since; {way_out}")


def _print_run(result: "Run", out: Path, top: int, as_json: bool, quiet: bool) -> None:
    if as_json:
        from screener.contracts import rejects  # which needs polars, as help does not

        totals = result.totals.row(0, named=True)
        ranking = result.ranking.to_dicts()
        told = rejects.in_words(len(ranking), result.rejects)
        aside = {"sites": told, "left_out": rejects.left_out(result.rejects), "rejected": result.rejects.height}
        print_json({**aside, "run": str(out), "totals": totals, "ranking": ranking})
    else:
        typer.echo(printing.summary(result, top))
    notes(_run_notes(result, out), quiet)


def _run_notes(result: "Run", out: Path) -> Iterator[str]:
    if not result.rejects.is_empty():
        yield f"{text.count(result.rejects.height, 'row')} left out; each with its reason in {out / 'rejects.csv'}"
    yield from result.notes
    yield f"results are in {out}"
    yield CAUTION
