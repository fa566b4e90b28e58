"""The best set within a budget and side constraints, by an open mixed-integer solver: an optional extra.

Side constraints, such as at most so many sites of a kind, leave the plain multiple-choice knapsack, and a well-kept
solver library does better than code of our own. HiGHS: Huangfu and Hall, "Parallelizing the dual revised simplex
method", Mathematical Programming Computation 10 (2018).
"""

import os
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from math import inf
from typing import Any

import numpy as np
from numpy.typing import NDArray

from screener.errors import UsageError

MISSING = (
    'side constraints need the solver library highspy: install it with pip install "screener[solver]", '
    "or leave --max-sites and --require out"
)
OPTIONS: dict[str, bool | float] = {
    "output_flag": False,
    "mip_rel_gap": 1e-6,
    "mip_feasibility_tolerance": 1e-9,  # of a whole option: a ten-thousandth of a cent of a large investment
    "time_limit": 60.0,  # seconds; the bound is then told as it stands
}


Row = tuple[NDArray[np.int64], NDArray[np.float64], float, float]  # options, coefficients, lower and upper bound


@dataclass(frozen=True)
class Limit:
    """How many of the options that `counts` marks may be taken."""

    counts: NDArray[np.bool_]
    least: float = -inf
    most: float = inf


@dataclass(frozen=True)
class Solution:
    """Which options are taken, and what no set can be worth more than."""

    taken: NDArray[np.bool_]
    bound: float


def solve(
    site: NDArray[np.int64],
    cost: NDArray[np.float64],
    value: NDArray[np.float64],
    budget: float,
    limits: Sequence[Limit],
) -> Solution | None:
    """The options worth most that cost at most `budget`, one a site, within `limits`; None where there is no such set.

    One entry per option; `site` is a number from zero up and does not fall. UsageError where the solver library is not
    installed.
    """
    try:
        import highspy
    except ImportError:
        raise UsageError(MISSING) from None
    one_a_site = [(options, np.ones(len(options)), -inf, 1.0) for options in np.split(*_by_site(site))]
    dear = np.nonzero(cost)[0]
    counted = [(np.nonzero(limit.counts)[0], limit) for limit in limits]
    rows = [*one_a_site, (dear, cost[dear], -inf, budget)]
    rows += [(options, np.ones(len(options)), limit.least, limit.most) for options, limit in counted]
    with _silent():
        solver: Any = highspy.Highs()  # type: ignore[no-untyped-call]
    for name, setting in OPTIONS.items():
        solver.setOptionValue(name, setting)
    solver.passModel(_model(highspy, value, rows))
    solver.run()
    if solver.getInfo().primal_solution_status != highspy.SolutionStatus.kSolutionStatusFeasible:
        return None
    taken = np.array(solver.getSolution().col_value) > 0.5
    return Solution(taken, float(solver.getInfo().mip_dual_bound))


@contextmanager
def _silent() -> Iterator[None]:
    """Nothing reaches stdout, where only the answer belongs: the library greets there as it is made."""
    sys.stdout.flush()
    stdout = os.dup(1)
    with open(os.devnull, "wb") as nowhere:
        os.dup2(nowhere.fileno(), 1)
    try:
        yield
    finally:
        os.dup2(stdout, 1)
        os.close(stdout)


def _by_site(site: NDArray[np.int64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """All options, and where those of the next site begin."""
    return np.arange(len(site)), np.nonzero(np.diff(site))[0] + 1


def _model(highspy: Any, value: NDArray[np.float64], rows: Sequence[Row]) -> Any:
    """Take an option or leave it, every row's sum of coefficients within its bounds, the value as high as it goes."""
    options, coefficients, lower, upper = zip(*rows, strict=True)
    model = highspy.HighsLp()
    model.num_col_, model.num_row_ = len(value), len(rows)
    model.sense_ = highspy.ObjSense.kMaximize
    model.col_cost_ = value
    model.col_lower_, model.col_upper_ = np.zeros(len(value)), np.ones(len(value))
    model.integrality_ = [highspy.HighsVarType.kInteger] * len(value)
    model.row_lower_, model.row_upper_ = np.array(lower), np.array(upper)
    model.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
    model.a_matrix_.start_ = np.cumsum([0, *map(len, options)])
    model.a_matrix_.index_ = np.concatenate(options)
    model.a_matrix_.value_ = np.concatenate(coefficients)
    return model
