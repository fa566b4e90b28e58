"""The odds of a run: its sites and draws through the engine part by part, then in figures, then beside the run."""

from dataclasses import asdict, dataclass
from functools import partial
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl

from screener import economics, outputs
from screener.contracts.origins import is_given
from screener.engine import Basis, Progress, of_run
from screener.engine.cluster import batches as cluster_batches
from screener.engine.prefetch import ahead
from screener.errors import UsageError
from screener.odds import information, money, summary, working
from screener.odds.drawing import Figure, Numbers, Source, draw
from screener.odds.information import Known
from screener.odds.some_days import Dampness
from screener.odds.working import OWN, Part
from screener.outputs import beside
from screener.outputs.reading import DIGEST
from screener.strategies import REFERENCE, REGISTRY
from screener.tables import spreads

DRAWN_TOGETHER = 200_000  # draws of sites of a part, which are looked at together
MOST_SITES_TOGETHER = 1_000
ROWS_TOGETHER = 4_000  # draws of sites that go through the engine together
MOST_DRAWS = 100_000
DRAWS, SEED, FIRST = 200, 1, 10
Shared = tuple[Part, Basis, list[Figure], dict[str, Dampness]]


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
    folder: Path,
    draws: int = DRAWS,
    seed: int = SEED,
    first: int = FIRST,
    progress: Progress | None = None,
    cluster: str | None = None,
) -> Odds:
    """Draw every uncertain figure of a run's sites `draws` times, and write the odds into its folder.

    `first`: how many sites a program would begin with, for the odds that a site is among them. `cluster`: address of a Dask
    scheduler whose workers take the draws. The same run, draws and seed give the same bytes. What was worked out before the
    process was killed is kept for the next call. UsageError where the folder is no run, has no prices, or the draws
    cannot be so many.
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
        found = _work_out(parts, tasks, run, basis, Source(seed, draws), scratch, progress, cluster)
        progress.stage("odds")
        tables = _tables(run, parts, found, first)
        beside.write_odds(run, tables, {"draws": draws, "seed": seed, "first": first})
        progress.stop()
    settings = dict(run.settings)
    return Odds(tables["odds"], tables["portfolio_odds"], tables["odds_figures"], settings, scratch.notes)


def _parts(run: outputs.RunFolder, basis: Basis, draws: int) -> list[Part]:
    """The sites of the run, so many together as memory allows, each with the strategies it needs: the reference, today's, what
    else it may have today, and the changes with a chance."""
    sites = run.table("sites_used").collect().sort("site_id")
    results = run.table("strategies").collect()
    texts = basis.inputs["spreads"].filter(figure="current_strategy")["otherwise"].drop_nulls()
    maybe = {word for text in texts for word in spreads.choices(text)}
    best = summary.chances(results).group_by("site_id").agg("strategy")
    parts = []
    for mine in sites.iter_slices(min(MOST_SITES_TOGETHER, max(1, DRAWN_TOGETHER // draws))):
        asked = mine.select("site_id", "current_strategy", said=is_given("current_strategy")).join(
            best, on="site_id", how="left", maintain_order="left"
        )
        names = [
            {REFERENCE.name, today, *(others or ()), *(() if said else maybe)}
            for _, today, said, others in asked.iter_rows()
        ]
        needed = [tuple(name for name in REGISTRY if name in of_site) for of_site in names]
        of_mine = results.filter(pl.col("site_id").is_in(mine["site_id"].implode()))
        parts.append(Part(mine, of_mine, needed, tuple(name for name in REGISTRY if name in set().union(*names))))
    return parts


def _figures(part: Part, basis: Basis, source: Source) -> list[Figure]:
    tariffs, fuel = basis.inputs["tariffs"], pl.col("fuel_price_per_kwh").is_not_null()
    priced = [basis.inputs[name].filter(fuel)["tariff_id"] for name in ("tariffs", "tariff_periods", "tariff_charges")]
    without = {*tariffs["tariff_id"]} - {name for names in priced for name in names}
    table, years = basis.inputs["spreads"], basis.settings.study_years
    return draw(part.sites, part.results, table, part.strategies, source, years, without)


def _tasks(parts: list[Part], draws: int) -> list[_Task]:
    """All draws of each part, a few at a time; the run's own figures go with the first."""
    tasks = []
    for number, part in enumerate(parts):
        together = max(1, ROWS_TOGETHER // part.sites.height)
        every = [*OWN, *range(draws)]
        tasks += [_Task(number, tuple(every[at : at + together])) for at in range(0, len(every), together)]
    return tasks


def _shared(part: Part, basis: Basis, seed: int, draws: int) -> Shared:
    """What all draws of a part are made from; the same wherever it is made."""
    return part, basis, _figures(part, basis, Source(seed, draws)), working.places(part, basis)


def _worked(numbers: tuple[int, ...], shared: Shared) -> pl.DataFrame:
    part, basis, figures, hours = shared
    return working.work_out(part, basis, figures, numbers, hours)


def _work_out(
    parts: list[Part],
    tasks: list[_Task],
    run: outputs.RunFolder,
    basis: Basis,
    source: Source,
    scratch: outputs.Scratch,
    progress: Progress,
    cluster: str | None,
) -> list[summary.Of]:
    """Work out the draws that the scratch folder lacks, part by part, and what is known of each part then."""
    lacking = [number for number in range(len(tasks)) if not scratch.has(number)]
    if len(lacking) < len(tasks):
        scratch.notes.append(
            f"continued unfinished odds, of which {len(tasks) - len(lacking)} of {len(tasks)} parts were there"
        )
    progress.stage("working out draws")
    rows = {number: parts[task.part].sites.height * len(task.numbers) for number, task in enumerate(tasks)}
    there = sum(rows.values()) - sum(rows[number] for number in lacking)
    progress.count(sum(rows.values()), "draws of sites", before=there)
    ranking, terms = run.table("ranking").collect(), economics.terms(asdict(basis.settings))
    found = []
    for at, part in enumerate(parts):
        figures = _figures(part, basis, source)

        mine = [number for number in lacking if tasks[number].part == at]
        if cluster is not None and mine:
            waiting = ((number, tasks[number].numbers) for number in mine)
            made = cluster_batches(cluster, waiting, partial(_shared, part, basis, source.seed, source.draws), _worked)
        else:
            shared = part, basis, figures, working.places(part, basis) if mine else {}

            def here(number: int, shared: Shared = shared) -> tuple[int, pl.DataFrame]:
                return number, _worked(tasks[number].numbers, shared)

            made = ahead(here, mine)
        for number, frame in made:
            scratch.keep(number, {"draws": frame.with_columns(part=pl.lit(at))})
            progress.done(rows[number], number)
        every = scratch.table("draws").filter(pl.col("part") == at).collect()
        changes = money.changes(part, every, figures, terms, source.draws, basis.settings.holding_tolerance_h)
        of_part = ranking.filter(pl.col("site_id").is_in(part.sites["site_id"].implode()))
        found.append(summary.of_part(part, of_part, figures, changes))
    return found


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
