"""What odds say of a small run beside brute force through the engine: the worth of knowing a figure, and odds of pairs.

`python -m tests.odds.brute_force` prints what DEVELOPERS.md quotes, in some two minutes of a processor. The worth of knowing is
worked out nested: for each value of one figure all others are drawn anew, and the change that is best on average is taken.
Odds that one change beats another come from whole years with other draws.
"""

import itertools
import tempfile
from collections.abc import Sequence
from dataclasses import asdict, replace
from math import sqrt
from pathlib import Path

import numpy as np
import polars as pl

from screener import economics, outputs, pipeline
from screener.engine import Basis, of_run
from screener.odds import asking, information, money, summary, working
from screener.odds.drawing import Figure, Source
from screener.odds.working import OWN, Part
from tests.odds.conftest import portfolio

DRAWS, OUTER, INNER, TIMES = 1_000, 20, 200, 2
PAIR_DRAWS = 200
TOGETHER = 500  # draws of a site


def changes(
    part: Part, basis: Basis, figures: Sequence[Figure], draws: int, whole_years: bool = False
) -> money.Changes:
    """The changes of a part in so many draws of the figures."""
    hours, numbers = working.places(part, basis, whole_years), [*OWN, *range(draws)]
    blocks = [numbers[at : at + TOGETHER] for at in range(0, len(numbers), TOGETHER)]
    worked = pl.concat(working.work_out(part, basis, figures, block, hours) for block in blocks)
    terms = economics.terms(asdict(basis.settings))
    return money.changes(part, worked, figures, terms, draws, basis.settings.holding_tolerance_h)


def one_site(part: Part, site: str) -> Part:
    at = part.sites["site_id"].to_list().index(site)
    return Part(part.sites[[at]], part.results.filter(site_id=site), [part.needed[at]], part.needed[at])


def chosen(part: Part) -> list[int]:
    return sorted(part.strategies.index(name) for name in summary.chances(part.results)["strategy"])


def nested(part: Part, basis: Basis, name: str, seed: int) -> float:
    """The worth of knowing a figure at the one site of a part, by brute force. Its values are spread evenly over its range,
    and each meets the same draws of the others: what these happen to be shifts all means alike, and the best of them is not
    best by chance."""
    many = next(f.values for f in asking._figures(part, basis, Source(seed, OUTER * INNER)) if f.name == name)
    evenly = np.sort(many, axis=1)[:, INNER // 2 :: INNER]
    others = asking._figures(part, basis, Source(seed + 1, INNER))
    figures = []
    for each in others:
        values = np.repeat(evenly, INNER, axis=1) if each.name == name else np.tile(each.values, OUTER)
        figures.append(replace(each, values=values))
    brings = summary.brought(changes(part, basis, figures, OUTER * INNER), 0, chosen(part))
    return float(brings.reshape(OUTER, INNER, -1).mean(axis=1).max(axis=1).mean() - brings.mean(axis=0).max())


def regressed(part: Part, basis: Basis, seed: int) -> dict[str, float]:
    """The worth of knowing each figure at the one site of a part, as the odds have it."""
    figures = [f for f in asking._figures(part, basis, Source(seed, DRAWS)) if f.strategy is None and f.varies[0]]
    every = asking._figures(part, basis, Source(seed, DRAWS))
    brings = summary.brought(changes(part, basis, every, DRAWS), 0, chosen(part))
    known = [information.Known(f.values[0], bool(f.words)) for f in figures]
    return dict(zip((f.name for f in figures), information.worth(known, brings).tolist(), strict=True))


def pairs(part: Part, basis: Basis) -> list[float]:
    """Of each two changes with a chance at a site, how many sampling errors the odds that one beats the other lie from those
    of whole years with other draws."""
    days, years = (
        changes(part, basis, asking._figures(part, basis, Source(seed, PAIR_DRAWS)), PAIR_DRAWS, whole).net_savings
        for seed, whole in ((1, False), (2, True))
    )
    found = []
    for site, names in (
        summary.chances(part.results).group_by("site_id", maintain_order=True).agg("strategy").iter_rows()
    ):
        at = part.sites["site_id"].to_list().index(site)
        for one, other in itertools.combinations(map(part.strategies.index, names), 2):
            odds = [float((each[:, at, one] > each[:, at, other]).mean()) for each in (days, years)]
            mean = min(max(sum(odds) / 2, 1 / PAIR_DRAWS), 1 - 1 / PAIR_DRAWS)
            found.append((odds[0] - odds[1]) / sqrt(2 * mean * (1 - mean) / PAIR_DRAWS))
    return found


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as made:
        pipeline.run(portfolio(Path(made) / "portfolio"), Path(made) / "run")
        opened = outputs.open_run(Path(made) / "run")
        ground = of_run(opened)
        (every_site,) = asking._parts(opened, ground, DRAWS)
        apart = pairs(every_site, ground)
        print(
            f"{len(apart)} pairs: {max(map(abs, apart)):.1f} sampling errors apart at most, {np.std(apart):.2f} as a rule"
        )
        for site_id in ("B", "D"):
            here = one_site(every_site, site_id)
            worth = regressed(here, ground, 1)
            for figure in sorted(worth, key=lambda name: -worth[name])[:2]:
                values = [nested(here, ground, figure, 11 + 2 * time) for time in range(TIMES)]
                told = " and ".join(f"{value:,.0f}" for value in values)
                print(f"{site_id} {figure}: worth {worth[figure]:,.0f} by regression, {told} nested", flush=True)
