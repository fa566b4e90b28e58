"""Gains, sizing, strategies and ledger put together: every hour of every site, a batch of sites at a time.

The stages know nothing of one another; here their steps become the two worksheets that are worked out, one for any hour
and one for the damp ones, and compiled with the sums that the ledger asks for.
"""

from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from typing import TYPE_CHECKING, Protocol

import numpy as np
import polars as pl

from screener import ledger, loads, sizing, strategies
from screener.calendar import SLOTS, Dates, bit, is_other, slot
from screener.engine.blame import blame
from screener.formula import Number, col
from screener.strategies import REFERENCE, REGISTRY
from screener.worksheet import Worksheet
from screener.worksheet.columns import ColumnsYear
from screener.worksheet.hours import AT_ONCE, Finish, Hours, Sums, Tallies

if TYPE_CHECKING:
    from screener.worksheet.compiled import CompiledYear

SITES_AT_ONCE = 150  # their sums take 33 MB
MANY_SITES = 1000  # from which the slower compilation to faster code pays
WEATHER = ("outdoor_c", "outdoor_humidity_ratio", "irradiance_w_m2")
HOURLY_COLUMNS = ("hour", "day_bit", "month_bit", "weight_h", *WEATHER)
_COMPILER = ThreadPoolExecutor(1, "compiler")
_YEARS: "dict[tuple[tuple[str, ...], bool], Future[Year]]" = {}
NO_CODE: list[str] = []  # why no machine code could be made here, once it was tried


class Year(Protocol):
    """The year of a site with some strategies, worked out one way or another."""

    def run(self, sites: pl.DataFrame, key: str, places: Mapping[str, Hours], slots: int, finish: Finish) -> Sums:
        """Work out the year of each site, whose hours are those of the place that its column `key` names."""


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
    strategies.check_limits(damp_hour, chosen)
    return any_hour, damp_hour


def prepare(sites: int, names: Sequence[str] = tuple(REGISTRY)) -> None:
    """Begin to compile what `simulate` needs for so many sites, beside what else there is to do."""
    _year(tuple(names), sites)


def simulate(
    sized: pl.DataFrame, years: Mapping[str, Hours], names: Sequence[str] = tuple(REGISTRY)
) -> Iterator[ledger.Accounts]:
    """Work out every hour of every site with every strategy, a batch of sites at a time. `years` by weather_id.

    ResultsError, naming site and step, for what is not a number.
    """
    year = _year(tuple(names), sized.height).result()
    known = [*sized.columns, *HOURLY_COLUMNS]
    for sheet in plan(names):
        sheet.check_reads(known)
        known += sheet.names()
    for batch in sized.with_row_index("site").iter_slices(SITES_AT_ONCE):
        sums = year.run(batch, "weather_id", years, SLOTS, ledger.dampest)
        if found := sums.wrong():
            tally, site = found
            row = batch.slice(site, 1)
            acting = [name for name in names if name == REFERENCE.name or f"{name}." in tally]
            raise blame(columns_year(acting), row, years[row["weather_id"].item()], tally)
        yield ledger.accumulate(sums, batch, names)


def _year(names: tuple[str, ...], sites: int) -> "Future[Year]":
    """Made once; the few sites of a last batch take what the many before them had."""
    many = sites > MANY_SITES or (names, True) in _YEARS
    if (names, many) not in _YEARS:
        _YEARS[names, many] = _COMPILER.submit(_made, names, many)
    return _YEARS[names, many]


def _made(names: Sequence[str], many: bool) -> Year:
    """The year compiled, or where that cannot be done (another processor, no LLVM) in columns of Polars."""
    if not NO_CODE:
        try:
            return compiled_year(names, many)
        except (ImportError, OSError, RuntimeError) as error:
            NO_CODE.append(
                f"no machine code can be made here ({error}): hours are worked out in columns, ten times slower"
            )
    return columns_year(names)


def compiled_year(names: Sequence[str], many: bool = False) -> "CompiledYear":
    """The year of a site with these strategies, compiled: in half a second, or for `many` sites in more than one, to
    code a third faster that gives the same numbers."""
    from screener.worksheet import compiled  # may not be there

    return compiled.CompiledYear(*_parts(names), lanes=compiled.MANY_LANES if many else compiled.FEW_LANES)


def columns_year(names: Sequence[str]) -> ColumnsYear:
    """The same in columns of Polars, every step kept while a site is worked out."""
    return ColumnsYear(*_parts(names))


def _parts(names: Sequence[str]) -> tuple[Worksheet, Worksheet, Sequence[str], Tallies, Tallies, Number, list[Number]]:
    any_hour, damp_hour = plan(names)
    every, damp = {*any_hour.names()}, {*any_hour.names(), *damp_hour.names()}
    return (
        any_hour,
        damp_hour,
        HOURLY_COLUMNS,
        ledger.dry(every, names, REFERENCE.name),
        ledger.damp(damp, names, REFERENCE.name),
        col(f"{REFERENCE.name}.humidity_ratio"),
        [col(f"{name}.humidity_ratio") for name in names],
    )


def dated(hours: pl.DataFrame, dates: Dates | None = None) -> pl.DataFrame:
    """The hours of `climate.hours` with what the worksheets and the ledger ask of their dates: `day`, `day_of_week`, `day_bit`
    and `month_bit` (`calendar.bits`), and the `slot` of the year."""
    known = (dates or Dates()).of(hours)
    slots = slot(pl.col("month"), is_other(pl.col("day_of_week")), pl.col("hour"))
    return known.with_columns(slots, day_bit=bit(pl.col("day_of_week")), month_bit=bit(pl.col("month")))


def years(hours: pl.DataFrame, dates: Dates | None = None) -> dict[str, Hours]:
    """The hours of each weather of `climate.hours`, by its id, as `simulate` takes them: filled up to a multiple of what is
    worked out at once. `dates` are those of hours that have none (None: no holidays, 1 January a Monday)."""
    found = {}
    for (weather_id,), year in (
        dated(hours, dates).partition_by("weather_id", maintain_order=True, as_dict=True).items()
    ):
        count = year.height
        size = -(-count // AT_ONCE) * AT_ONCE
        columns, slots = np.empty((len(HOURLY_COLUMNS), size)), np.zeros(size, dtype=np.int64)
        columns[:, :count] = year.select(pl.col(HOURLY_COLUMNS).cast(pl.Float64)).to_numpy().T
        slots[:count] = year["slot"]
        columns[:, count:] = columns[:, count - 1 : count]
        columns[HOURLY_COLUMNS.index("weight_h"), count:] = 0.0
        found[str(weather_id)] = Hours(columns, slots)
    return found
