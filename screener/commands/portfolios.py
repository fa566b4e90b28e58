"""Commands about a portfolio before it is run: an empty one, what its columns mean, what is wrong with it."""

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from screener import text
from screener.commands.app import Folder, Json, Quiet, app, errors_in_words, in_us_units, notes, print_json

if TYPE_CHECKING:
    from collections.abc import Sequence

    import polars as pl

    from screener.tables.adopting import Question


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
WORTH: dict[str, tuple[str, text.Format]] = {
    **{name: BLANK[name] for name in ("site_id", "name", "column")},
    "worth_knowing": ("worth knowing", text.rounded),
}
BLANKS = 5  # shown
SITE_NOTES = 10  # of a kind, shown
ODDS = "Run of this portfolio with odds: blanks by what knowing them is worth there, in place of fixed weights."


@app.command()
def new(
    folder: Annotated[Path, typer.Argument(help="Folder to make; must not hold anything yet.")],
    units: Annotated[str, typer.Option(help="Columns in si or us units.")] = "si",
    xlsx: Annotated[
        bool, typer.Option("--xlsx", help="One workbook with drop-down lists instead of CSV files.")
    ] = False,
    quiet: Quiet = False,
) -> None:
    """Write an empty portfolio to fill in: headers, an example row, notes."""
    from screener.tables import empty_portfolio

    with errors_in_words():
        files = empty_portfolio.write(folder, us=in_us_units(units), workbook=xlsx)
        typer.echo("\n".join(str(file) for file in files))


@app.command()
def adopt(
    files: Annotated[
        list[Path], typer.Argument(metavar="FILE...", help="Spreadsheets as they come: CSV, XLSX, Parquet.")
    ],
    out: Annotated[Path, typer.Option("--out", "-o", help="Portfolio folder to make, or to make anew.")],
    yes: Annotated[bool, typer.Option("--yes", "-y", help="Ask nothing: take what is proposed, and say so.")] = False,
    reading: Annotated[
        Path | None, typer.Option("--reading", help="A reading.toml of an earlier adoption; else that of --out.")
    ] = None,
    every_row: Annotated[
        list[str] | None,
        typer.Option(
            "--set", metavar="COLUMN=VALUE", help="What all rows say in a column no sheet has. May be repeated."
        ),
    ] = None,
    force: Annotated[bool, typer.Option("--force", help="Write over tables that were changed by hand.")] = False,
    as_json: Json = False,
    quiet: Quiet = False,
) -> None:
    """Make a portfolio of a chain's spreadsheets, asking once what their headings, sheets and words mean."""
    from screener import errors, pipeline
    from screener.contracts import rejects
    from screener.tables import adopting
    from screener.tables.portfolio import left_blank

    with errors_in_words():
        stated = dict(_stated(each) for each in every_row or ())
        found = adopting.adopt(files, out, _propose if yes else _ask, reading, stated, force)
        if not as_json and not quiet:
            typer.echo(text.table(found.taken, HEADINGS) + "\n", err=True)
        assumed = [f'{question} Taken: "{answer}"' for question, answer in found.answers] if yes else []
        notes([*found.notes, *assumed], quiet)
        try:
            portfolio, sites = pipeline.check(out)
        except errors.ContractError as error:
            typer.echo(f"{text.count(found.rows, 'row')} written to {out}; none can be ranked yet:", err=True)
            raise error from None
        notes(left_blank(portfolio.blanked), quiet)
        told = rejects.in_words(sites.height, portfolio.rejects).replace("ranked", "can be ranked", 1)
        if as_json:
            counts = {
                "sites": told,
                "left_out": rejects.left_out(portfolio.rejects),
                "faults": portfolio.faults.to_dicts(),
            }
            print_json({**counts, "headings": found.taken, "files": [str(file) for file in found.files]})
        else:
            typer.echo(told)
            if not portfolio.faults.is_empty():
                typer.echo(f"\n{errors.describe(portfolio.faults)}")
            typer.echo("\n" + "\n".join(str(file) for file in found.files))


HEADINGS: dict[str, tuple[str, text.Format]] = {
    name: (name, text.shortened(width)) for name, width in (("heading", 26), ("taken for", 24), ("such as", 22))
}


def _stated(each: str) -> tuple[str, str]:
    from screener import errors

    name, equals, value = each.partition("=")
    if not equals or not value.strip():
        raise errors.UsageError(f"--set {each}: write COLUMN=VALUE, such as building_type=supermarket")
    return name.strip().lower(), value.strip()


def _propose(question: "Question") -> int:
    return question.proposed


def _ask(question: "Question") -> int:
    """One question on the terminal: what may be answered by number, what is proposed by the enter key."""
    from screener import errors

    typer.echo("\n".join(["", text.printable(question.text), *_numbered(question.options)]), err=True)
    while True:
        try:
            answer = typer.prompt("Number", default=str(question.proposed + 1), err=True).strip()
        except typer.Abort:
            way_out = "answer on a terminal, add --yes to take what is proposed, or give a --reading"
            raise errors.UsageError(f"not answered: {text.printable(question.text)} {way_out}") from None
        if answer.isdecimal() and 0 < int(answer) <= len(question.options):
            return int(answer) - 1
        typer.echo(f"a number from 1 to {len(question.options)}", err=True)


def _numbered(options: "Sequence[str]") -> Iterator[str]:
    for at, option in enumerate(options, start=1):
        yield f"  {at:>2}  {text.printable(option)}"


@app.command()
def schema(
    table: Annotated[str | None, typer.Argument(help="Name of a table; none lists them.")] = None,
    as_json: Json = False,
    quiet: Quiet = False,
) -> None:
    """Say what a table's columns mean, their units and bounds."""
    from screener import contracts, errors
    from screener.contracts import in_words

    with errors_in_words():
        if table is None:
            listed = [{"table": name, "holds": in_words.summary(contracts.load(name))} for name in in_words.names()]
            if as_json:
                print_json(listed)
            else:
                typer.echo(text.table(listed, {"table": ("table", str), "holds": ("holds", str)}))
        elif table not in in_words.names():
            raise errors.UsageError(f"there is no table {table}; the tables are {', '.join(in_words.names())}")
        elif as_json:
            print_json(contracts.read(table))
        else:
            typer.echo(in_words.in_words(contracts.load(table)))


@app.command()
def check(
    folder: Folder,
    run: Annotated[Path | None, typer.Option("--odds", metavar="RUN", help=ODDS)] = None,
    as_json: Json = False,
    quiet: Quiet = False,
) -> None:
    """Read a portfolio and say everything that is wrong with it; exit code 3 where anything is."""
    from screener import errors, pipeline
    from screener.assumptions import plausible, weights

    with errors_in_words():
        portfolio, sites = pipeline.check(folder)
        faults, complete = portfolio.faults, weights.completeness(sites)
        blanks = weights.blanks(sites, BLANKS) if run is None else _by_odds(run, sites)
        unknown = [] if run is None else _not_asked(run, sites)
        if as_json:
            counts = {"sites": sites.height, "rejected": portfolio.rejects.height, "faults": faults.to_dicts()}
            print_json(counts | {"completeness": complete.to_dicts(), "blanks": blanks.to_dicts()})
        else:
            typer.echo(f"{portfolio.settings.name}: {text.count(sites.height, 'good site')}{_zones(sites)}.")
            if not sites.is_empty():
                typer.echo(f"\n{_completeness(complete, blanks)}")
            if not faults.is_empty():
                typer.echo(f"\n{errors.describe(faults)}")
        of_places = sites.select("site_id", note="climate_note").drop_nulls()
        of_figures = (plausible.of_inputs(sites), plausible.of_ratings(sites))
        noted = [note for notes_of in (of_places, *of_figures) for note in _site_notes(notes_of)]
        notes([*unknown, *portfolio.notes, *noted], quiet)
        if not faults.is_empty():
            raise typer.Exit(3)


def _completeness(complete: "pl.DataFrame", blanks: "pl.DataFrame") -> str:
    """How often each figure is given, and the blanks that would firm up the ranking most if they were filled."""
    lines = [text.table(complete.sort("share", descending=True, maintain_order=True).to_dicts(), COMPLETENESS)]
    if not blanks.is_empty():
        lines += [
            "",
            "Filling these would firm up the ranking most:",
            "",
            text.table(blanks.to_dicts(), WORTH if "worth_knowing" in blanks.columns else BLANK),
        ]
    return "\n".join(lines)


def _by_odds(run: Path, sites: "pl.DataFrame") -> "pl.DataFrame":
    """The blanks that are worth most to fill by the odds of a run, but for what these sites state by now: `site_id`, `name`,
    `column` and `worth_knowing`."""
    import polars as pl

    from screener import outputs
    from screener.contracts.origins import is_given
    from screener.outputs import beside

    asked = beside.worth_finding_out(beside.odds_table(outputs.open_run(run), "odds_figures"))
    columns = [name for name in asked["figure"].unique() if f"{name}_origin" in sites.columns]
    given = sites.select("site_id", *(is_given(name).alias(name) for name in columns)).unpivot(
        columns, index="site_id", variable_name="figure", value_name="given"
    )
    left = asked.join(given.filter("given"), on=["site_id", "figure"], how="anti", maintain_order="left")
    named = left.join(sites.select("site_id", "name"), on="site_id", maintain_order="left")
    return named.select("site_id", "name", pl.col("figure").alias("column"), "worth_knowing").head(BLANKS)


def _not_asked(run: Path, sites: "pl.DataFrame") -> list[str]:
    """A note on sites that the odds of `run` know nothing of; UsageError where that is every one."""
    from screener import errors, outputs
    from screener.outputs import beside

    there = beside.odds_table(outputs.open_run(run), "odds")["site_id"]
    without = sites.filter(~sites["site_id"].is_in(there.implode())).height
    if sites.height and without == sites.height:
        raise errors.UsageError(f"{run} has odds of none of these sites; --odds takes a run of this portfolio")
    return [f"{run} has no odds of {without} of these sites: what they leave blank is not weighed"] if without else []


def _site_notes(notes: "pl.DataFrame") -> Iterator[str]:
    """The first notes of `site_id, note` rows; the ranking of a run has all of them."""
    for site, note in notes.select("site_id", "note").head(SITE_NOTES).iter_rows():
        yield f"site {site}: {note}"
    if notes.height > SITE_NOTES:
        yield f"{notes.height - SITE_NOTES:,} more notes like these; a run has all of them in ranking.csv"


def _zones(sites: "pl.DataFrame") -> str:
    zones = sites["climate_zone"].drop_nulls().unique().sort()
    return f" in {text.count(len(zones), 'climate zone')} ({', '.join(zones)})" if len(zones) else ""
