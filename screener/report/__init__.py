"""Pages and pictures of a run: frames in, HTML, SVG and a workbook out; nothing is worked out here that a table holds.

`page` is the report for people who decide, `site` the page of one site, `charts/` draws its pictures,
`workbook` fills a workbook.
"""

from screener.report.charts.psychrometric import Space
from screener.report.findings import Findings
from screener.report.page import portfolio_charts, portfolio_page
from screener.report.site import SiteFindings, file_name, site_charts, site_page
from screener.report.workbook import workbook

__all__ = [
    "Findings",
    "SiteFindings",
    "Space",
    "file_name",
    "portfolio_charts",
    "portfolio_page",
    "site_charts",
    "site_page",
    "workbook",
]
