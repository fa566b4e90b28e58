"""Water a cycling coil keeps off the air when the fan runs on: what is left on the coil evaporates in the pauses.

On/off-cycle model [H. Henderson, K. Rengarajan, ASHRAE Transactions 102(1), 1996; D. Shirey, H. Henderson, R. Raustad,
FSEC-CR-1537-05, 2006; equations from memory]: at run fraction X, cycling at most N times an hour (at X = 1/2),

    t_on = 3600 / (4 N (1 - X)),   t_off = 3600 / (4 N X), at most 2 t_wet / g
    t_o  = g t_off - g^2 t_off^2 / (4 t_wet) - tau (exp(-t_o / tau) - 1)
    removal over removal at full run and X:  L = max(0, (t_on - t_o) / (t_on + tau (exp(-t_on / tau) - 1)))

t_wet: how long the retained water lasts at the full-run rate of removal; g: first evaporation rate over that rate; tau: time
constant of the coil. The water that re-evaporates cools the air it wets, so what latent duty loses sensible duty gains.

X L is, within 0.002 of the full-run removal, the largest of zero and two straight lines of X. Everything an hour needs then
has a closed form: water at a run fraction, the run fraction for so much water or so much cooling.
"""

import math
from bisect import bisect_left
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

from screener.formula import Number, at_least, between, floor, larger, smaller, when

CYCLES_PER_HOUR = 3.0  # thermostat cycling at half run, AHRI 210/240 practice (from memory)
GRID = 1000
LEAST_REST = 1e-12  # of a unit's water: less is rounding, and starts no unit


@dataclass(frozen=True)
class Retention:
    """How a coil holds and loses water in the pauses, times in seconds."""

    t_wet_s: float
    gamma: float
    tau_s: float


RETENTION = {  # the two ends of what was measured on coils in service (published with the model, from memory)
    "moderate": Retention(720.0, 0.33, 30.0),
    "strong": Retention(1000.0, 1.5, 45.0),
}
NO_RE_EVAPORATION = "none"
CHOICES = (NO_RE_EVAPORATION, *RETENTION)


def latent_ratio(run_fraction: float, coil: Retention, cycles_per_hour: float = CYCLES_PER_HOUR) -> float:
    """L: water removed at run fraction `runs` (0 to 1) over what `runs` hours at full run would remove.

    For example, checks of the published model: 0.677 at half run:

    >>> round(latent_ratio(0.5, RETENTION["moderate"]), 3)
    0.677
    """
    if run_fraction >= 1.0:
        return 1.0
    if run_fraction <= 0.0:
        return 0.0
    t_on = 3600 / (4 * cycles_per_hour * (1 - run_fraction))
    t_off = min(3600 / (4 * cycles_per_hour * run_fraction), 2 * coil.t_wet_s / coil.gamma)
    evaporates = coil.gamma * t_off - (coil.gamma * t_off) ** 2 / (4 * coil.t_wet_s)
    t_o, before = evaporates, -1.0
    for _ in range(200):  # a contraction: its slope is exp(-t_o / tau)
        if t_o == before:
            break
        t_o, before = evaporates - coil.tau_s * (math.exp(-t_o / coil.tau_s) - 1), t_o
    return max(0.0, (t_on - t_o) / (t_on + coil.tau_s * (math.exp(-t_on / coil.tau_s) - 1)))


@cache
def chords(choice: str) -> tuple[float, float, float]:
    """Slope and offset of the lower line of X L, and slope of the upper one, which passes through (1, 1).

    `choice` is one of CHOICES. The joint of the two chords is where their largest error is least.

    >>> [round(x, 3) for x in chords("none")]
    [1.0, 0.0, 1.0]
    """
    if choice == NO_RE_EVAPORATION:
        return 1.0, 0.0, 1.0
    curve = [(x / GRID, x / GRID * latent_ratio(x / GRID, RETENTION[choice])) for x in range(GRID + 1)]
    start = next(x for x, latent_fraction in curve if latent_fraction > 0)

    def lines(joint: tuple[float, float]) -> tuple[float, float, float]:
        x, latent_fraction = joint
        lower = latent_fraction / (x - start)
        return lower, -lower * start, (1 - latent_fraction) / (1 - x)

    def errors(joint: tuple[float, float]) -> tuple[float, float]:
        """How far the chords rise above the curve, which sags between its points, before the joint and beyond it."""
        slope, offset, upper = lines(joint)
        before = max(max(0.0, slope * x + offset) - latent_fraction for x, latent_fraction in curve if x <= joint[0])
        return before, max(1 - upper * (1 - x) - latent_fraction for x, latent_fraction in curve if x >= joint[0])

    joints = [point for point in curve if start + 0.02 < point[0] < 0.98]
    # the further the joint, the larger the error before it and the smaller the one beyond
    level = bisect_left(joints, 0.0, key=lambda joint: errors(joint)[0] - errors(joint)[1])
    return lines(min(joints[max(level - 1, 0) : level + 1], key=lambda joint: max(errors(joint))))


@dataclass(frozen=True)
class PartLoad:
    """How a plant of equal units takes water at part load: lead and lag, all but one of those that run without pause.

    At run fraction X of the plant k = floor(n X) of its `units` n run through, one cycles at f = n X - k and the others rest,
    dry: the water of a full hour kept off the air is (k + f L(f)) / n. The lines of f L(f) are columns; `fan` is 1 while the
    supply fan runs on in the pauses, else 0, where f L(f) is f.
    """

    lower_slope: Number
    lower_offset: Number
    upper_slope: Number
    fan: Number
    units: Number = 1.0

    def latent_fraction(self, run_fraction: Number) -> Number:
        """Water removed over that of a full hour of running, at this run fraction.

        For example, half run keeps 0.338 of a full hour on the curve; the chords are within 0.002. Two units: one runs through,
        and nothing is lost:

        >>> round(PartLoad(*chords("moderate"), fan=1.0).latent_fraction(0.5), 2)
        0.34
        >>> PartLoad(*chords("moderate"), fan=1.0, units=2.0).latent_fraction(0.5)
        0.5
        """
        through, cycles = self._stage(run_fraction)
        return (through + larger(0.0, *(slope * cycles + offset for slope, offset in self._lines()))) / self.units

    def run_fraction_for_water(self, latent_fraction: Number) -> Number:
        """The smallest run fraction that removes `latent_fraction` (above zero) of a full hour's water; above 1 if none does.

        >>> round(PartLoad(*chords("moderate"), fan=1.0).run_fraction_for_water(0.34), 2)
        0.5
        """
        through, rest = self._stage(latent_fraction)
        cycles = smaller(*((rest - offset) / slope for slope, offset in self._lines()))
        return (through + when(rest > LEAST_REST).then(cycles).otherwise(0.0)) / self.units

    def chord_at(self, latent_fraction: Number) -> tuple[Number, Number]:
        """Slope and offset of the line that rules where `latent_fraction` of a full hour's water is removed.

        For example, a fan that cycles with the compressor: the plain line:

        >>> PartLoad(*chords("moderate"), fan=0.0).chord_at(0.3)
        (1.0, 0.0)
        """
        through, rest = self._stage(latent_fraction)
        upper_offset = 1 - self.upper_slope
        lower = (rest - self.lower_offset) * self.upper_slope < (rest - upper_offset) * self.lower_slope
        on = self.fan > 0
        slope = when(on & lower).then(self.lower_slope).when(on).then(self.upper_slope).otherwise(1.0)
        offset = when(on & lower).then(self.lower_offset).when(on).then(upper_offset).otherwise(0.0)
        return slope, (through * (1 - slope) + offset) / self.units

    def run_fraction_for_cooling(self, load_w: Number, sensible_w: Number, latent_w: Number) -> Number:
        """The smallest run fraction that delivers `load_w`, with these duties at full run; above 1 if none does.

        Sensible cooling of the unit that cycles is f sensible + (f - f L) latent: for each line of f L a straight line of f.

        For example, what re-evaporates cools too: less than the half that 50 of 100 W would take:

        >>> round(PartLoad(*chords("moderate"), fan=1.0).run_fraction_for_cooling(50.0, 100.0, 40.0), 2)
        0.43
        """
        through, rest = self._stage(load_w / sensible_w)
        rest_w = rest * sensible_w
        cycles = [rest_w / (sensible_w + latent_w)]
        for slope, offset in self._lines():
            rise = sensible_w + latent_w * (1 - slope)
            cycles.append(when(rise > 0).then((rest_w + latent_w * offset) / rise).otherwise(0.0))
        return (through + larger(*cycles)) / self.units

    def water_of_cooling(
        self, sensible_w: Number, latent_w: Number, moisture_kg_s: Number
    ) -> Iterator[tuple[Number, Number]]:
        """Water [kg/s] that the unit which cycles removes while it delivers a load [W] of its own: the largest of zero and, for
        each pair (per_w, offset), per_w load + offset. Duties and water are those of the whole plant at full run.

        For example, at full run all of it, on the first line of a cycling fan:

        >>> lines = PartLoad(*chords("none"), fan=0.0).water_of_cooling(100.0, 40.0, 0.02)
        >>> round(max(per_w * 100.0 + offset for per_w, offset in lines), 3)
        0.02
        """
        for slope, offset in self._lines():
            rise = sensible_w + latent_w * (1 - slope)
            there = when(rise > 0)
            yield (
                there.then(moisture_kg_s * slope / rise).otherwise(0.0),
                there.then(moisture_kg_s * offset * (sensible_w + latent_w) / rise).otherwise(0.0) / self.units,
            )

    def through(self, units: Number) -> Number:
        """How many units run through where so many would be needed, the last of all cycling at most: a whole number.

        >>> PartLoad(*chords("none"), fan=1.0, units=4.0).through(2.7)
        2.0
        """
        return between(floor(units), 0.0, self.units - 1)

    def power_w(self, full_power_w: Number, run_fraction: Number, degradation: Number) -> Number:
        """Power of the plant [W]: only the unit that cycles pays for it [AHRI 210/240, cyclic degradation coefficient].

        For example, half run at Cd 0.25 of one unit, and of two, of which one runs through:

        >>> round(PartLoad(*chords("none"), fan=1.0).power_w(1000.0, 0.5, 0.25))
        571
        >>> PartLoad(*chords("none"), fan=1.0, units=2.0).power_w(1000.0, 0.5, 0.25)
        500.0
        """
        through, cycles = self._stage(run_fraction)
        return full_power_w * (through + cycles / (1 - degradation * (1 - cycles))) / self.units

    def _stage(self, share: Number) -> tuple[Number, Number]:
        """How many units a share of the plant keeps running through, and what is left for the one that cycles."""
        units = share * self.units
        through = self.through(units)
        return through, units - through

    def _lines(self) -> list[tuple[Number, Number]]:
        chords = [(self.lower_slope, self.lower_offset), (self.upper_slope, 1 - self.upper_slope)]
        return [(1.0, -self.fan), *chords]


def delivered_w(run_fraction: Number, latent_fraction: Number, sensible_w: Number, latent_w: Number) -> Number:
    """Sensible cooling [W] at a run fraction that keeps this much water: what re-evaporates has cooled the air.

    For example, half run of 100 W, and the 0.16 of a full hour of 40 W that re-evaporates:

    >>> round(delivered_w(0.5, 0.34, 100.0, 40.0), 1)
    56.4
    """
    return run_fraction * sensible_w + at_least(run_fraction - latent_fraction, 0.0) * latent_w
