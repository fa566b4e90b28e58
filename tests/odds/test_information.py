"""The value of knowing a figure, against nested brute force and against what is known beforehand."""

import numpy as np
import pytest

from screener.odds.information import Known, fits, swing, worth, worth_of_all

DRAWS = 3_000


def brings(a: np.ndarray, b: np.ndarray, c: np.ndarray) -> np.ndarray:
    """Three choices: nothing, one that hangs on a bent, one on b and on both together; c says nothing."""
    return np.stack([0.0 * a, 30.0 + 60.0 * a - 18.0 * a**2 + 20.0 * b, 12.0 + 45.0 * b + 25.0 * a * b], axis=-1)


@pytest.fixture(scope="module")
def drawn() -> tuple[list[Known], np.ndarray]:
    random = np.random.default_rng(8)
    a, b, c = random.standard_normal((3, DRAWS))
    return [Known(a), Known(b), Known(c)], brings(a, b, c)


def nested(which: int, outer: int = 2_000, inner: int = 4_000) -> float:
    """For each value of one figure all others are drawn anew, and the best choice on average is taken."""
    random = np.random.default_rng(20)
    others = random.standard_normal((3, inner))
    best, means = [], []
    for value in random.standard_normal(outer):
        figures = [np.full(inner, value) if at == which else others[at] for at in range(3)]
        means.append(brings(*figures).mean(axis=0))
        best.append(means[-1].max())
    return float(np.mean(best) - np.mean(means, axis=0).max())


@pytest.mark.parametrize("which", [0, 1])
def test_against_nested_brute_force(drawn: tuple[list[Known], np.ndarray], which: int) -> None:
    assert worth(*drawn)[which] == pytest.approx(nested(which), rel=0.15)


def test_a_figure_that_says_nothing_is_worth_nothing(drawn: tuple[list[Known], np.ndarray]) -> None:
    assert worth(*drawn)[2] == pytest.approx(0.0, abs=0.02 * worth(*drawn)[0])


def test_never_negative_and_never_more_than_knowing_all() -> None:
    """Also of few draws of many figures, where regressions go astray."""
    for seed in range(40):
        random = np.random.default_rng(seed)
        figures = [Known(values) for values in random.standard_normal((30, 60))]
        values = random.standard_normal((60, 3)) * 10
        values[:, 0] = 0.0
        found = worth(figures, values)
        assert (found >= 0).all()
        assert np.median(found) <= worth_of_all(values)


def test_of_few_draws_noise_is_mostly_taken_for_none() -> None:
    """Of 200 draws of figures that say nothing most are worth exactly nothing, all together a small part of knowing all."""
    random = np.random.default_rng(3)
    values = np.column_stack([np.zeros(200), random.standard_normal(200) * 50 + 5])
    found = worth([Known(each) for each in random.standard_normal((40, 200))], values)
    assert (found == 0).mean() > 0.8
    assert found.max() < 0.25 * worth_of_all(values)


def test_a_choice_of_words() -> None:
    """Half the draws one word, worth 10, half another, worth -6: known, one would take the first only, 5 for 2."""
    words = np.repeat([0.0, 3.0], 500)
    values = np.column_stack([np.zeros(1000), np.where(words == 0, 10.0, -6.0)])
    assert worth([Known(words, is_choice=True)], values)[0] == pytest.approx(5.0 - 2.0)
    assert worth_of_all(values) == pytest.approx(3.0)


def test_a_figure_that_never_varies_is_worth_nothing() -> None:
    values = np.column_stack([np.zeros(50), np.linspace(-1, 1, 50)])
    assert worth([Known(np.ones(50))], values).tolist() == [0.0]


def test_swing_is_the_fitted_line_at_its_ends() -> None:
    random = np.random.default_rng(1)
    figure = Known(random.standard_normal(2_000))
    total = 100.0 + 10.0 * figure.values + random.standard_normal(2_000)
    low, high = swing(figure, fits([figure], total[:, None])[0][:, 0])
    assert (low, high) == (pytest.approx(100 - 12.8, abs=1.0), pytest.approx(100 + 12.8, abs=1.0))
