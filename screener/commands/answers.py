"""Commands that ask a finished run: compared with another, in another order, a program within a budget."""

from pathlib import Path
from typing import Annotated

import typer

from screener.commands import printing
from screener.commands.app import (
    CAUTION,
    MOST_ROWS,
    Json,
    Quiet,
    RunArgument,
    Top,
    app,
    errors_in_words,
    notes,
    print_json,
)

WHERE = (
    "Condition such as climate_zone=2A or cost_saved>1000; also != < <= >= and ~ for a part of a text. May be repeated."
)
REQUIRE = (
    "How many sites at least or at most, of those that meet a condition (building_type=school>=3) "
    "or of every group (climate_zone<=5). May be repeated; needs the optional solver."
)
PROTECT = "Choose what saves most at the lower end: 0.2 is the 20th percentile of the run's odds, exceeded with 80 %."


@app.command()
def compare(
    run: RunArgument,
    other: Annotated[Path, typer.Argument(metavar="RUN2", help="Folder of the run to compare it with.")],
    top: Top = 15,
    as_json: Json = False,
    quiet: Quiet = False,
) -> None:
    """Compare two runs: what moved, by how much, which sites changed rank or best strategy, and why."""
    from screener import outputs
    from screener.ranking.compare import compare

    with errors_in_words():
        result = compare(outputs.open_run(run), outputs.open_run(other))
    if as_json:
        totals, sites = result.totals.to_dicts(), result.moved.to_dicts()
        print_json({"runs": [str(run), str(other)], "differs_in": result.changed, "totals": totals, "sites": sites})
    else:
        typer.echo(printing.comparison(result, top))


@app.command()
def rank(
    folder: RunArgument,
    by: Annotated[
        str, typer.Option("--by", help="Column to order by, of the ranking, the sites table or the odds.")
    ] = "net_savings",
    where: Annotated[list[str] | None, typer.Option("--where", help=WHERE)] = None,
    group_by: Annotated[
        list[str] | None, typer.Option("--group-by", help="Column to group by; may be repeated.")
    ] = None,
    ascending: Annotated[
        bool | None, typer.Option("--ascending/--descending", help="Least or greatest first; usually what is best.")
    ] = None,
    top: Annotated[
        int | None, typer.Option("--top", min=1, max=MOST_ROWS, help="How many rows to print; a table stops at 15.")
    ] = None,
    as_json: Json = False,
    quiet: Quiet = False,
) -> None:
    """Order, narrow or group the sites of a finished run, with what the rows down to each would save together."""
    from screener.ranking import questions

    with errors_in_words():
        found = questions.rank(folder, by, where or (), group_by or (), ascending)
        if as_json:
            rows = found.rows if top is None else found.rows.head(top)
            print_json({"run": str(folder), "rows": rows.to_dicts()})
        else:
            typer.echo(printing.listing(found, top or 15))


@app.command()
def choose(
    folder: RunArgument,
    budget: Annotated[float, typer.Option("--budget", help="Amount to invest, in the currency of the portfolio.")],
    phases: Annotated[int, typer.Option("--phases", min=1, max=50, help="Years, each with the budget.")] = 1,
    max_sites: Annotated[int | None, typer.Option("--max-sites", min=0, help="Change so many sites at most.")] = None,
    require: Annotated[list[str] | None, typer.Option("--require", help=REQUIRE)] = None,
    protect: Annotated[float | None, typer.Option("--protect", help=PROTECT)] = None,
    top: Top = 15,
    as_json: Json = False,
    quiet: Quiet = False,
) -> None:
    """Choose the changes with the highest net savings within a budget, one a site at most."""
    from screener.ranking import questions

    with errors_in_words():
        chosen = questions.choose(folder, budget, max_sites, require or (), phases, protect)
        if as_json:
            print_json({"run": str(folder), **chosen.figures, "changes": chosen.program.changes.to_dicts()})
        else:
            typer.echo(printing.program(chosen, top))
        notes([CAUTION], quiet)
