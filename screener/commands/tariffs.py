"""Commands about tariffs by themselves: rate sheets of others as tables, and a tariff seen."""

from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Any

import typer

from screener import text
from screener.commands.app import Json, Quiet, app, errors_in_words, notes, print_json

tariffs_app = typer.Typer(help="Rate sheets as tariff tables, and what a tariff charges.", no_args_is_help=True)
app.add_typer(tariffs_app, name="tariffs")
LEVELS = "abcdefghijklmnopqrstuvwxyz"
MANY = 20  # sheets that are told
LOST: dict[str, tuple[str, text.Format]] = {"sheet": ("sheet", str), "lost": ("not carried over", str)}
CHARGE: dict[str, tuple[str, text.Format]] = {
    "charge": ("charge", str),
    "block": ("block", str),
    "months": ("months", str),
    "hours": ("% of hours", text.percent),
    "price": ("price", text.decimals(5)),
}
ITEM: dict[str, tuple[str, text.Format]] = {
    "charge": ("charge", str),
    "amount": ("amount", text.decimals(2)),
}


@tariffs_app.command("import")
def tariffs_import(
    source: Annotated[Path, typer.Argument(help="A file of rate sheets, or a folder of them.")],
    out: Annotated[Path, typer.Option("--out", "-o", help="Folder for the tariff tables.")],
    force: Annotated[bool, typer.Option("--force", help="Replace tariff tables in that folder.")] = False,
    as_json: Json = False,
    quiet: Quiet = False,
) -> None:
    """Carry rate sheets over into tariff tables: the open sheet form, the JSON of the open rate database,
    and CSV files of 8,760 hourly prices (their means by month, kind of day and hour).

    A sheet of which something would be lost is left out, and told with the reason; imported.csv has all.
    """
    from screener import rate_sheets

    with errors_in_words():
        imported = rate_sheets.read(source)
        files = rate_sheets.write(imported, out, force)
        lost = [{"sheet": sheet.label, "lost": "; ".join(sheet.lost)} for sheet in imported.sheets if sheet.lost]
        whole = imported.whole
        if as_json:
            remarks = {sheet.label: sheet.remarks for sheet in whole if sheet.remarks}
            counts = {"sheets": len(imported.sheets), "imported": len(whole)}
            print_json(counts | {"lost": lost, "remarks": remarks, "files": [str(file) for file in files]})
            return
        if lost:
            typer.echo(text.table(lost[:MANY], LOST) + "\n")
        typer.echo(f"{text.count(len(imported.sheets), 'sheet')} read, {len(whole):,} imported to {out}.")
        remarked = sum(bool(sheet.remarks) for sheet in whole)
        notes([f"{text.count(remarked, 'sheet')} with remarks: see imported.csv"] if remarked else [], quiet)


@tariffs_app.command("show")
def tariffs_show(
    tariff_id: Annotated[str, typer.Argument(metavar="ID", help="Name of the tariff.")],
    folder: Annotated[Path, typer.Option("--tariffs", help="Portfolio, folder of tariff tables, or a file.")] = Path(),
    month: Annotated[int | None, typer.Option(min=1, max=12, help="The month whose bill is shown.")] = None,
    load: Annotated[
        Path | None, typer.Option(help="CSV of 8,760 hours: electricity_kw, fuel_kw. None: a steady 100 kW.")
    ] = None,
    picture: Annotated[
        Path | None, typer.Option(help="Write the week and the year in prices as an SVG file too.")
    ] = None,
    as_json: Json = False,
    quiet: Quiet = False,
) -> None:
    """Show a tariff: the week and the year in prices, its charges, and the bill of a load in a month."""
    from screener.errors import UsageError
    from screener.explain import tariff

    with errors_in_words():
        shown = tariff.of_folder(folder, tariff_id, load)
        bills = [bill for bill in shown["bills"] if month in (None, bill["month"])]
        if picture:
            from screener.report.charts.tariff_hours import tariff_hours

            try:
                picture.write_text(tariff_hours(shown["prices"], tariff_id).alone, encoding="utf-8")
            except OSError as error:
                raise UsageError(f"cannot write {picture} ({error.strerror}); name another file") from error
        if as_json:
            print_json(shown | {"bills": bills})
            return
        typer.echo("\n".join([*_picture(shown["prices"]), "", *_charges(shown["charges"]), ""]))
        asked = bills[0] if month else next((bill for bill in bills if bill["month"] == 7), bills[0])
        typer.echo("\n".join(_bill(asked, shown["load"])))


def _picture(prices: list[dict[str, Any]]) -> Iterator[str]:
    """A line of 24 letters per month and kind of day, the dearest price the last letter; equal lines together."""
    levels = sorted({each for row in prices for each in row["prices"]})
    step = max(-(-len(levels) // len(LEVELS)), 1)
    letter = {level: LEVELS[at // step] for at, level in enumerate(levels)}
    drawn: dict[tuple[str, str], list[int]] = {}
    for row in prices:
        line = "".join(letter[each] for each in row["prices"])
        drawn.setdefault((row["day_kind"], line), []).append(row["month"])
    yield "Electricity by the hour of the day, first block"
    yield f"{'':24}0     6     12    18    "
    for (kind, line), months in sorted(drawn.items(), key=lambda each: (each[1], each[0][0] != "working")):
        yield f"{_months(months):14} {kind:8} {line}"
    for used in sorted({*letter.values()}):
        mine = [level for level in levels if letter[level] == used]
        yield f"  {used}  {mine[0]:.5f}" + (f" to {mine[-1]:.5f}" if len(mine) > 1 else "") + " per kWh"


def _charges(charges: list[dict[str, Any]]) -> Iterator[str]:
    rows = [
        row | {"block": _block(row), "months": _months(row["months"]), "hours": row["share_of_hours"]}
        for row in charges
    ]
    yield text.table(rows, CHARGE)


def _bill(bill: dict[str, Any], load: str) -> Iterator[str]:
    from screener import calendar

    month, used = calendar.MONTHS[bill["month"] - 1].capitalize(), f"{bill['electricity_kwh']:,.0f} kWh"
    yield f"Bill of {month} for {load}: {used}, highest {bill['peak_kw']:,.1f} kW"
    fixed = [{"charge": "fixed", "amount": bill["fixed"]}] if bill["fixed"] else []
    yield text.table([*bill["charges"], *fixed, {"charge": "total", "amount": bill["total"]}], ITEM)
    if bill["fuel_cost"] is None:
        yield f"The load burns {bill['fuel_kwh']:,.0f} kWh of fuel, which the tariff has no price for: no total."


def _block(row: dict[str, Any]) -> str:
    unit = row.get("block_unit", "")
    if not row["above"] and row["up_to"] is None:
        return ""
    if row["up_to"] is None:
        return f"above {row['above']:,.6g} {unit}".strip()
    return f"{row['above']:,.6g} to {row['up_to']:,.6g} {unit}".strip()


def _months(months: list[int]) -> str:
    """`1-5,10-12`."""
    spans: list[list[int]] = []
    for month in sorted(months):
        if spans and spans[-1][1] == month - 1:
            spans[-1][1] = month
        else:
            spans.append([month, month])
    return ",".join(f"{a}-{b}" if a != b else str(a) for a, b in spans)
