"""Gains, sizing, strategies and ledger put together: every hour of every site, a batch of sites at a time.

The stages know nothing of one another; here their steps become the two worksheets that are worked out, one for any hour
and one for the damp ones, and compiled with the sums that the ledger asks for.
"""

from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor

import numpy as np
import polars as pl

from screener import ledger, loads, sizing, strategies
from screener.strategies import REFERENCE, REGISTRY
from screener.worksheet import Worksheet, compiled

BATCH_SITES = 150  # their sums take 33 MB
MANY_SITES = 1000  # from which the slower compilation to faster code pays
DEVICES = tuple(s.name for s in REGISTRY.values() if s.has_device)
WEATHER = ("outdoor_c", "outdoor_humidity_ratio", "irradiance_w_m2")
HOURLY = ("hour", "day_of_week", "weight_h", *WEATHER)
_COMPILER = ThreadPoolExecutor(1, "compiler")
_PROGRAMS: "dict[tuple[tuple[str, ...], bool], Future[compiled.Program]]" = {}


def size(sites: pl.DataFrame, conditions: pl.DataFrame, equipment: pl.DataFrame) -> pl.DataFrame:
    """Sites as the engine needs them: terms of their loads, what their equipment can do, what they cannot have."""
    design = sizing.design_hours(sites, conditions)
    peak = loads.site_terms(sites, at_peak=True)
    gains = Worksheet()
    loads.steps(gains, fan_w=pl.lit(0.0))
    design_loads = gains.apply(design.lazy().join(peak.lazy(), on="site_id")).collect()
    sized = sizing.size_coil(loads.site_terms(sites), design_loads, equipment)
    sized = sized.with_columns(s.unavailable.alias(f"{s.name}.unavailable") for s in REGISTRY.values())
    any_hour, damp_hour = plan(DEVICES)
    at_peak = sizing.size_coil(peak, design_loads, equipment)
    worked = damp_hour.apply(any_hour.apply(design.lazy().join(at_peak.lazy(), on="site_id")))
    taken = worked.select("site_id", *(f"{name}.device_kg_s" for name in DEVICES)).collect()
    return sizing.size_devices(sized, taken, DEVICES)


def plan(names: Sequence[str] = tuple(REGISTRY)) -> tuple[Worksheet, Worksheet]:
    """The worksheet of any hour (gains, the reference) and the one of damp hours (every other strategy)."""
    chosen = [REGISTRY[name] for name in names if name != REFERENCE.name]
    any_hour, damp_hour = Worksheet(), Worksheet()
    loads.steps(any_hour, fan_w=pl.col("fan_w"))
    strategies.add_reference(any_hour, REFERENCE)
    strategies.add_standing(any_hour, chosen)
    strategies.add_damp_hours(damp_hour, chosen)
    return any_hour, damp_hour


def prepare(sites: int, names: Sequence[str] = tuple(REGISTRY)) -> None:
    """Begin to compile what `simulate` needs for so many sites, beside what else there is to do."""
    _program(tuple(names), sites)


def simulate(
    sized: pl.DataFrame, years: Mapping[str, compiled.Hours], names: Sequence[str] = tuple(REGISTRY)
) -> Iterator[ledger.Accounts]:
    """Work out every hour of every site with every strategy, a batch of sites at a time. `years` by weather_id."""
    program = _program(tuple(names), sized.height).result()
    for batch in sized.with_row_index("site").iter_slices(BATCH_SITES):
        sums = compiled.run(program, batch, "weather_id", years, ledger.SLOTS, ledger.dampest)
        yield ledger.accumulate(sums, batch, names)


def _program(names: tuple[str, ...], sites: int) -> "Future[compiled.Program]":
    """Compiled once; the few sites of a last batch take what the many before them had."""
    many = sites > MANY_SITES or (names, True) in _PROGRAMS
    if (names, many) not in _PROGRAMS:
        _PROGRAMS[names, many] = _COMPILER.submit(program_of, names, many)
    return _PROGRAMS[names, many]


def program_of(names: Sequence[str], many: bool = False) -> compiled.Program:
    """The year of a site with these strategies, compiled: in half a second, or for `many` sites in more than one, to
    code a third faster that gives the same numbers."""
    any_hour, damp_hour = plan(names)
    every, damp = {*any_hour.names()}, {*any_hour.names(), *damp_hour.names()}
    return compiled.Program(
        any_hour,
        damp_hour,
        hour_columns=HOURLY,
        dry=ledger.dry(every, names, REFERENCE.name),
        damp=ledger.damp(damp, names, REFERENCE.name),
        dry_kept=pl.col(f"{REFERENCE.name}.humidity_ratio"),
        damp_kept=[pl.col(f"{name}.humidity_ratio") for name in names],
        lanes=compiled.MANY_LANES if many else compiled.FEW_LANES,
    )


def years(hours: pl.DataFrame) -> dict[str, compiled.Hours]:
    """The hours of each weather of `climate.hours`, by its id, as `simulate` takes them: filled up to a multiple of what is
    worked out at once."""
    found = {}
    for (weather_id,), year in hours.partition_by("weather_id", maintain_order=True, as_dict=True).items():
        count = year.height
        size = -(-count // compiled.PHASES) * compiled.PHASES
        columns, slots = np.empty((len(HOURLY), size)), np.zeros(size, dtype=np.int64)
        columns[:, :count] = year.select(pl.col(HOURLY).cast(pl.Float64)).to_numpy().T
        slots[:count] = year.select(ledger.slot()).to_series()
        columns[:, count:] = columns[:, count - 1 : count]
        columns[HOURLY.index("weight_h"), count:] = 0.0
        found[str(weather_id)] = compiled.Hours(columns, slots)
    return found
