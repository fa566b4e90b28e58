"""How large a report of many sites becomes: the example's tables, each site many times over."""

from pathlib import Path

import polars as pl
import pytest

from screener.outputs import open_run
from screener.report import gathering
from screener.report.findings import Findings
from screener.report.page import portfolio_page
from tests.report.reading import page

COPIES = 162  # of 62 sites: 10 044


def copies(frame: pl.DataFrame) -> pl.DataFrame:
    """Every row once more for every copy, the sites under names of their own."""
    numbers = pl.DataFrame({"copy": [f"{k:03}" for k in range(COPIES)]})
    return frame.join(numbers, how="cross").with_columns(site_id=pl.concat_str("site_id", "copy")).drop("copy")


@pytest.fixture(scope="module")
def many(example: Path) -> Findings:
    run = open_run(example)
    results, sites = (copies(run.table(name).collect()) for name in ("strategies", "sites_used"))
    ranking = copies(run.table("ranking").collect()).sort("net_savings", "site_id", descending=[True, False])
    ranking = ranking.with_columns(rank=pl.int_range(1, pl.len() + 1))
    return gathering.findings(
        ranking, results.lazy(), sites.lazy(), run.table("rejects").collect(), run.input("strategies"), run.settings
    )


def test_ten_thousand_sites_stay_below_six_megabytes(many: Findings) -> None:
    html = portfolio_page(many)
    assert many.ranking.height > 10_000
    assert len(html.encode()) < 6_000_000
    shown = page(html)
    assert len(shown.tables["sites"]) == len(shown.tables["other-sites"]) == 200
    paying = many.ranking.filter(pl.col("net_savings") > 0)
    assert f"{paying.height - 200:,} more in ranking.csv" in shown.text
    assert shown.totals["net_savings"] == pytest.approx(paying["net_savings"].sum(), rel=1e-8)
