"""Re-evaporation from a cycling coil: the published model, its straight lines, and what follows from both."""

from pathlib import Path

import polars as pl
import pytest

from screener.formula import plain
from screener.physics import part_load_moisture as wet

TABLE = pl.read_csv(Path(__file__).parent / "part_load_moisture.csv", comment_prefix="#")
CASES = [(row["runs"], choice, row[choice]) for row in TABLE.to_dicts() for choice in wet.RETENTION]


def lines(choice: str, fan: float = 1.0) -> wet.PartLoad:
    lower, offset, upper = wet.chords(choice)
    return wet.PartLoad(lower, offset, upper, fan)


def value(expr: pl.Expr) -> float:
    return plain(expr)


@pytest.mark.parametrize(("run_fraction", "choice", "ratio"), CASES)
def test_published_table(run_fraction, choice, ratio):
    """To 1 % (the table prints three digits)."""
    assert wet.latent_ratio(run_fraction, wet.RETENTION[choice]) == pytest.approx(ratio, rel=0.01, abs=5e-4)


@pytest.mark.parametrize("choice", list(wet.RETENTION))
def test_straight_lines_follow_the_model(choice):
    """Within 0.002 of the water of a full hour's run."""
    for x in range(1, 200):
        latent_fraction = value(lines(choice).latent_fraction(x / 200))
        assert latent_fraction == pytest.approx(x / 200 * wet.latent_ratio(x / 200, wet.RETENTION[choice]), abs=0.002)


@pytest.mark.parametrize("choice", list(wet.RETENTION))
def test_no_other_joint_brings_the_lines_nearer(choice):
    """Against every hundredth of the run fraction as the joint, by the definition alone."""
    model = {x / 100: x / 100 * wet.latent_ratio(x / 100, wet.RETENTION[choice]) for x in range(101)}
    first = next(x / 1000 for x in range(1000) if wet.latent_ratio(x / 1000, wet.RETENTION[choice]) > 0)

    def largest_error(lower: float, offset: float, upper: float) -> float:
        return max(
            abs(max(0.0, lower * x + offset, 1 - upper * (1 - x)) - latent_fraction)
            for x, latent_fraction in model.items()
        )

    slopes = [
        (latent_fraction / (x - first), (1 - latent_fraction) / (1 - x))
        for x, latent_fraction in model.items()
        if first < x < 1
    ]
    least = min(largest_error(lower, -lower * first, upper) for lower, upper in slopes)
    assert 0 < largest_error(*wet.chords(choice)) <= least + 1e-6


@pytest.mark.parametrize("choice", wet.CHOICES)
def test_nothing_is_lost_where_the_fan_cycles(choice):
    for run_fraction in (0.0, 0.1, 0.5, 1.0):
        assert value(lines(choice, fan=0.0).latent_fraction(run_fraction)) == pytest.approx(run_fraction)
        assert value(lines("none").latent_fraction(run_fraction)) == pytest.approx(run_fraction)


@pytest.mark.parametrize("choice", wet.CHOICES)
@pytest.mark.parametrize("fan", [0.0, 1.0])
def test_run_fraction_for_so_much_water(choice, fan):
    for latent_fraction in (1e-6, 0.01, 0.1, 0.5, 0.9, 1.0):
        run_fraction = value(lines(choice, fan).run_fraction_for_water(latent_fraction))
        assert value(lines(choice, fan).latent_fraction(run_fraction)) == pytest.approx(latent_fraction, abs=1e-12)


@pytest.mark.parametrize("choice", wet.CHOICES)
@pytest.mark.parametrize("latent", [0.0, 10.0, 40.0, 90.0, 200.0])
def test_run_fraction_for_so_much_cooling(choice, latent):
    """What re-evaporates cools: at the run fraction found, sensible cooling is the load, and total duty never changes."""
    for load in (0.0, 1.0, 25.0, 60.0, 99.0, 100.0):
        run_fraction = value(lines(choice).run_fraction_for_cooling(load, 100.0, latent))
        assert 0 <= run_fraction <= 1 + 1e-12
        latent_fraction = value(lines(choice).latent_fraction(run_fraction))
        delivered = value(wet.delivered_w(run_fraction, latent_fraction, 100.0, latent))
        assert delivered == pytest.approx(load, abs=1e-9)
        assert delivered + latent_fraction * latent == pytest.approx(run_fraction * (100.0 + latent), abs=1e-9)


@pytest.mark.parametrize("choice", wet.CHOICES)
def test_water_that_comes_with_so_much_cooling(choice):
    """The lines of water against cooling are those of the run fraction the cooling takes."""
    sensible, latent, full = 100.0, 40.0, 0.02
    pairs = [(value(a), value(b)) for a, b in lines(choice).water_of_cooling(sensible, latent, full)]
    for load in (1.0, 10.0, 30.0, 60.0, 95.0):
        run_fraction = lines(choice).run_fraction_for_cooling(load, sensible, latent)
        expected = full * value(lines(choice).latent_fraction(run_fraction))
        assert max(0.0, *(a * load + b for a, b in pairs)) == pytest.approx(expected, abs=1e-12)


UNITS = (1, 2, 3, 4, 8, 24)


def lead_and_lag(run_fraction: float, units: int, choice: str) -> float:
    """Water of a full hour kept off the air by units that come on one after the other, by the published model itself: those
    that run through keep all of theirs, the one that cycles what the model says, the others are dry."""
    kept = 0.0
    for unit in range(units):
        runs = min(max(run_fraction * units - unit, 0.0), 1.0)
        kept += runs * (1.0 if choice == "none" else wet.latent_ratio(runs, wet.RETENTION[choice])) / units
    return kept


@pytest.mark.parametrize("units", UNITS)
@pytest.mark.parametrize("choice", wet.CHOICES)
def test_a_plant_in_stages_is_lead_and_lag(choice, units):
    """Within the 0.002 of a unit's water that the chords leave, and continuous from stage to stage."""
    plant = wet.PartLoad(*wet.chords(choice), fan=1.0, units=float(units))
    for x in range(201):
        kept = value(plant.latent_fraction(x / 200))
        assert kept == pytest.approx(lead_and_lag(x / 200, units, choice), abs=0.0025 / units)
        if kept > 1e-6:
            again = value(plant.latent_fraction(plant.run_fraction_for_water(kept)))
            assert again == pytest.approx(kept, abs=1e-9)
            if abs(kept * units - round(kept * units)) < 1e-6:
                continue  # where one unit is just full the next has not begun: between two lines
            slope, offset = plant.chord_at(kept)
            assert slope * plant.run_fraction_for_water(kept) + offset == pytest.approx(kept, abs=1e-9)


@pytest.mark.parametrize("units", UNITS)
@pytest.mark.parametrize("choice", wet.CHOICES)
def test_a_plant_in_stages_delivers_what_is_asked(choice, units):
    """Cooling at the run fraction found is the load; the water while it delivers it is that of the run fraction."""
    sensible, latent, full = 100.0, 40.0, 0.02
    plant = wet.PartLoad(*wet.chords(choice), fan=1.0, units=float(units))
    lines = list(plant.water_of_cooling(sensible, latent, full))
    for load in range(0, 101):
        runs = value(plant.run_fraction_for_cooling(float(load), sensible, latent))
        kept = value(plant.latent_fraction(runs))
        assert value(wet.delivered_w(runs, kept, sensible, latent)) == pytest.approx(load, abs=1e-9)
        through = value(plant.through(load / sensible * units))
        rest = load - through * sensible / units
        water = through * full / units + max(0.0, *(per_w * rest + offset for per_w, offset in lines))
        assert water == pytest.approx(kept * full, abs=1e-12)


def test_one_large_unit_loses_what_many_small_ones_keep():
    """What cycling loses is a unit's water, not the plant's (common practice, no source)."""
    kept = [value(wet.PartLoad(*wet.chords("strong"), fan=1.0, units=float(n)).latent_fraction(0.45)) for n in UNITS]
    assert kept[0] == 0.0
    assert min(kept[1:]) > 0.3
    assert kept[-1] == pytest.approx(0.45, abs=0.04)
