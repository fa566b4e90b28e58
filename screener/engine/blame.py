"""Whose fault a result is that is not a number: the site, the hour and the step of the worksheets."""

import polars as pl

from screener.errors import ResultsError
from screener.formula import Formula, literal
from screener.worksheet.columns import ColumnsYear
from screener.worksheet.hours import Hours


def blame(year: ColumnsYear, site: pl.DataFrame, hours: Hours, tally: str) -> ResultsError:
    """The error that names the first step behind a tally (one of the year's) that is not a number somewhere in the year.

    `site`: one row, as the engine takes it. Steps are looked at in the order of the worksheets, as far as the tally needs
    them; a step that only reads what is not a number comes after the one that made it.
    """
    named = {each.name: literal(each.value) for t in (year.dry, year.damp) for each in (*t.slot, *t.year)}
    needed = _needed(year, named[tally])
    site_id = site["site_id"].item()
    dry, damp = year.frames(site, hours)
    for frame, sheets in (((dry, (year.any_hour,))), (damp, (year.any_hour, year.damp_hour))):
        for step in (step for sheet in sheets for step in sheet.steps.values() if step.name in needed):
            values = frame[step.name]
            wrong = frame.filter(~values.is_finite()) if values.dtype.is_float() else frame.head(0)
            if not wrong.is_empty():
                first = wrong.row(0, named=True)
                what = f"{step.name}{f' ({step.why})' if step.why else ''}"
                return ResultsError(
                    f"site {site_id}: the step {what} is no finite number in {wrong.height:,} hours of the year, first in "
                    f"hour {first['at']} of its weather at {first['outdoor_c']:.1f} degC outside; look for extreme figures "
                    "in the site's row; if there are none, the formula of the step is at fault"
                )
    return ResultsError(f"site {site_id}: {tally} is no finite number; look for extreme figures in its row")


def _needed(year: ColumnsYear, formula: Formula) -> set[str]:
    """The steps that a formula needs, and all that they need."""
    steps = year.any_hour.steps | year.damp_hour.steps
    found, queue = set[str](), [*formula.columns()]
    while queue:
        name = queue.pop()
        if name in steps and name not in found:
            found.add(name)
            queue += steps[name].formula.columns()
    return found
