"""Whose fault a result is that is not a number: the site, the hour and the step of the worksheets."""

import polars as pl

from screener.errors import ResultsError
from screener.formula import Formula, literal
from screener.worksheet.hours import Part


def blame(part: Part, hours: pl.DataFrame, tally: str) -> ResultsError:
    """The error that names the first step behind a tally (one of the part's) that is not a number somewhere in the year.

    `hours`: those of one site in their order, with what each carries from the one before and `at`, its place in the year.
    What is not a number is carried on, so the first hour that has it counts, and in it the first step in the order of the
    worksheets, as far as the tally needs them.
    """
    named = {each.name: literal(each.value) for each in (*part.tallies.slot, *part.tallies.year)}
    needed, frame = _needed(part, [named[tally], *map(literal, part.carried.values())]), hours.lazy()
    for sheet in part.sheets:
        frame = sheet.apply(frame)
    worked, steps = frame.collect(), [step for sheet in part.sheets for step in sheet.steps.values()]
    site_id, found = hours["site_id"][0], []
    for order, step in enumerate(each for each in steps if each.name in needed):
        values = worked[step.name]
        if values.dtype.is_float():
            wrong = worked.filter(~values.is_finite()).sort("at")
            if not wrong.is_empty():
                found.append((wrong["at"][0], order, step, wrong))
    if not found:
        return ResultsError(f"site {site_id}: {tally} is no finite number; look for extreme figures in its row")
    at, _, step, wrong = min(found, key=lambda each: each[:2])
    what = f"{step.name}{f' ({step.why})' if step.why else ''}"
    return ResultsError(
        f"site {site_id}: the step {what} is no finite number in {wrong.height:,} hours of the year, first in "
        f"hour {at} of its weather at {wrong['outdoor_c'][0]:.1f} degC outside; look for extreme figures "
        "in the site's row; if there are none, the formula of the step is at fault"
    )


def _needed(part: Part, formulas: list[Formula]) -> set[str]:
    """The steps that formulas need, and all that they need."""
    steps = {name: step for sheet in part.sheets for name, step in sheet.steps.items()}
    found, queue = set[str](), [name for formula in formulas for name in formula.columns()]
    while queue:
        name = queue.pop()
        if name in steps and name not in found:
            found.add(name)
            queue += steps[name].formula.columns()
    return found
