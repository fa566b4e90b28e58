"""The odds of a run: its sites and draws through the engine part by part, then in figures, then beside the run."""

from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

from screener import economics, outputs
from screener.contracts.origins import is_given
from screener.engine import Basis, Progress, of_run
from screener.engine.prefetch import ahead
from screener.errors import UsageError
from screener.odds import information, money, summary, working
from screener.odds.drawing import Figure, Numbers, Source, draw
from screener.odds.information import Known
from screener.odds.working import OWN_FIGURES, Part
from screener.outputs import beside
from screener.outputs.reading import DIGEST
from screener.strategies import REFERENCE, REGISTRY
from screener.tables import spreads

SITES_TOGETHER = 1_000  # of a part, whose draws are looked at together
ROWS_TOGETHER = 1_500  # draws of sites that go through the engine together
ROWS_OF_OWN_CODE = (
    400  # draws of sites, from which machine code of their strategies alone saves more time than it takes
)
MOST_DRAWS = 100_000
DRAWS, SEED, FIRST = 200, 1, 10
Key = tuple[str, str | None]


@dataclass(frozen=True)
class Odds:
    """The tables of the odds that people look at first, and the settings of their run."""

    sites: pl.DataFrame
    portfolio: pl.DataFrame
    figures: pl.DataFrame
    settings: dict[str, Any]
    notes: list[str]


@dataclass(frozen=True)
class _Task:
    """Some draws of the sites of a part."""

    part: int
    numbers: tuple[int, ...]


def odds(
    folder: Path, draws: int = DRAWS, seed: int = SEED, first: int = FIRST, progress: Progress | None = None
) -> Odds:
    """Draw every uncertain figure of a run's sites `draws` times, and write the odds into its folder.

    `first`: how many sites a program would begin with, for the odds that a site is among them. The same run, draws and seed
    give the same bytes. What was worked out before the process was killed is kept for the next call. UsageError
    where the folder is no run, has no prices, or the draws cannot be so many.
    """
    if not 2 <= draws <= MOST_DRAWS:
        raise UsageError(f"{draws} draws tell no odds; ask for 2 to {MOST_DRAWS:,}, such as --draws {DRAWS}")
    progress = progress or Progress()
    progress.stage("opening the run")
    run = outputs.open_run(folder)
    basis = of_run(run)
    if not basis.has_tariffs:
        raise UsageError(f"{folder} has no prices: odds are of money; run the portfolio with tariffs")
    parts = _parts(run, basis, draws)
    tasks = _tasks(parts, draws)
    made_from = {"run": run.info[DIGEST], "draws": draws, "seed": seed, "fingerprint": outputs.fingerprint()}
    with outputs.scratch(folder / "odds", made_from) as scratch:
        _work_out(parts, tasks, basis, draws, seed, scratch, progress)
        progress.stage("odds")
        found = [_of_part(part, number, tasks, run, basis, draws, seed, scratch) for number, part in enumerate(parts)]
        tables = _tables(run, parts, found, first)
        beside.write_odds(run, tables, {"draws": draws, "seed": seed, "first": first})
        progress.stop()
    settings = dict(run.settings)
    return Odds(tables["odds"], tables["portfolio_odds"], tables["odds_figures"], settings, scratch.notes)


def _parts(run: outputs.RunFolder, basis: Basis, draws: int) -> list[Part]:
    """The sites of the run, those together that need the same strategies: the reference, today's, what else they may have
    today, and the changes with a chance. Where too few need the same to be worth code of their own, more are worked out."""
    sites = run.table("sites_used").collect().sort("site_id")
    results = run.table("strategies").collect()
    table = basis.inputs["spreads"]
    texts = table.filter(figure="current_strategy")["otherwise"].drop_nulls()
    maybe = {word for text in texts for word in spreads.choices(text)}
    best = summary.chances(results).group_by("site_id").agg("strategy")
    needed = sites.select("site_id", "current_strategy", said=is_given("current_strategy")).join(
        best, on="site_id", how="left", maintain_order="left"
    )
    groups: dict[frozenset[str], list[str]] = {}
    for site, today, said, others in needed.iter_rows():
        names = frozenset({REFERENCE.name, today, *(others or ()), *(() if said else maybe)})
        groups.setdefault(names, []).append(site)
    few = {names for names, ids in groups.items() if len(ids) * draws < ROWS_OF_OWN_CODE}
    together = [(names, ids) for names, ids in groups.items() if names not in few]
    if few:
        together.append((frozenset().union(*few), [site for names in few for site in groups[names]]))
    parts = []
    for names, ids in together:
        for mine in sites.filter(pl.col("site_id").is_in(ids)).iter_slices(SITES_TOGETHER):
            of_mine = results.filter(pl.col("site_id").is_in(mine["site_id"].implode()))
            parts.append(Part(mine, of_mine, tuple(name for name in REGISTRY if name in names)))
    return sorted(parts, key=lambda part: str(part.sites["site_id"][0]))


def _figures(part: Part, basis: Basis, draws: int, seed: int) -> list[Figure]:
    tariffs, fuel = basis.inputs["tariffs"], pl.col("fuel_price_per_kwh").is_not_null()
    priced = [basis.inputs[name].filter(fuel)["tariff_id"] for name in ("tariffs", "tariff_periods", "tariff_charges")]
    without = {*tariffs["tariff_id"]} - {name for names in priced for name in names}
    return draw(part.sites, part.results, basis.inputs["spreads"], part.strategies, Source(seed, draws), without)


def _tasks(parts: list[Part], draws: int) -> list[_Task]:
    tasks = []
    for number, part in enumerate(parts):
        together = max(1, ROWS_TOGETHER // part.sites.height)
        tasks.append(_Task(number, (OWN_FIGURES,)))
        tasks += [_Task(number, tuple(range(at, min(at + together, draws)))) for at in range(0, draws, together)]
    return tasks


def _work_out(
    parts: list[Part],
    tasks: list[_Task],
    basis: Basis,
    draws: int,
    seed: int,
    scratch: outputs.Scratch,
    progress: Progress,
) -> None:
    """Work out the draws that the scratch folder lacks, part by part."""
    lacking = [number for number in range(len(tasks)) if not scratch.has(number)]
    if len(lacking) < len(tasks):
        scratch.notes.append(
            f"continued unfinished odds, of which {len(tasks) - len(lacking)} of {len(tasks)} parts were there"
        )
    progress.stage("working out draws")
    rows = {number: parts[task.part].sites.height * len(task.numbers) for number, task in enumerate(tasks)}
    there = sum(rows.values()) - sum(rows[number] for number in lacking)
    progress.count(sum(rows.values()), "draws of sites", before=there)
    for at, part in enumerate(parts):
        mine = [number for number in lacking if tasks[number].part == at]
        figures = _figures(part, basis, draws, seed) if mine else []

        def worked(number: int, part: Part = part, figures: list[Figure] = figures) -> tuple[int, pl.DataFrame]:
            return number, working.work_out(part, basis, figures, tasks[number].numbers)

        for number, frame in ahead(worked, mine):
            scratch.keep(number, {"draws": frame.with_columns(part=pl.lit(at))})
            progress.done(rows[number], number)


def _of_part(
    part: Part,
    number: int,
    tasks: list[_Task],
    run: outputs.RunFolder,
    basis: Basis,
    draws: int,
    seed: int,
    scratch: outputs.Scratch,
) -> summary.Of:
    worked = scratch.table("draws").filter(pl.col("part") == number).collect()
    figures = _figures(part, basis, draws, seed)
    terms = economics.terms(asdict(basis.settings))
    found = money.changes(part, worked, figures, terms, draws, basis.settings.holding_tolerance_h)
    ranking = run.table("ranking").filter(pl.col("site_id").is_in(part.sites["site_id"].implode())).collect()
    return summary.of_part(part, ranking, figures, found)


def _tables(run: outputs.RunFolder, parts: list[Part], found: list[summary.Of], first: int) -> dict[str, pl.DataFrame]:
    saved, net = (np.concatenate([getattr(of, name) for of in found], axis=1) for name in ("saved", "net_savings"))
    sites = pl.concat([of.sites for of in found]).with_columns(odds_first=pl.Series(summary.first(net, first)))
    ranked = run.table("ranking").select("site_id", "rank", "cost_saved", "net_savings").collect()
    sites = sites.join(ranked, on="site_id", maintain_order="left").sort("rank")
    totals = {name: float(ranked[name].sum()) for name in ("cost_saved", "net_savings")}
    of_figures = pl.concat([of.figures for of in found])
    total = pl.DataFrame({"draw": range(len(net)), "cost_saved": saved.sum(axis=1), "net_savings": net.sum(axis=1)})
    portfolio = summary.of_portfolio(total["cost_saved"].to_numpy(), total["net_savings"].to_numpy(), totals)
    portfolio = portfolio.with_columns(
        worth_knowing_all=pl.when(pl.col("figure") == "net_savings").then(sites["worth_knowing_all"].sum()),
        expected_loss=pl.when(pl.col("figure") == "net_savings").then(sites["expected_loss"].sum()),
    )
    together = _together(of_figures).join(
        _swings(parts, found, total["net_savings"].to_numpy()), on="figure", how="full", coalesce=True
    )
    columns = ["site_id", "figure", "assumed", "sites", "worth_knowing", "low", "high"]
    by_site = of_figures.group_by("site_id", "figure", "assumed", maintain_order=True).agg(
        pl.col("worth_knowing").max()
    )
    by_site = by_site.with_columns(sites=pl.lit(1), low=pl.lit(None, pl.Float64), high=pl.lit(None, pl.Float64))
    whole = together.with_columns(site_id=pl.lit(None, pl.String), assumed=pl.lit(None, pl.Boolean))
    figures = pl.concat([whole.select(columns), by_site.select(columns).cast({"sites": whole.schema["sites"]})])
    order = [pl.col("site_id").is_not_null(), -pl.col("worth_knowing"), "site_id", "figure"]
    changes = pl.concat([of.changes for of in found])
    return {
        "odds": sites,
        "portfolio_odds": portfolio,
        "odds_figures": figures.sort(order),
        "odds_changes": changes,
        "odds_draws": total,
    }


def _together(figures: pl.DataFrame) -> pl.DataFrame:
    """By figure at how many sites it is worth knowing, and what all of them together are worth."""
    of_site = figures.group_by("figure", "site_id", maintain_order=True).agg(pl.col("worth_knowing").max())
    return of_site.group_by("figure", maintain_order=True).agg(
        sites=pl.len(), worth_knowing=pl.col("worth_knowing").sum()
    )


def _swings(parts: list[Part], found: list[summary.Of], total: Numbers) -> pl.DataFrame:
    """By figure what the portfolio's net savings are on average where the sites' figures are low, and where they are high: at
    the 10th and 90th percentile of the sites' mean."""
    heights = [part.sites.height for part in parts]
    keys = list(dict.fromkeys(key for of in found for key in of.drawn))
    standing = {
        key: sum(of.drawn.get(key, np.zeros(len(total))) * height for of, height in zip(found, heights, strict=True))
        for key in keys
    }
    known = [Known(np.asarray(values)) for values in standing.values()]
    fitted = information.fits(known, total[:, None])
    swings = [information.swing(each, fit[:, 0]) for each, fit in zip(known, fitted, strict=True)]
    rows = [(name, low, high) for (name, _), (low, high) in zip(standing, swings, strict=True)]
    frame = pl.DataFrame(rows, schema={"figure": pl.String, "low": pl.Float64, "high": pl.Float64}, orient="row")
    widest = frame.sort((pl.col("high") - pl.col("low")).abs(), descending=True, maintain_order=True)
    return widest.unique("figure", keep="first", maintain_order=True)
