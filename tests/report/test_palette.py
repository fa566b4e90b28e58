"""Colours that every reader can tell apart, on a screen and in grey print."""

from itertools import combinations, pairwise

import pytest

from screener.report import palette
from screener.report.palette import END_USES, PAPER, SHADES, Fill

# Complete absence of one kind of cone: G. M. Machado, M. M. Oliveira, L. A. F. Fernandes, "A Physiologically-based Model
# for Simulation of Color Vision Deficiency", IEEE TVCG 15 (2009), matrices for severity 1; from memory.
SIGHTS = {
    "usual": ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)),
    "protanopia": (
        (0.152286, 1.052583, -0.204868),
        (0.114503, 0.786281, 0.099216),
        (-0.003882, -0.048116, 1.051998),
    ),
    "deuteranopia": (
        (0.367322, 0.860646, -0.227968),
        (0.280085, 0.672501, 0.047413),
        (-0.011820, 0.042940, 0.968881),
    ),
    "tritanopia": (
        (1.255528, -0.076749, -0.178779),
        (-0.078411, 0.930809, 0.147602),
        (0.004733, 0.691367, 0.303900),
    ),
}


def linear(colour: str) -> list[float]:
    """Linear light of #rrggbb [IEC 61966-2-1]."""
    parts = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    return [v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4 for v in parts]


def lab(light: list[float]) -> tuple[float, float, float]:
    """CIE L*a*b*, white D65."""
    r, g, b = (min(max(v, 0.0), 1.0) for v in light)
    x = (0.4124 * r + 0.3576 * g + 0.1805 * b) / 0.95047
    y = 0.2126 * r + 0.7152 * g + 0.0722 * b
    z = (0.0193 * r + 0.1192 * g + 0.9505 * b) / 1.08883
    fx, fy, fz = (v ** (1 / 3) if v > 0.008856 else 7.787 * v + 16 / 116 for v in (x, y, z))
    return 116 * fy - 16, 500 * (fx - fy), 200 * (fy - fz)


def seen(colour: str, sight: str) -> tuple[float, float, float]:
    light = linear(colour)
    return lab([sum(weight * part for weight, part in zip(row, light, strict=True)) for row in SIGHTS[sight]])


def distance(one: str, other: str, sight: str) -> float:
    return sum((a - b) ** 2 for a, b in zip(seen(one, sight), seen(other, sight), strict=True)) ** 0.5


def lightness(colour: str) -> float:
    return seen(colour, "usual")[0]


def contrast(one: str, other: str) -> float:
    """Contrast ratio [WCAG 2.1]."""
    low, high = sorted(0.2126 * r + 0.7152 * g + 0.0722 * b for r, g, b in (linear(one), linear(other)))
    return (high + 0.05) / (low + 0.05)


FILLS: list[Fill] = [fill for _, fill in END_USES.values()]


@pytest.mark.parametrize("sight", SIGHTS)
def test_end_uses_of_one_kind_differ_to_every_eye(sight: str) -> None:
    """A difference of 2.3 is just noticed (Mahy et al. 1994); areas want several times that."""
    for hatched in (False, True):
        colours = [fill.colour for fill in FILLS if fill.hatched == hatched]
        assert min(distance(a, b, sight) for a, b in combinations(colours, 2)) > 12


def test_a_colour_serves_twice_only_with_and_without_hatching() -> None:
    assert len(set(FILLS)) == len(FILLS)


def test_neighbours_in_a_stack_differ_in_grey() -> None:
    """Hatching halves the ink, so neighbours of which one is hatched differ by that alone."""
    for one, other in pairwise(FILLS):
        if one.hatched == other.hatched:
            assert abs(lightness(one.colour) - lightness(other.colour)) > 12, (one, other)


def test_shades_grow_darker_step_by_step() -> None:
    steps = [lightness(PAPER), *map(lightness, SHADES)]
    assert all(a - b > 6 for a, b in pairwise(steps))


def test_letters_stand_out_from_their_ground() -> None:
    """4.5 to 1 for ordinary text [WCAG 2.1, 1.4.3]."""
    from screener.report.charts.strategy_grid import DARK

    for place, shade in enumerate(SHADES):
        assert contrast("#ffffff" if place >= DARK else palette.INK, shade) >= 4.5
    for ink in (palette.INK, "#5a646b", "#8a4012", "#2f5d73", "#7d2a1c"):
        assert contrast(ink, PAPER) >= 4.5
