"""Slips planted one at a time, and which tests notice: `python -m tests.slips [FIRST [COUNT]]`, some 20 s each; not in CI.

A slip is what a tired person does: a sign, a constant off by two per cent, two columns swapped, a bound the wrong way round.
Each is planted in a copy of the project and the tests of its area are run, the quick ones first; a test that fails in a sound
copy too has noticed nothing. The engine's kept results (`tests/reference`), README's sessions and pictures are not among them,
since they only say that something is not as it was. The last line says how many were noticed; `MUST` is how many of the sixty
have to be.
"""

import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[1]
COPIED = ("screener", "schemas", "tests", "portfolios", "pyproject.toml", "README.md", "DEVELOPERS.md")
MUST = 57
BY_HAND = "tests/test_values_by_hand.py"
AREAS = {  # tests of an area, in the order in which they are run
    "physics": (BY_HAND, "tests/physics", "tests/strategies", "tests/test_independent_year.py"),
    "loads": (
        BY_HAND,
        "tests/strategies",
        "tests/test_storage.py",
        "tests/test_sense.py",
        "tests/test_independent_year.py",
    ),
    "sizing": (BY_HAND, "tests/strategies", "tests/test_filling.py", "tests/test_sense.py", "tests/test_plausible.py"),
    "price": (
        "tests/test_price.py",
        "tests/test_tariff_arithmetic.py",
        "tests/test_bills.py",
        "tests/test_rate_sheets.py",
    ),
    "economics": (BY_HAND, "tests/test_economics.py", "tests/test_rank.py", "tests/test_adds_up.py"),
    "climate": (BY_HAND, "tests/climate"),
    "units": ("tests/tables/test_units.py", "tests/test_calendar.py", "tests/test_exact.py", BY_HAND),
    "filling": ("tests/test_plausible.py", "tests/test_filling.py", "tests/test_building_types.py"),
    "reports": ("tests/report/test_charts.py", "tests/report/test_page.py", "tests/report/test_site_charts.py"),
}


@dataclass(frozen=True)
class Slip:
    """In `file` of the package the first `old` becomes `new`."""

    area: str
    file: str
    old: str
    new: str


SLIPS = [
    Slip(*each)
    for each in (
        ("physics", "physics/part_load_moisture.py", "0.33, 30.0)", "0.33, 30.6)"),
        ("physics", "physics/part_load_moisture.py", "1.5, 45.0)", "1.5, 44.1)"),
        ("physics", "physics/part_load_moisture.py", "CYCLES_PER_HOUR = 3.0", "CYCLES_PER_HOUR = 3.06"),
        ("physics", "physics/part_load_moisture.py", "(4 * coil.t_wet_s)", "(2 * coil.t_wet_s)"),
        ("physics", "physics/outdoor_air_unit.py", "CARNOT_FRACTION = 0.343", "CARNOT_FRACTION = 0.350"),
        ("physics", "physics/outdoor_air_unit.py", "FAN_W_L_S = 0.9 ", "FAN_W_L_S = 0.918 "),
        ("physics", "physics/outdoor_air_unit.py", "    7.0  # dew point", "    6.86  # dew point"),
        ("physics", "physics/outdoor_air_unit.py", "CYCLING_LOSS = 0.13", "CYCLING_LOSS = -0.13"),
        ("physics", "physics/outdoor_air_unit.py", "CONDENSER_APPROACH_K = 14.0", "CONDENSER_APPROACH_K = 14.3"),
        ("physics", "physics/enthalpy_wheel.py", "STREAM_W_L_S = 0.275", "STREAM_W_L_S = 0.2805"),
        ("physics", "physics/enthalpy_wheel.py", "(exhaust - outdoor)", "(outdoor - exhaust)"),
        ("physics", "physics/enthalpy_wheel.py", "LATENT_EFFECTIVENESS = 0.70", "LATENT_EFFECTIVENESS = 0.714"),
        ("physics", "physics/heat_pipe.py", "EFFECTIVENESS = 0.45", "EFFECTIVENESS = 0.459"),
        ("physics", "physics/heat_pipe.py", "FAN_W_L_S = 0.23", "FAN_W_L_S = 0.2346"),
        ("physics", "physics/heat_pump.py", "RATED_C, RATED_COP = 8.3, 3.4", "RATED_C, RATED_COP = 8.3, 3.332"),
        (
            "physics",
            "physics/heat_pump.py",
            "FROST_C, FROST_WIDTH_K, FROST_LOSS = 1.7",
            "FROST_C, FROST_WIDTH_K, FROST_LOSS = 1.734",
        ),
        ("physics", "physics/heat_pump.py", "(1 - FROST_LOSS * frosted)", "(1 + FROST_LOSS * frosted)"),
        ("physics", "physics/dehumidifier.py", "FROST_C = 18.0", "FROST_C = 17.64"),
        ("physics", "physics/dehumidifier.py", "RATING_C = 26.7", "RATING_C = 26.2"),
        ("physics", "physics/dehumidifier.py", "0.021110538", "0.021532749"),
        ("physics", "physics/cooling_coil.py", "RATED_OUTDOOR_C = 35.0", "RATED_OUTDOOR_C = 34.3"),
        ("physics", "physics/cooling_coil.py", "COLDEST_ADP_C = 1.0", "COLDEST_ADP_C = 1.02"),
        ("physics", "physics/psychrometrics.py", "CP_VAPOUR = 1860.0", "CP_VAPOUR = 1897.0"),
        ("physics", "physics/psychrometrics.py", "MASS_RATIO = 0.621945", "MASS_RATIO = 0.634384"),
        ("physics", "physics/refrigeration.py", "ENERGY_PER_RH_PCT = 0.004", "ENERGY_PER_RH_PCT = 0.00408"),
        ("physics", "physics/refrigeration.py", "ANTI_SWEAT_PER_RH_PCT = 0.0016", "ANTI_SWEAT_PER_RH_PCT = 0.00163"),
        ("physics", "physics/refrigeration.py", "(1 + COP)", "(1 - COP)"),
        ("physics", "physics/desiccant.py", "BINDING_SHARE = 0.10", "BINDING_SHARE = 0.102"),
        ("physics", "physics/desiccant.py", "CARRY_OVER_SHARE = 0.12", "CARRY_OVER_SHARE = -0.12"),
        ("physics", "physics/ventilation.py", "per_person_l_s * people", "per_area_l_s_m2 * people"),
        (
            "loads",
            "loads.py",
            'c("aperture_m2") * c("irradiance_w_m2") - c("case_sensible_w"),',
            '-c("case_sensible_w"),',
        ),
        ("loads", "loads.py", 'c("hour") + 0.5', 'c("hour") + 1.0'),
        ("loads", "loads.py", "middle >= opens, middle < closes", "middle > opens, middle <= closes"),
        ("loads", "loads.py", '- c("case_sensible_w"),', '+ c("case_sensible_w"),'),
        ("loads", "loads.py", 'c("process_moisture_kg_h") / 3600', 'c("process_moisture_kg_h") / 3672'),
        ("loads", "loads.py", 'people * c("person_latent_w")', 'people * c("person_sensible_w")'),
        ("sizing", "sizing.py", "INDOOR_DERATING = 0.88", "INDOOR_DERATING = 0.8976"),
        ("sizing", "sizing.py", "weather = 1 - cooling_coil", "weather = 1 + cooling_coil"),
        ("price", "price/billing.py", "energy * (1 + share / 100)", "energy * (1 - share / 100)"),
        ("price", "price/billing.py", "least - fixed - energy", "least + fixed - energy"),
        ("price", "price/billing.py", "null_count()]", "null_count() > 99]"),
        ("price", "price/billing.py", "carbon[0] + carbon[1]", "carbon[0] - carbon[1]"),
        ("price", "price/billing.py", "pl.Series(beyond)).to_numpy() / 12", "pl.Series(beyond)).to_numpy() / 11"),
        (
            "economics",
            "economics/present_value.py",
            "(1.0 + escalation) / (1.0 + rate)",
            "(1.0 - escalation) / (1.0 + rate)",
        ),
        ("economics", "economics/present_value.py", "for year in range(1, years + 1))", "for year in range(0, years))"),
        ("economics", "economics/present_value.py", "(end_of_life - study) / life", "(end_of_life - study) / study"),
        (
            "economics",
            "economics/life_cycle.py",
            '+ pl.col("demand_cost") - pl.col("case_credit")',
            '+ pl.col("demand_cost") + pl.col("case_credit")',
        ),
        ("economics", "economics/life_cycle.py", '- pl.col("residual_pv"))', '+ pl.col("residual_pv"))'),
        ("economics", "economics/life_cycle.py", '"fuel_saved_kwh": "fuel_kwh"', '"fuel_saved_kwh": "electricity_kwh"'),
        ("climate", "climate/nearest.py", "EARTH_RADIUS_KM = 6371.0", "EARTH_RADIUS_KM = 6498.0"),
        ("climate", "climate/figures.py", "DESIGN_EXCEEDED = 0.004", "DESIGN_EXCEEDED = 0.04"),
        ("climate", "climate/figures.py", "SENSIBLE_TON_HOURS = 1.08", "SENSIBLE_TON_HOURS = 1.10"),
        (
            "climate",
            "climate/hourly_files.py",
            '"ghi_w_m2": ("irradiance_w_m2", 1, 0)',
            '"ghi_w_m2": ("irradiance_w_m2", 1.02, 0)',
        ),
        ("climate", "climate/hourly_files.py", '"dry_bulb_f": ("dry_bulb_c"', '"dry_bulb_f": ("dew_point_c"'),
        ("units", "units.py", "GAS_BTU_FT3 = (\n    1036.0", "GAS_BTU_FT3 = (\n    1056.0"),
        ("units", "units.py", "THERM_KWH = 105.4804e6", "THERM_KWH = 103.4e6"),
        ("units", "calendar.py", "range((last - first) % 7 + 1)", "range((last - first) % 7)"),
        (
            "filling",
            "assumptions/plausible.py",
            '(C("opens_hour") - C("closes_hour")) % 24',
            '(C("closes_hour") - C("opens_hour")) % 24',
        ),
        ("reports", "report/svg.py", 'return "0" if text', 'return "1" if text'),
        ("reports", "report/svg.py", "(value - self.low) / span", "(value + self.low) / span"),
    )
]


@contextmanager
def copied() -> Iterator[Path]:
    """A copy of the project."""
    with tempfile.TemporaryDirectory() as folder:
        root = Path(folder) / "project"
        root.mkdir()
        for name in COPIED:
            source = ROOT / name
            if source.is_dir():
                shutil.copytree(source, root / name, ignore=shutil.ignore_patterns("__pycache__"))
            else:
                shutil.copy(source, root / name)
        yield root


def plant(slip: Slip, root: Path) -> None:
    """Put a slip into a copy. ValueError where its place is no longer there."""
    file = root / "screener" / slip.file
    text = file.read_text(encoding="utf-8")
    if slip.old not in text:
        raise ValueError(f"{slip.file} has no {slip.old!r} any more; plant the slip elsewhere")
    file.write_text(text.replace(slip.old, slip.new, 1), encoding="utf-8")


def first_failure(root: Path, tests: Sequence[str], without: Sequence[str] = ()) -> str | None:
    """The first of these tests that fails in a copy; None where none does."""
    command = [sys.executable, "-m", "pytest", "-x", "-q", "-p", "no:cacheprovider", *tests]
    command += [f"--deselect={test}" for test in without]
    there = os.environ | {"PYTHONPATH": str(root), "PYTHONDONTWRITEBYTECODE": "1"}
    done = subprocess.run(command, cwd=root, env=there, capture_output=True, text=True)
    if done.returncode == 0:
        return None
    failed = [line for line in done.stdout.splitlines() if line.startswith(("FAILED", "ERROR"))]
    if not failed:
        raise RuntimeError(f"pytest ended with {done.returncode}: {done.stdout[-500:]}{done.stderr[-500:]}")
    return failed[0].split(" - ")[0].split(" ", 1)[1]


def noticed_by(slip: Slip) -> str | None:
    """The first test that fails with the slip in and passes without it; None where none does."""
    of_its_own: list[str] = []  # fail either way, as where a machine is slow
    with copied() as root, copied() as sound:
        plant(slip, root)
        while (test := first_failure(root, AREAS[slip.area], of_its_own)) and first_failure(sound, [test]):
            of_its_own.append(test)
    return test


def main(first: int = 0, count: int = len(SLIPS)) -> int:
    noticed = 0
    tried = SLIPS[first : first + count]
    for number, slip in enumerate(tried, start=first):
        try:
            by = noticed_by(slip)
        except (ValueError, RuntimeError) as error:
            by = None
            print(error)
        noticed += by is not None
        print(f"{number:2} {slip.file}: {slip.old!r} -> {slip.new!r}: {by or 'NOT NOTICED'}", flush=True)
    print(f"{noticed} of {len(tried)} slips noticed; of {len(SLIPS)} at least {MUST} have to be")
    return 0 if noticed >= len(tried) - (len(SLIPS) - MUST) else 1


if __name__ == "__main__":
    sys.exit(main(*map(int, sys.argv[1:])))
