"""The files of a report, written into the folder of a run or into another one."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import polars as pl

from screener import outputs
from screener.errors import UsageError
from screener.report import gathering
from screener.report.page import portfolio_charts, portfolio_page
from screener.report.site import file_name, site_charts, site_page
from screener.report.workbook import of_texts
from screener.report.workbook import workbook as workbook_of

PAGE, WORKBOOK = "report.html", "ranking.xlsx"


def page_of(
    results: Mapping[str, Any], inputs: Mapping[str, pl.DataFrame], settings: Mapping[str, Any], run_date: str
) -> dict[str, str]:
    """The page of a run that is about to be written, by the name of its file.

    `results`: ranking and rejects, and strategies and sites_used to be read lazily. `inputs`: the tables it is made from.
    `run_date`: the day of the run.
    """
    ranking, strategies, sites, rejects = (results[name] for name in ("ranking", "strategies", "sites_used", "rejects"))
    found = gathering.findings(
        ranking,
        strategies,
        sites,
        rejects,
        inputs["strategies"],
        settings,
        run_date=run_date,
        own_columns=inputs["own_columns"],
    )
    return {PAGE: portfolio_page(found)}


def write(
    folder: Path, out: Path | None = None, workbook: bool = False, pictures: bool = False, where: Sequence[str] = ()
) -> list[Path]:
    """Write the report of a run once more, into its folder or into `out`; returns the files written.

    `where`: conditions that narrow it to some of the sites; such a report goes into a folder of its own.
    `workbook` adds ranking.xlsx and the rows left out as rejects.xlsx, `pictures` every chart of the report as an SVG
    file. UsageError for what is no run.
    """
    if where and (out is None or out.resolve() == folder.resolve()):
        raise UsageError("a report on some of the sites would stand for the run in its folder; give another with --out")
    run = outputs.open_run(folder)
    found = gathering.of_run(run, where)
    files: dict[str, str | bytes] = {PAGE: portfolio_page(found)}
    if workbook:
        files[WORKBOOK] = workbook_of(found)
        files |= {
            name.replace(".csv", ".xlsx"): of_texts("left out", rows) for name, rows in outputs.left_out(run).items()
        }
    if pictures:
        files |= {f"{name}.svg": chart.alone for name, chart in portfolio_charts(found).items()}
    return outputs.add_files(folder if out is None else out, files)


def write_site(folder: Path, site_id: str, out: Path | None = None, pictures: bool = False) -> list[Path]:
    """Write the page of one site, into the run's folder or into `out`; returns the files written.

    UsageError for what is no run, or a site that the run does not have.
    """
    found = gathering.site_findings(outputs.open_run(folder), site_id)
    files: dict[str, str | bytes] = {f"{file_name(site_id)}.html": site_page(found)}
    if pictures:
        files |= {f"{file_name(site_id)}-{name}.svg": chart.alone for name, chart in site_charts(found).items()}
    return outputs.add_files(folder if out is None else out, files)
