"""The command that asks how sure a run is, and what to find out first."""

from typing import TYPE_CHECKING, Annotated

import typer

from screener import text
from screener.commands.app import (
    CAUTION,
    Json,
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
    from screener.odds import Odds

SITES: dict[str, tuple[str, text.Format]] = {
    "rank": ("rank", text.whole),
    "site_id": ("site", str),
    "best_strategy": ("best", text.words),
    "net_savings": ("net savings", text.rounded),
    "net_savings_p10": ("P10", text.rounded),
    "net_savings_p50": ("P50", text.rounded),
    "net_savings_p90": ("P90", text.rounded),
    "odds_pays": ("pays %", text.percent),
    "odds_best": ("is best %", text.percent),
    "odds_first": ("is first %", text.percent),
    "expected_loss": ("expected loss", text.rounded),
    "today": ("today's strategy", text.words),
}
FIRST_OUT: dict[str, tuple[str, text.Format]] = {
    "site_id": ("site", str),
    "figure": ("figure", str),
    "worth_knowing": ("worth knowing", text.rounded),
}
OF_ALL: dict[str, tuple[str, text.Format]] = {
    "figure": ("figure", str),
    "sites": ("sites", text.whole),
    "worth_knowing": ("worth knowing", text.rounded),
    "low": ("net savings where low", text.rounded),
    "high": ("where high", text.rounded),
}


@app.command()
def odds(
    run: RunArgument,
    draws: Annotated[int, typer.Option("--draws", help="How often the figures are drawn.")] = 200,
    seed: Annotated[int, typer.Option("--seed", help="The same seed gives the same odds, to the byte.")] = 1,
    first: Annotated[int, typer.Option("--first", min=1, help="How many sites a program would begin with.")] = 10,
    top: Top = 15,
    as_json: Json = False,
    quiet: Quiet = False,
    cluster: Annotated[
        str | None, typer.Option(metavar="ADDRESS", help="Share the draws among the workers of a Dask cluster.")
    ] = None,
) -> None:
    """Say how sure a run is: ranges of its savings, odds of its advice, and what to find out first."""
    from screener import odds as asking
    from screener.engine import Progress

    with errors_in_words():
        with progress_line(quiet) as tell:
            found = asking.odds(run, draws, seed, first, Progress(tell), cluster)
        if as_json:
            tables = {"sites": found.sites, "portfolio": found.portfolio, "figures": found.figures}
            print_json({"run": str(run), **{name: table.to_dicts() for name, table in tables.items()}})
        else:
            typer.echo(printed(found, top))
        notes([*found.notes, f"odds are in {run / 'odds.csv'}; `screener report {run}` shows them", CAUTION], quiet)


def printed(found: "Odds", top: int) -> str:
    """Ranges by site and of all, and what to find out first."""
    from screener.outputs import beside

    currency = found.settings["currency"]
    rows = [
        {**row, "today": "assumed" if row["current_strategy_assumed"] else "given"}
        for row in found.sites.head(top).to_dicts()
    ]
    lines = [text.table(rows, SITES)]
    if found.sites.height > top:
        lines.append(f"... and {text.count(found.sites.height - top, 'more site')} in odds.csv")
    total = {row["figure"]: row for row in found.portfolio.to_dicts()}
    net, saved = total["net_savings"], total["cost_saved"]
    lines += ["", f"Net savings of all: {_range(net)} {currency}; the run has {text.rounded(net['run'])}."]
    lines.append(f"Saved a year: {_range(saved)} {currency}; the run has {text.rounded(saved['run'])}.")
    lines.append("Exceeded with 90, 50 and 10 %: P10, P50, P90.")
    asked = beside.worth_finding_out(found.figures)
    if asked.is_empty():
        return "\n".join([*lines, "", "No blank is worth finding out: no figure would change the advice."])
    lines += ["", "What to find out first: blanks, and what knowing each before choosing is worth"]
    lines.append(text.table(asked.head(top).to_dicts(), FIRST_OUT))
    whole = found.figures.filter(found.figures["site_id"].is_null() & found.figures["worth_knowing"].is_not_null())
    lines += ["", "The same of all sites, and what the whole program saves where a figure is low or high"]
    lines.append(text.table(whole.head(top).to_dicts(), OF_ALL))
    return "\n".join(lines)


def _range(of: dict[str, float]) -> str:
    return " / ".join(text.rounded(of[name]) for name in ("p10", "p50", "p90"))
