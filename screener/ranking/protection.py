"""A program under doubt: which changes to make so that what they save at the lower end of the odds is highest.

A percentile of a sum is no sum, so the best program is looked for, not proven: programs are chosen by what changes bring on
average in the draws in which the program before them saved least (as a bound on the tail is minimised: Rockafellar,
Uryasev 2000, from memory), for several parts of the draws, and of all of these the one is kept whose percentile is highest.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from screener.ranking.programs import Program

TAILS = (1.0, 0.8, 0.6, 0.5, 0.4, 0.3, 0.2, 0.15, 0.1, 0.05)  # parts of the draws whose mean is looked at
ROUNDS = 4
KEYS = ["site_id", "strategy"]
Numbers = NDArray[np.float64]


@dataclass(frozen=True)
class Protected:
    """Two programs within the same limits, by the draws: `program`, whose `share` quantile of net savings is highest of
    those tried, and `highest_mean`. Their `net_savings` are means over the draws; `quantile` and `mean` are of the first,
    `other_quantile` and `other_mean` of the second [currency]."""

    program: Program
    highest_mean: Program
    share: float
    draws: int
    quantile: float
    mean: float
    other_quantile: float
    other_mean: float

    @property
    def price(self) -> float:
        """What the protection costs on average [currency]."""
        return self.other_mean - self.mean


def protected(
    changes: pl.DataFrame, drawn: pl.DataFrame, share: float, choose: Callable[[pl.DataFrame], Program]
) -> Protected:
    """The program whose `share` quantile of net savings is highest, beside the one with the highest mean.

    `changes`: candidates, sorted by KEYS; those without draws cannot be told and are left out. `drawn`: `odds_changes` of
    the run. `choose` makes the program with the highest sum of the column net_savings.
    """
    told = changes.join(drawn.select(KEYS).unique(), on=KEYS, how="semi", maintain_order="left")
    wide = told.select(KEYS).join(drawn, on=KEYS, maintain_order="left_right")
    count = drawn["draw"].n_unique()
    brings = wide["net_savings"].to_numpy().reshape(told.height, count)
    tried = [*_tried(told, brings, choose)]
    highest = max(tried, key=lambda each: (_mean(each[1], brings), -each[1].sum()))
    best = max(tried, key=lambda each: (_quantile(each[1], brings, share), _mean(each[1], brings), -each[1].sum()))
    means = pl.Series("net_savings", brings.mean(axis=1))
    program, highest_mean = (_by_mean(each[0], told, means) for each in (best, highest))
    figures = [
        figure for each in (best, highest) for figure in (_quantile(each[1], brings, share), _mean(each[1], brings))
    ]
    return Protected(program, highest_mean, share, count, *figures)


def _tried(
    changes: pl.DataFrame, brings: Numbers, choose: Callable[[pl.DataFrame], Program]
) -> Iterator[tuple[Program, NDArray[np.bool_]]]:
    """Programs, and which changes are in each."""
    every = np.ones(brings.shape[1], dtype=bool)
    yield (first := _chosen(changes, brings, every, choose))
    for tail in TAILS[1:]:
        taken = first[1]
        for _ in range(ROUNDS):
            total = brings[taken].sum(axis=0)
            worst = np.zeros(len(total), dtype=bool)
            worst[np.argsort(total, kind="stable")[: max(1, round(tail * len(total)))]] = True
            found = _chosen(changes, brings, worst, choose)
            yield found
            if (found[1] == taken).all():
                break
            taken = found[1]


def _chosen(
    changes: pl.DataFrame, brings: Numbers, draws: NDArray[np.bool_], choose: Callable[[pl.DataFrame], Program]
) -> tuple[Program, NDArray[np.bool_]]:
    valued = changes.with_columns(net_savings=pl.Series(brings[:, draws].mean(axis=1)))
    program = choose(valued.filter(pl.col("net_savings") > 0.0))
    marked = changes.join(program.changes.select(*KEYS, taken=pl.lit(True)), on=KEYS, how="left", maintain_order="left")
    return program, marked["taken"].fill_null(False).to_numpy()


def _quantile(taken: NDArray[np.bool_], brings: Numbers, share: float) -> float:
    return float(np.quantile(brings[taken].sum(axis=0), share))


def _mean(taken: NDArray[np.bool_], brings: Numbers) -> float:
    return float(brings[taken].sum(axis=0).mean())


def _by_mean(program: Program, changes: pl.DataFrame, means: pl.Series) -> Program:
    """The program with the mean of each change over all draws as its net savings; how good it could be is not known."""
    of_mean = changes.select(*KEYS, of_mean=means)
    rows = program.changes.join(of_mean, on=KEYS, maintain_order="left").with_columns(net_savings="of_mean")
    return Program(rows.drop("of_mean"), float("nan"))
