"""Gains, sizing, strategies and ledger put together: every hour of every site, a batch of sites at a time.

The stages know nothing of one another; here their steps become the two worksheets that are worked out, one for any hour
and one for the damp ones, and compiled with the sums that the ledger asks for.
"""

from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor

import numpy as np
import polars as pl

from screener import ledger, loads, sizing, strategies
from screener.calendar import SLOTS, is_other, slot
from screener.formula import col
from screener.strategies import REFERENCE, REGISTRY
from screener.worksheet import Worksheet, compiled

BATCH_SITES = 150  # their sums take 33 MB
MANY_SITES = 1000  # from which the slower compilation to faster code pays
WEATHER = ("outdoor_c", "outdoor_humidity_ratio", "irradiance_w_m2")
HOURLY = ("hour", "day_of_week", "weight_h", *WEATHER)
_COMPILER = ThreadPoolExecutor(1, "compiler")
_YEARS: "dict[tuple[tuple[str, ...], bool], Future[compiled.CompiledYear]]" = {}


def size(sites: pl.DataFrame, conditions: pl.DataFrame, equipment: pl.DataFrame) -> pl.DataFrame:
    """Sites as the engine needs them: terms of their loads, what their equipment can do, what they cannot have."""
    every = [*REGISTRY.values()]
    design = sizing.design_hours(sites, conditions)
    peak = loads.site_terms(sites, at_peak=True)
    gains = Worksheet()
    loads.steps(gains, fan_w=0.0)
    design_loads = gains.apply(design.lazy().join(peak.lazy(), on="site_id")).collect()
    add = strategies.add_equipment
    sized = sizing.size_coil(loads.site_terms(sites), design_loads, equipment, every, add)
    any_hour, damp_hour = plan([strategy.name for strategy in every if strategy.device])
    at_peak = sizing.size_coil(peak, design_loads, equipment, every, add)
    worked = damp_hour.apply(any_hour.apply(design.lazy().join(at_peak.lazy(), on="site_id")))
    taken = worked.select("site_id", *(f"{s.name}.device_kg_s" for s in every if s.device)).collect()
    return sizing.size_devices(sized, taken, every)


def plan(names: Sequence[str] = tuple(REGISTRY)) -> tuple[Worksheet, Worksheet]:
    """The worksheet of any hour (gains, the reference) and the one of damp hours (every other strategy)."""
    chosen = [REGISTRY[name] for name in names if name != REFERENCE.name]
    any_hour, damp_hour = Worksheet(), Worksheet()
    loads.steps(any_hour, fan_w=col("fan_w"))
    strategies.add_reference(any_hour, REFERENCE)
    strategies.add_standby(any_hour, chosen)
    strategies.add_damp_hours(damp_hour, chosen)
    return any_hour, damp_hour


def prepare(sites: int, names: Sequence[str] = tuple(REGISTRY)) -> None:
    """Begin to compile what `simulate` needs for so many sites, beside what else there is to do."""
    _year(tuple(names), sites)


def simulate(
    sized: pl.DataFrame, years: Mapping[str, compiled.Hours], names: Sequence[str] = tuple(REGISTRY)
) -> Iterator[ledger.Accounts]:
    """Work out every hour of every site with every strategy, a batch of sites at a time. `years` by weather_id."""
    year = _year(tuple(names), sized.height).result()
    for batch in sized.with_row_index("site").iter_slices(BATCH_SITES):
        sums = compiled.run(year, batch, "weather_id", years, SLOTS, ledger.dampest)
        yield ledger.accumulate(sums, batch, names)


def _year(names: tuple[str, ...], sites: int) -> "Future[compiled.CompiledYear]":
    """Compiled once; the few sites of a last batch take what the many before them had."""
    many = sites > MANY_SITES or (names, True) in _YEARS
    if (names, many) not in _YEARS:
        _YEARS[names, many] = _COMPILER.submit(compiled_year, names, many)
    return _YEARS[names, many]


def compiled_year(names: Sequence[str], many: bool = False) -> compiled.CompiledYear:
    """The year of a site with these strategies, compiled: in half a second, or for `many` sites in more than one, to
    code a third faster that gives the same numbers."""
    any_hour, damp_hour = plan(names)
    every, damp = {*any_hour.names()}, {*any_hour.names(), *damp_hour.names()}
    return compiled.CompiledYear(
        any_hour,
        damp_hour,
        hour_columns=HOURLY,
        dry=ledger.dry(every, names, REFERENCE.name),
        damp=ledger.damp(damp, names, REFERENCE.name),
        dry_kept=col(f"{REFERENCE.name}.humidity_ratio"),
        damp_kept=[col(f"{name}.humidity_ratio") for name in names],
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
        slots[:count] = year.select(slot(pl.col("month"), is_other(pl.col("day_of_week")), pl.col("hour"))).to_series()
        columns[:, count:] = columns[:, count - 1 : count]
        columns[HOURLY.index("weight_h"), count:] = 0.0
        found[str(weather_id)] = compiled.Hours(columns, slots)
    return found
