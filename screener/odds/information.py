"""What it is worth to find out a figure before choosing: the expected value of perfect information, by regression.

Knowing a figure, one would choose for each of its values what is then best on average: worth the mean of the highest of the
conditional means, less the highest of the means [Strong, Oakley, Brennan 2014, Medical Decision Making 34(3), from memory]. The
conditional means are regressions of what each choice brings over the draws: polynomials of the figure up to the third
degree, or means by the words of a choice, as many terms as pay by the Bayesian information criterion. What other figures
do in a straight line is taken out first, so that a few hundred draws suffice.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from screener.odds.drawing import Numbers

MOST_DEGREES = 3
DRAWS_PER_FIGURE = 4  # fewer draws than that many times the figures, and other figures are left in
ROUNDING = 1e-9
LOW, HIGH = 10, 90  # per cent: between these a figure swings


@dataclass(frozen=True)
class Known:
    """A figure that could be known: its draws, of a choice the numbers of words."""

    values: Numbers
    is_choice: bool = False


def worth(figures: Sequence[Known], brings: Numbers) -> Numbers:
    """What knowing each figure by itself is worth. `brings` [draw, choice]: what each choice comes to in each draw; one of
    them is to choose nothing. In the unit of that; zero where the regression finds nothing in the figure."""
    return np.asarray([_gain(fit) for fit in fits(figures, brings)])


def worth_of_all(brings: Numbers) -> float:
    """What knowing everything is worth: the expected loss of the choice that is best on average."""
    return float(brings.max(axis=1).mean() - brings.mean(axis=0).max())


def fits(figures: Sequence[Known], brings: Numbers) -> list[Numbers]:
    """The mean of what each choice brings, given the figure, in each draw [draw, choice], for each figure."""
    bases = [_basis(figure) for figure in figures]
    straight = np.column_stack(
        [b[:, :1] if b.shape[1] else np.zeros((len(brings), 1)) for b in bases] or [brings[:, :0]]
    )
    slopes = np.zeros((straight.shape[1], brings.shape[1]))
    varying = straight.any(axis=0)
    if len(brings) >= DRAWS_PER_FIGURE * varying.sum() and varying.any():
        slopes[varying] = np.linalg.lstsq(straight[:, varying], brings - brings.mean(axis=0), rcond=None)[0]
    rest = brings - straight @ slopes
    return [
        _fitted(basis, rest + straight[:, at, None] * slopes[at], figure.is_choice)
        for at, (basis, figure) in enumerate(zip(bases, figures, strict=True))
    ]


def swing(figure: Known, fitted: Numbers) -> tuple[float, float]:
    """The fitted mean [draw] where a figure is low and where it is high: at its 10th and 90th percentile."""
    order = np.argsort(figure.values, kind="stable")
    at = [order[min(len(order) - 1, len(order) * percent // 100)] for percent in (LOW, HIGH)]
    return float(fitted[at[0]]), float(fitted[at[1]])


def _gain(fitted: Numbers) -> float:
    """Never below zero: what is fitted has the same mean as what was drawn."""
    gain = float(fitted.max(axis=1).mean() - fitted.mean(axis=0).max())
    return gain if gain > ROUNDING * float(np.abs(fitted).max()) else 0.0


def _basis(figure: Known) -> Numbers:
    """Orthonormal columns beside the constant: powers of the figure, or the words of a choice."""
    values = figure.values
    if np.ptp(values) == 0.0:
        return np.zeros((len(values), 0))
    if figure.is_choice:
        columns = [(values == word).astype(float) for word in np.unique(values)[1:]]
    else:
        scaled = (values - values.mean()) / values.std()
        columns = [scaled**power for power in range(1, MOST_DEGREES + 1)]
    raw = np.column_stack([np.ones(len(values)), *columns])
    return np.asarray(np.linalg.qr(raw)[0][:, 1:])


def _fitted(basis: Numbers, brings: Numbers, whole: bool) -> Numbers:
    """The mean of each choice given the figure, with the number of terms that the criterion likes best, none among them."""
    draws, terms = basis.shape
    mean = brings.mean(axis=0)
    weights = basis.T @ brings
    left = ((brings - mean) ** 2).sum(axis=0)[None] - np.concatenate(
        [np.zeros((1, brings.shape[1])), (weights**2).cumsum(axis=0)]
    )
    tried = np.asarray([0, terms] if whole else range(terms + 1))
    spent = np.log(np.maximum(left[tried], 1e-12 * np.maximum(left[:1], 1e-300))) * draws + tried[:, None] * np.log(
        draws
    )
    best = tried[np.argmin(spent, axis=0)]
    kept = np.where(np.arange(terms)[:, None] < best, weights, 0.0)
    return np.asarray(mean + basis @ kept)
