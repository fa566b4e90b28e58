"""What every change at a site saves in every draw, from what the strategies come to in some days of the year.

The run's own figures are the control: a draw changes what temperature control costs in the run in the ratio in which it changes
that of those days, and what each strategy costs beyond it by the difference that it makes there. What it changes in the savings
is added to those of the run. So a draw that changes nothing is the run, to the last digit.

The weather of a draw is the mean of the study's years, which counts in net savings. By what its first year differs, the
savings of a year change as much as they would with the run's own figures.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import polars as pl
from numpy.typing import NDArray

from screener.economics import Terms
from screener.odds.drawing import STUDY, YEAR, Figure, Numbers, Truths
from screener.odds.working import COSTS, DAMP_YEAR, DRY_YEAR, FIGURES, OWN, OWN_FIGURES, Part
from screener.strategies import REFERENCE

MOST_TIMES = 1.5  # as large as with the run's own figures what the weather changes may be in a draw
LEAST_SHARE = 0.01  # of a strategy's whole cost: below it a cost is moved by the difference, not in the ratio
OF_RUN = (*FIGURES, "upkeep_pv", "replacement_pv", "residual_pv", "cost_saved", "net_savings", "holds_limit")
Places = NDArray[np.int64]
Values = Mapping[str, Numbers]


@dataclass(frozen=True)
class Changes:
    """What the strategies of a part save against what a site has today, in each draw [draw, site, strategy].

    `saved` [currency/a], `net_savings` [currency]: not a number where they are not known. `holds`: whether the strategy
    holds the limit as well as what the site has in that draw. `run` [site, strategy]: OF_RUN.
    """

    saved: Numbers
    net_savings: Numbers
    holds: Truths
    run: Values


def changes(
    part: Part, worked: pl.DataFrame, figures: Sequence[Figure], terms: Terms, draws: int, tolerance_h: float
) -> Changes:
    """The changes of a part. `worked`: the rows of `working.work_out` for OWN and all draws."""
    shape = (len(OWN) + draws, part.sites.height, len(part.strategies))
    ordered = worked.sort("draw", "site", "strategy")
    every = {name: ordered[name].cast(pl.Float64).fill_null(np.nan).to_numpy().reshape(shape) for name in FIGURES}
    run = _of_run(part)
    numbered = {number: slice(at, at + 1) for at, number in enumerate(sorted(OWN))} | {None: slice(len(OWN), None)}
    dry, damp, own, drawn = (
        {name: values[numbered[number]] for name, values in every.items()}
        for number in (DRY_YEAR, DAMP_YEAR, OWN_FIGURES, None)
    )
    factors = _factors(figures)
    weather = [factors[name, None] for name in (STUDY, YEAR)]
    reference = [part.strategies.index(REFERENCE.name)]
    first = dict(drawn)
    for name in COSTS:
        controlled = [values[name][..., reference] for values in (dry, own, damp, drawn)]
        beyond = [values[name] - values[name][..., reference] for values in (dry, own, damp, drawn)]
        first[name] = drawn[name] + _in_first_year(weather, *controlled) + _in_first_year(weather, *beyond)
    today = np.asarray([part.strategies.index(name) for name in part.sites["current_strategy"]])[None]
    current = _current(part, figures, today, draws)
    plain = _saved(part, run, own, own, today, today, {}, [terms])
    rises = _terms(terms, figures, draws)
    (saved, _), (_, net) = (_saved(part, run, own, each, current, today, factors, rises) for each in (first, drawn))
    saved, net = (
        run[name] + (after - before)
        for name, before, after in zip(("cost_saved", "net_savings"), plain, (saved, net), strict=True)
    )
    return Changes(saved, net, _holds(run, own, drawn, current, today, tolerance_h), run)


def _holds(run: Values, own: Values, drawn: Values, current: Places, today: Places, tolerance_h: float) -> Truths:
    """Whether strategies hold the limit as well as `current` [draw, site]. One that does in the run still does while a draw
    makes it no worse by more than the tolerance; one that does not for its hours above the limit may in a draw."""
    moved = drawn["hours_above_limit"] - own["hours_above_limit"]
    hours = run["hours_above_limit"] + moved
    more, moved_more, in_run = (
        each - np.take_along_axis(each, at[..., None], axis=2)
        for each, at in ((hours, current), (moved, current), (run["hours_above_limit"][None], today))
    )
    held = np.where(run["holds_limit"] > 0, moved_more <= tolerance_h, (more <= tolerance_h) & (in_run > tolerance_h))
    return np.where((current == today)[..., None], held, more <= tolerance_h)


def _in_first_year(weather: Sequence[Numbers], dry: Numbers, own: Numbers, damp: Numbers, drawn: Numbers) -> Numbers:
    """How much more an amount [draw, site, strategy] is in the first year than in all of the study: `weather` [draw, site] has
    the latent loads of the study and of the year. As much as with the run's own figures, by straight lines through what it
    comes to in a dry, the typical and a damp year, as far as the draw leaves of it."""
    below, above = (own - dry) / (1.0 - OWN[DRY_YEAR]), (damp - own) / (OWN[DAMP_YEAR] - 1.0)
    study, year = ((f := factor[..., None] - 1.0) * np.where(f < 0.0, below, above) for factor in weather)
    left = np.divide(drawn, own, out=np.ones_like(drawn), where=np.broadcast_to(own != 0.0, drawn.shape))
    return np.asarray((year - study) * np.clip(left, 0.0, MOST_TIMES))


def _of_run(part: Part) -> dict[str, Numbers]:
    keys = pl.DataFrame({"site_id": part.sites["site_id"]}).join(
        pl.DataFrame({"strategy": part.strategies}), how="cross"
    )
    table = keys.join(part.results, on=["site_id", "strategy"], how="left", maintain_order="left")
    shape = (part.sites.height, len(part.strategies))
    return {name: table[name].cast(pl.Float64).fill_null(np.nan).to_numpy().reshape(shape) for name in OF_RUN}


def _current(part: Part, figures: Sequence[Figure], today: Places, draws: int) -> Places:
    """The number among the part's strategies of what each site has in each draw [draw, site]."""
    figure = next((each for each in figures if each.name == "current_strategy"), None)
    if figure is None:
        return np.repeat(today, draws, axis=0)
    place = np.asarray([part.strategies.index(w) if w in part.strategies else -1 for w in figure.words])
    return place[figure.values.astype(np.int64).T]


def _terms(terms: Terms, figures: Sequence[Figure], draws: int) -> list[Terms]:
    """The terms of each draw: what energy rises by is common to all sites."""
    shifts = {figure.name: figure.values[0] for figure in figures if figure.name.endswith("_escalation")}
    nothing = np.zeros(draws)
    return [
        replace(
            terms,
            electricity_escalation=terms.electricity_escalation + electricity,
            fuel_escalation=terms.fuel_escalation + fuel,
        )
        for electricity, fuel in zip(
            shifts.get("electricity_escalation", nothing), shifts.get("fuel_escalation", nothing), strict=True
        )
    ]


def _factors(figures: Sequence[Figure]) -> dict[tuple[str, str | None], Numbers]:
    """Factors of prices and strategies, by figure and strategy [draw, site]."""
    return {(figure.name, figure.strategy): figure.values.T for figure in figures}


def _saved(
    part: Part,
    run: Values,
    own: Values,
    drawn: Values,
    current: Places,
    today: Places,
    factors: Mapping[tuple[str, str | None], Numbers],
    terms: Sequence[Terms],
) -> tuple[Numbers, Numbers]:
    """Saved a year and net savings [draw, site, strategy] against `current` [draw, site]."""

    def of_strategies(name: str) -> Numbers | float:
        there = [factors.get((name, strategy)) for strategy in part.strategies]
        return 1.0 if there[0] is None else np.stack([each for each in there if each is not None], axis=2)

    def of_sites(name: str) -> Numbers | float:
        found = factors.get((name, None))
        return 1.0 if found is None else found[..., None]

    reference, costs = part.strategies.index(REFERENCE.name), {}
    whole = own["energy_cost"] + own["demand_cost"] + own["fuel_cost"]
    for name in COSTS:
        of_run, of_own, of_drawn = (values[name][..., reference, None] for values in (run, own, drawn))
        cost = _controlled(of_run, of_own, of_drawn, LEAST_SHARE * whole[..., reference, None])
        beyond = _scaled(run[name] - of_run, own[name] - of_own, drawn[name] - of_drawn)
        cost = cost + of_strategies("dehumidification_energy") * beyond
        costs[name] = cost * of_sites("fuel_price" if name == "fuel_cost" else "electricity_price")
    electricity, fuel = costs["energy_cost"] + costs["demand_cost"], costs["fuel_cost"]
    years = terms[0].study_years
    rises = [
        np.asarray([each.electricity(years) for each in terms])[:, None, None],
        np.asarray([each.fuel(years) for each in terms])[:, None, None],
    ]
    price = of_strategies("investment")
    first = _controlled(run["investment"], own["investment"], drawn["investment"], 0.0) * price
    later = (run["replacement_pv"] - run["residual_pv"]) * price
    later = later * _ratio(own["replacement_cost"], drawn["replacement_cost"])
    running = electricity * rises[0] + fuel * rises[1] + run["upkeep_pv"] * of_strategies("upkeep")
    changed = first + later + running
    at = np.broadcast_to(current, changed.shape[:2])[..., None]
    is_today = at == np.broadcast_to(today, changed.shape[:2])[..., None]
    kept = np.take_along_axis(running, at, 2) + np.where(is_today, np.take_along_axis(later, at, 2), 0.0)
    yearly = electricity + fuel
    saved, net = np.take_along_axis(yearly, at, 2) - yearly, kept - changed
    numbers = np.arange(len(part.strategies))
    is_there, was_there = numbers == at, numbers == np.broadcast_to(today, changed.shape[:2])[..., None]
    for values in (saved, net):
        values[is_there] = 0.0
        values[was_there & ~is_there] = np.nan  # of what a site has today the run knows no price
    return saved, net


def _controlled(run: Numbers, own: Numbers, drawn: Numbers, least: Numbers | float) -> Numbers:
    """An amount of the run as a draw changes it in those days."""
    in_ratio = own > least
    ratio = np.divide(drawn, own, out=np.ones_like(drawn), where=np.broadcast_to(in_ratio, drawn.shape))
    return np.where(in_ratio, run * ratio, run + (drawn - own))


def _scaled(run: Numbers, own: Numbers, drawn: Numbers) -> Numbers:
    """What a strategy costs beyond temperature control in a draw: that of its days, and what these lack beside the run, in the
    ratio in which the draw leaves less than the days of the run come to. What vanishes in them vanishes in the year,
    and what grows does not make more of the difference between them."""
    left = np.divide(drawn, own, out=np.ones_like(drawn), where=np.broadcast_to(own != 0.0, drawn.shape))
    return np.asarray(drawn + (run - own) * np.clip(left, 0.0, 1.0))


def _ratio(own: Numbers, drawn: Numbers) -> Numbers:
    return np.divide(drawn, own, out=np.ones_like(drawn), where=np.broadcast_to(own > 0.0, drawn.shape))
