"""Truths drawn from the spreads, worked out in whole years, beside draws in some days: how well the odds are calibrated.

`python -m tests.odds.calibration 400 60` prints the figures that DEVELOPERS.md quotes.
"""

import sys
import tempfile
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np
import polars as pl
from numpy.typing import NDArray

from screener import economics, outputs, pipeline
from screener.engine import of_run
from screener.odds import asking, money, summary, working
from screener.odds.drawing import Source
from screener.odds.working import OWN
from screener.tables import spreads

KINDS = ("supermarket", "office", "retail", "school", "restaurant", "fitness_centre", "convenience_store", "warehouse")
ZONES = ("1A", "2A", "3A", "4A")
COMMON = ("electricity_price", "fuel_price", "electricity_escalation", "fuel_escalation")  # of all sites alike
FIGURES = ("cost_saved", "net_savings")


@dataclass(frozen=True)
class Trial:
    """Of one change at each site what it saves in the draws [draw, site], and in truth [site], by FIGURES."""

    drawn: dict[str, NDArray[np.float64]]
    truth: dict[str, NDArray[np.float64]]

    def ranks(self, figure: str) -> NDArray[np.int64]:
        """How many of a site's draws lie below its truth."""
        return (self.drawn[figure] < self.truth[figure]).sum(axis=0)

    def covered(self, figure: str, low: float = 10, high: float = 90) -> float:
        """Part of the sites whose truth lies between two percentiles of its draws."""
        ends = np.percentile(self.drawn[figure], [low, high], axis=0)
        return float(((self.truth[figure] >= ends[0]) & (self.truth[figure] <= ends[1])).mean())


def portfolio(folder: Path, sites: int) -> Path:
    """Invented sites in humid places that overcool today; every figure of each is uncertain by itself."""
    folder.mkdir()
    random = np.random.default_rng(sites)
    rows = [
        f"S{at:04},{KINDS[at % len(KINDS)]},{random.integers(300, 6000)},{ZONES[at // len(KINDS) % 4]},T,overcool_electric_reheat"
        for at in range(sites)
    ]
    head = "site_id,building_type,floor_area_m2,climate_zone,tariff_id,current_strategy"
    (folder / "sites.csv").write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")
    tariffs = "tariff_id,electricity_price_per_kwh,demand_price_per_kw,fuel_price_per_kwh\nT,0.12,10,0.04\n"
    (folder / "tariffs.csv").write_text(tariffs, encoding="utf-8")
    own = spreads.shipped().select("figure", width=pl.when(pl.col("figure").is_in(COMMON)).then(0.0).otherwise("width"))
    own = own.with_columns(width_given="width", shared=0.0)
    own = own.with_columns(
        width_given=pl.when(pl.col("figure") == "current_strategy").then(0.0).otherwise("width_given")
    )
    own.write_csv(folder / "spreads.csv")
    return folder


def trial(folder: Path, sites: int, draws: int, seed: int = 1) -> Trial:
    """The draws of invented sites in some days of the year, and one more of each, the truth, in whole years."""
    pipeline.run(portfolio(folder / "portfolio", sites), folder / "run")
    run = outputs.open_run(folder / "run")
    basis = of_run(run)
    terms, tolerance_h = economics.terms(asdict(basis.settings)), basis.settings.holding_tolerance_h
    found: dict[str, list[NDArray[np.float64]]] = {
        f"{name}:{what}": [] for name in FIGURES for what in ("draw", "truth")
    }
    for part in asking._parts(run, basis, draws):
        figures = asking._figures(part, basis, Source(seed, draws + 1))
        together = max(1, asking.ROWS_TOGETHER // part.sites.height)
        blocks = [range(at, min(at + together, draws)) for at in range(0, draws, together)]
        days = [working.work_out(part, basis, figures, [*OWN])]
        days += [working.work_out(part, basis, figures, [*block]) for block in blocks]
        whole = working.work_out(part, basis, figures, [*OWN, draws], working.places(part, basis, whole_years=True))
        last = [
            f.__class__(f.name, f.values[:, -1:], f.adds, f.assumed, f.varies, f.words, f.strategy) for f in figures
        ]
        most = [
            f.__class__(f.name, f.values[:, :-1], f.adds, f.assumed, f.varies, f.words, f.strategy) for f in figures
        ]
        drawn = money.changes(part, pl.concat(days), most, terms, draws, tolerance_h)
        truth = money.changes(part, whole, last, terms, 1, tolerance_h)
        chosen = dict(
            summary.chances(part.results).unique("site_id", keep="first").select("site_id", "strategy").iter_rows()
        )
        for at, site in enumerate(part.sites["site_id"]):
            if site in chosen:
                change = part.strategies.index(chosen[site])
                for name, of in (("draw", drawn), ("truth", truth)):
                    found[f"cost_saved:{name}"].append(np.nan_to_num(of.saved[:, at, change]))
                    found[f"net_savings:{name}"].append(np.nan_to_num(of.net_savings[:, at, change]))
    return Trial(
        {name: np.stack(found[f"{name}:draw"], axis=1) for name in FIGURES},
        {name: np.concatenate(found[f"{name}:truth"]) for name in FIGURES},
    )


def chi_square(ranks: NDArray[np.int64], draws: int, bins: int = 10) -> float:
    """How far the histogram of ranks is from flat, with `bins` - 1 degrees of freedom; of `draws` + 1 possible ranks."""
    found = np.bincount(ranks * bins // (draws + 1), minlength=bins)
    due = np.bincount(np.arange(draws + 1) * bins // (draws + 1), minlength=bins) / (draws + 1) * len(ranks)
    return float(((found - due) ** 2 / due).sum())


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as made:
        number, times = map(int, sys.argv[1:])
        result = trial(Path(made), number, times)
        for each in FIGURES:
            print(
                f"{each}: {result.truth[each].size} changes, {result.covered(each):.1%} between P10 and P90, chi-square of "
                f"{chi_square(result.ranks(each), times):.1f} with 9 degrees of freedom"
            )
