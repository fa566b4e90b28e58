"""Gains, sizing, strategies and ledger put together: every hour of every site, a batch of sites at a time.

The stages know nothing of one another; here their steps become the two worksheets that are worked out, one for any hour
and one for the damp ones, and compiled with the sums that the ledger asks for.
"""

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import replace
from functools import cache
from typing import TYPE_CHECKING, Protocol

import numpy as np
import polars as pl
from numpy.typing import NDArray

from screener import contracts, ledger, loads, sizing, strategies
from screener.calendar import SLOTS, Dates, bit, is_other, slot
from screener.contracts.hour import CARRIED, SHARES, WITHOUT_EQUIPMENT
from screener.engine.blame import blame
from screener.engine.hindrances import ruled_out
from screener.errors import ResultsError
from screener.formula import Number, col, polars
from screener.strategies import MACHINES, REFERENCE, REGISTRY, TOGETHER
from screener.tables import profiles
from screener.tables.offers import CHOSEN_BY, fitting
from screener.worksheet import Worksheet
from screener.worksheet.arrays import ArraysYear
from screener.worksheet.hours import Finish, Hours, Part, Sums, Tallies

if TYPE_CHECKING:
    from screener.worksheet.compiled import CompiledYear

SITES_AT_ONCE = 160  # a multiple of the lanes; their sums take 36 MB
WARM_UP_H = 7 * 24  # several times the day or so that a slab takes to forget
MANY_SITES = 1000  # from which the slower compilation to faster code pays
WEATHER = ("outdoor_c", "outdoor_humidity_ratio", "irradiance_w_m2")
PLACE_COLUMNS = ("hour", "day_bit", "month_bit", "weight_h", *WEATHER)
HOURLY_COLUMNS = (*PLACE_COLUMNS, *SHARES)
_COMPILER = ThreadPoolExecutor(1, "compiler")
_YEARS: "dict[tuple[tuple[str, ...], bool], Future[Year]]" = {}
NO_CODE: list[str] = []  # why no machine code could be made here, once it was tried


class Year(Protocol):
    """The year of a site with some strategies, worked out one way or another."""

    def run(
        self,
        sites: pl.DataFrame,
        key: str,
        years: Mapping[str, Hours],
        slots: int,
        finish: Finish,
        chosen: Collection[str] | None = None,
    ) -> dict[str, Sums]:
        """Work out the year of each site, whose hours are those of the place that its column `key` names, by strategy: those
        `chosen`, or all."""


def size(
    sites: pl.DataFrame,
    conditions: pl.DataFrame,
    equipment: pl.DataFrame,
    days: pl.DataFrame | None = None,
    offers: pl.DataFrame | None = None,
) -> pl.DataFrame:
    """Sites as the engine needs them: terms of their loads, what their equipment can do, what they cannot have.

    `offers`: the offers table, of which each site takes those that fit it best.
    `days`: resolved profiles of the hours of the day (None: those that ship). At design hours all are at their highest.
    """
    every = [*REGISTRY.values()]
    offered = offers_at(sites, offers)
    courses = profiles.by_hour(profiles.resolved() if days is None else days)
    sites = sites.join(courses, on="building_type", how="left", maintain_order="left")
    sites = sites.with_columns(people_most=pl.col(SHARES["people_share"]).arr.max())  # over the mean of the open hours
    design = sizing.design_hours(sites, conditions)
    peak = loads.at_rest(loads.site_terms(sites, at_peak=True)).with_columns(
        pl.col(course).arr.max().alias(share) for share, course in SHARES.items()
    )
    peak = peak.with_columns(people_share=1.0)  # of their peak
    gains = Worksheet()
    loads.steps(gains, fan_w=0.0)
    design_loads = gains.apply(design.lazy().join(peak.lazy(), on="site_id")).collect()
    add = strategies.add_equipment
    sized = sizing.size_coil(loads.site_terms(sites), design_loads, equipment, offered, every, add)
    any_hour, damp_hour = plan([strategy.name for strategy in every if strategy.device])
    at_peak = sizing.size_coil(peak, design_loads, equipment, offered, every, add)
    worked = damp_hour.apply(any_hour.apply(design.lazy().join(at_peak.lazy(), on="site_id")))
    taken = worked.select("site_id", *(f"{s.name}.device_kg_s" for s in every if s.device)).collect()
    whole = sizing.size_devices(sized, taken, every)
    whole = whole.with_columns(
        pl.coalesce(f"{name}.unavailable", why).alias(f"{name}.unavailable")
        for name, why in ruled_out(sites, offered).items()
    )
    today = pl.coalesce(pl.when(pl.col("current_strategy") == name).then(f"{name}.unavailable") for name in MACHINES)
    whole = whole.with_columns(
        pl.coalesce(f"{name}.unavailable", today).alias(f"{name}.unavailable") for name in WITHOUT_EQUIPMENT
    )
    return _with_otherwise(whole, sites.columns, equipment)


def _with_otherwise(sized: pl.DataFrame, filled: Sequence[str], equipment: pl.DataFrame) -> pl.DataFrame:
    """Sized sites with `<strategy>.set.<column>`, for each strategy without equipment the columns that `as_run` sets.

    What a strategy sets of the `filled` columns changes others that follow from them, which are worked out here; the equipment
    stays as large as it is.
    """
    if sized.height == 1:  # a column of one row is divided by as a number is: in the last bit another way
        return _with_otherwise(pl.concat([sized, sized]), filled, equipment).head(1)
    every = [REGISTRY[name] for name in sized["current_strategy"].unique().sort()]
    capacities = [f"{strategy.name}.device_capacity_l_day" for strategy in every]
    changed = []
    for name in WITHOUT_EQUIPMENT:
        sets = REGISTRY[name].sets or {}
        otherwise = [polars(value).cast(sized.schema[column]).alias(column) for column, value in sets.items()]
        changed.append(sized.with_columns(otherwise).select(*filled, *capacities))
    terms = loads.site_terms(pl.concat(changed))
    whole = sizing.resized(terms, equipment, every, strategies.add_equipment)
    found = {}
    for place, name in enumerate(WITHOUT_EQUIPMENT):
        own = whole.slice(place * sized.height, sized.height)
        for column in own.columns:
            if column in sized.columns and own[column].ne_missing(sized[column]).any():
                found[f"{name}.set.{column}"] = own[column]
    return sized.with_columns(**found)


def as_run(sized: pl.DataFrame, name: str) -> pl.DataFrame:
    """Sized sites as they are with a strategy without equipment, to be worked out with their `current_strategy`."""
    prefix = f"{name}.set."
    return sized.with_columns(
        pl.col(column).alias(column.removeprefix(prefix)) for column in sized.columns if column.startswith(prefix)
    )


def offers_at(sites: pl.DataFrame, offers: pl.DataFrame | None) -> pl.DataFrame:
    """The offers that count at each site (`tables.offers.fitting`): of strategies that are not how it works today."""
    if offers is None or offers.is_empty():
        schema = contracts.load("offers").polars_schema() | {"is_near": pl.Boolean}
        return pl.DataFrame(schema=schema).drop(CHOSEN_BY[1:])
    today = sites.select("site_id", strategy="current_strategy")
    return fitting(sites, offers).join(today, on=["site_id", "strategy"], how="anti", maintain_order="left")


def plan(names: Sequence[str] | None = None) -> tuple[Worksheet, Worksheet]:
    """The worksheet of any hour (gains, the reference) and the one of damp hours (every other strategy; None: all that leave the
    ventilation air as it is); of one strategy the second also says what the hour comes to with it, `hour.<field>`.

    Beside others a strategy finds the supply fan as it runs today. ResultsError for a strategy that treats the ventilation air
    beside others: it begins with another hour.
    """
    names = TOGETHER if names is None else tuple(names)
    treating = [name for name in names if name not in TOGETHER]
    if treating and len(names) > 1:
        raise ResultsError(f"{treating[0]} treats the ventilation air: its worksheets are its own; lay it out alone")
    chosen = [REGISTRY[name] for name in names if name != REFERENCE.name]
    any_hour, damp_hour = Worksheet(), Worksheet()
    alone = REGISTRY[names[0]] if len(names) == 1 else None
    own_fan_w = alone.own_fan() if alone and alone.own_fan else None
    fan_w = col("fan_w") + alone.resists() if alone and alone.resists else col("fan_w")
    loads.steps(any_hour, fan_w, alone.ventilation if alone else None, own_fan_w)
    strategies.add_reference(any_hour, REFERENCE)
    strategies.add_standby(any_hour, chosen)
    strategies.add_damp_hours(damp_hour, chosen)
    strategies.check_limits(damp_hour, chosen)
    if len(names) == 1:
        strategies.add_hour(any_hour, damp_hour, REGISTRY[names[0]], REFERENCE)
        _carried(damp_hour)
    return any_hour, damp_hour


def _carried(damp_hour: Worksheet) -> dict[str, Number]:
    """What the hour of a strategy leaves to the next; its step may be added again."""
    return loads.carried(damp_hour.section("hour"), col("hour.space_c"), col("hour.humidity_ratio"))


def prepare(sites: int, names: Sequence[str] | None = None) -> None:
    """Begin to compile what `simulate` needs for so many sites, beside what else there is to do."""
    _year(MACHINES if names is None else tuple(name for name in names if name in MACHINES), sites)


def simulate(
    sized: pl.DataFrame, years: Mapping[str, Hours], names: Sequence[str] | None = None, fuel_peaks: bool = False
) -> Iterator[ledger.Accounts]:
    """Work out every hour of every site with every strategy, a batch of sites at a time. `years` by weather_id. With
    `fuel_peaks` the ledger has the highest hour of fuel.

    ResultsError, naming site and step, for what is not a number.
    """
    names = tuple(REGISTRY if names is None else names)
    machines = _machines(names, sized)
    year = _year(machines, sized.height).result()
    for name in machines:
        _check_reads(name, frozenset(sized.columns))

    def worked(rows: pl.DataFrame, chosen: Sequence[str]) -> dict[str, Sums]:
        sums = year.run(rows, "weather_id", years, SLOTS, ledger.dampest, chosen)
        for name in chosen:
            if found := sums[name].wrong():
                tally, site = found
                row = rows.slice(site, 1)
                raise blame(part(name), states(row, years[row["weather_id"].item()], name), tally)
        return sums

    evenly = -(-sized.height // -(-sized.height // SITES_AT_ONCE)) if sized.height else SITES_AT_ONCE
    for batch in sized.with_row_index("site").iter_slices(evenly):
        sums = worked(batch, machines)
        sums |= _otherwise(batch, [name for name in names if name not in MACHINES], sums[machines[0]], worked)
        yield ledger.accumulate(sums, batch, names, fuel_peaks)


def _otherwise(
    batch: pl.DataFrame,
    names: Sequence[str],
    like: Sums,
    worked: Callable[[pl.DataFrame, Sequence[str]], dict[str, Sums]],
) -> dict[str, Sums]:
    """The sums of strategies without equipment: today's, of the sites as they set them; nothing where they cannot be had.

    Sites with the same strategy today go together. `like`: sums of all sites, with the tallies that every strategy has."""
    rows = [
        as_run(batch, name)
        .filter(pl.col(f"{name}.unavailable").is_null())
        .with_columns(pl.lit(number).alias("way"), pl.col("site") - batch["site"][0])
        for number, name in enumerate(names)
    ]
    found = [like.nothing() for _ in names]
    if rows:
        for (today,), mine in (
            pl.concat(rows).partition_by("current_strategy", maintain_order=True, as_dict=True).items()
        ):
            sums = worked(mine, [str(today)])[str(today)]
            for (way,), at in mine.with_row_index("at").partition_by("way", maintain_order=True, as_dict=True).items():
                found[way].put(at["site"].to_numpy(), sums, at["at"].to_numpy())
    return dict(zip(names, found, strict=True))


def _machines(names: Sequence[str], sized: pl.DataFrame) -> tuple[str, ...]:
    """Which strategies' own hours are worked out: those of `names`, and today's where another is run like them."""
    chosen = {*names} & {*MACHINES}
    if len(chosen) < len({*names}):
        chosen |= {*sized["current_strategy"]}
    return tuple(name for name in MACHINES if name in chosen)


@cache
def _check_reads(name: str, of_site: frozenset[str]) -> None:
    """UnknownNameError where a step of a strategy reads what neither sites nor hours have."""
    any_hour, damp_hour = plan([name])
    known = [*of_site, *HOURLY_COLUMNS, *CARRIED]
    any_hour.check_reads(known)
    damp_hour.check_reads([*known, *any_hour.names()])


def _year(names: tuple[str, ...], sites: int) -> "Future[Year]":
    """Made once; the few sites of a last batch take what the many before them had, some strategies what more of them had."""
    many = sites > MANY_SITES
    there = [key for key in [*_YEARS] if {*names} <= {*key[0]} and key[1] >= many]
    if there:
        return _YEARS[max(there, key=lambda key: key[1])]
    return _once(names, many, lambda: {name: part(name) for name in names})


def _once(names: tuple[str, ...], many: bool, parts: Callable[[], Mapping[str, Part]]) -> "Future[Year]":
    if (names, many) not in _YEARS:
        _YEARS[names, many] = _COMPILER.submit(lambda: _made(parts(), many))
    return _YEARS[names, many]


def _made(parts: Mapping[str, Part], many: bool = False) -> Year:
    """The year compiled, or where that cannot be done (another processor, no LLVM) hour by hour in arrays."""
    if not NO_CODE:
        try:
            return compiled_year(parts, many)
        except (ImportError, OSError, RuntimeError) as error:
            NO_CODE.append(
                f"no machine code can be made here ({error}): hours are worked out in arrays, many times slower"
            )
    return ArraysYear(parts, PLACE_COLUMNS, SHARES)


def compiled_year(parts: Mapping[str, Part], many: bool = False) -> "CompiledYear":
    """The year of a site in these parts, compiled: in a second or two, or for `many` sites in more, to code a third faster
    that gives the same numbers."""
    from screener.worksheet import compiled  # may not be there

    lanes = compiled.MANY_LANES if many else compiled.FEW_LANES
    return compiled.CompiledYear(parts, PLACE_COLUMNS, SHARES, lanes, _dampness)


def _dampness(sites: pl.DataFrame, places: Sequence[Hours]) -> NDArray[np.float64]:
    """About the share of damp hours of each site: those in which the air from outdoors, with the water that it meets inside, is
    above the limit."""
    gains = pl.col("people_kg_s") + pl.col("process_kg_s") - pl.col("case_kg_s")
    through = pl.col("ventilation_kg_s") + pl.col("infiltration_open_kg_s")
    most = sites.select(pl.col("limit_humidity_ratio") - gains / through).to_series().to_numpy()
    row = PLACE_COLUMNS.index("outdoor_humidity_ratio")
    return np.array([(place.columns[row] > limit).mean() for place, limit in zip(places, most, strict=True)])


def part(name: str) -> Part:
    """The hours of a site with a strategy, one after another; keeps the humidity of each."""
    sheets = plan([name])
    carried = _carried(sheets[1])
    present = {step for sheet in sheets for step in sheet.names()}
    return Part(
        sheets=sheets,
        tallies=ledger.tallies(present),
        kept=[col("hour.humidity_ratio")],
        carried=carried,
        first=CARRIED,
        warm_up=WARM_UP_H,
        acts=col("damp"),
    )


def states(site: pl.DataFrame, hours: Hours, name: str) -> pl.DataFrame:
    """The hours of one site with a strategy, one after another, every column of the site beside those of the hour and what the
    hour before left (CARRIED); `at` is the place in the year."""
    keeping = _once((f"{name}: what is carried",), False, lambda: {name: _keeping_what_is_carried(name)}).result()
    places = {site["weather_id"].item(): hours}
    last = keeping.run(site, "weather_id", places, SLOTS, lambda each: each)[name].finished[0]
    columns = dict(zip(PLACE_COLUMNS, hours.columns, strict=True)) | dict(zip(CARRIED, last, strict=True))
    courses = {share: np.resize(site[course].item().to_numpy(), SLOTS) for share, course in SHARES.items()}
    columns |= {share: course[hours.slots] for share, course in courses.items()}
    frame = pl.DataFrame(columns).with_columns(at=pl.int_range(pl.len()))
    return frame.join(site.drop({*frame.columns} & {*site.columns}, *SHARES.values()), how="cross")


def _keeping_what_is_carried(name: str) -> Part:
    """The hours of a strategy with nothing added up, and of each what the hour before left."""
    return replace(part(name), tallies=Tallies([], []), kept=[col(column) for column in CARRIED])


def by_the_hour(frame: pl.DataFrame) -> pl.DataFrame:
    """Hours beside the columns of their sites (`slot`, `*_by_hour`), with what follows the hour of the day, SHARES."""
    return frame.with_columns(
        pl.col(course).arr.get(pl.col("slot") % pl.col(course).arr.len()).alias(share)
        for share, course in SHARES.items()
    )


def dated(hours: pl.DataFrame, dates: Dates | None = None) -> pl.DataFrame:
    """The hours of `climate.hours` with what the worksheets and the ledger ask of their dates: `day`, `day_of_week`, `day_bit`
    and `month_bit` (`calendar.bits`), and the `slot` of the year."""
    known = (dates or Dates()).of(hours)
    slots = slot(pl.col("month"), is_other(pl.col("day_of_week")), pl.col("hour"))
    return known.with_columns(slots, day_bit=bit(pl.col("day_of_week")), month_bit=bit(pl.col("month")))


def years(hours: pl.DataFrame, dates: Dates | None = None) -> dict[str, Hours]:
    """The hours of each weather of `climate.hours`, by its id, as `simulate` takes them. `dates` are those of hours that
    have none (None: no holidays, 1 January a Monday)."""
    found = {}
    for (weather_id,), year in (
        dated(hours, dates).partition_by("weather_id", maintain_order=True, as_dict=True).items()
    ):
        columns = np.ascontiguousarray(year.select(pl.col(PLACE_COLUMNS).cast(pl.Float64)).to_numpy().T)
        found[str(weather_id)] = Hours(columns, year["slot"].to_numpy().astype(np.int64))
    return found
