"""Random numbers for every figure of every site, and sites with their figures drawn.

A number hangs on the seed, the figure and what it belongs to (a site, a tariff, a place), and on nothing else: all
strategies of a site meet the same draws, more draws begin with those there were, and a site more leaves the others alone.
What sites of one building type have in common is a number of theirs together: the `shared` part of the variance.
"""

import hashlib
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from math import inf, sqrt
from statistics import NormalDist
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from screener import contracts
from screener.contracts import PLACEHOLDER
from screener.contracts.origins import is_given
from screener.strategies import REGISTRY
from screener.tables import is_default, spreads

Numbers = NDArray[np.float64]
Truths = NDArray[np.bool_]
Row = Mapping[str, Any]
OF_STRATEGY = ("investment", "upkeep", "dehumidification_energy")
OF_TARIFF = ("electricity_price", "fuel_price")
OF_ALL = ("electricity_escalation", "fuel_escalation")
YEAR, STUDY = OF_PLACE = ("year_latent_load", "study_latent_load")
OF_NO_COLUMN = (*OF_STRATEGY, *OF_TARIFF, *OF_ALL, *OF_PLACE)
ALSO = {  # columns that go with a figure
    "infiltration_l_s_m2": ("infiltration_closed_l_s_m2",),
    "internal_gain_w_m2": ("lights_w_m2",),
}
WHOLE = ("cooling_units",)
OTHER_YEARS = "other_years"  # of a study than the first
EXCLUDED = "excluded words"
CAPACITY, MARGIN = "cooling_capacity_kw", "sizing_margin"
LEAST_OPEN_H, LEAST_DRYING_K = 1.0, 1.0


@dataclass(frozen=True)
class Spread:
    """A row of the spreads as it holds for one figure of one thing, either assumed or given."""

    form: str
    median: float
    width: float
    low: float
    high: float
    otherwise: Mapping[str, float] = field(default_factory=dict)
    shared: float = 0.0

    @property
    def is_known(self) -> bool:
        """Whether it leaves the figure as it is."""
        return self.width == 0.0

    def values(self, normal: Numbers) -> Numbers:
        """Factors or shifts for standard normal numbers; for a choice numbers that are even between 0 and 1."""
        if self.form == spreads.CHOICE:
            return np.asarray([NormalDist().cdf(z) for z in normal])
        if self.is_known:
            return np.full_like(normal, 1.0 if self.form == "factor" else 0.0)
        factor = self.form == "factor"
        drawn = self.median * np.exp(self.width * normal) if factor else self.median + self.width * normal
        return np.asarray(np.clip(drawn, self.low, self.high))


class Spreads:
    """The spreads of a run, by figure and building type."""

    def __init__(self, table: pl.DataFrame) -> None:
        self._rows = {(row["figure"], row["building_type"]): row for row in table.iter_rows(named=True)}
        self.figures = tuple(table["figure"].unique(maintain_order=True))

    def of(self, figure: str, is_assumed: bool, site: Row) -> Spread:
        """That of a figure at a site: of its building type, the one it is based on, or all."""
        kinds = (site["building_type"], site["based_on"], None)
        row = next(self._rows[figure, kind] for kind in kinds if (figure, kind) in self._rows)
        suffix = "" if is_assumed else "_given"
        return Spread(
            row["form"],
            row[f"median{suffix}"] or 0.0,
            row[f"width{suffix}"],
            -inf if row["low"] is None else row["low"],
            inf if row["high"] is None else row["high"],
            spreads.choices(row["otherwise"]) if row["otherwise"] else {},
            row["shared"],
        )


@dataclass(frozen=True)
class Figure:
    """A figure of the sites as it was drawn.

    `values` [site, draw]: factors, or shifts where `adds` [site]; of a choice the number of one of its `words`. `assumed`
    and `varies` [site]: whether the site does not state it, and whether it is uncertain at all there. `strategy`: whose
    figure it is, where every strategy has its own.
    """

    name: str
    values: Numbers
    adds: Truths
    assumed: Truths
    varies: Truths
    words: tuple[str, ...] = ()
    strategy: str | None = None


class Source:
    """Standard normal numbers by what they belong to; those that several sites have in common are made once."""

    def __init__(self, seed: int, draws: int) -> None:
        self.seed, self.draws = seed, draws
        self._common: dict[tuple[str, ...], Numbers] = {}

    def normal(self, *of: str) -> Numbers:
        """Numbers that hang on nothing but the seed and these words."""
        digest = hashlib.sha256("\x1f".join((str(self.seed), *of)).encode()).digest()
        return np.random.Generator(np.random.Philox(key=int.from_bytes(digest[:16], "big"))).standard_normal(self.draws)

    def mixed(self, figure: str, spread: Spread, together: tuple[str, ...], own: tuple[str, ...]) -> Numbers:
        """Those of a figure of a thing, of which it has the spread's `shared` part of the variance with others."""
        if spread.is_known:
            return np.zeros(self.draws)
        key = (figure, "shared", *together)
        if spread.shared > 0.0 and key not in self._common:
            self._common[key] = self.normal(*key)
        common = sqrt(spread.shared) * self._common[key] if spread.shared > 0.0 else np.zeros(self.draws)
        if spread.shared >= 1.0:
            return common
        return np.asarray(common + sqrt(1.0 - spread.shared) * self.normal(figure, "own", *own))


def draw(
    sites: pl.DataFrame,
    results: pl.DataFrame,
    table: pl.DataFrame,
    strategies: Sequence[str],
    source: Source,
    study_years: int,
    without_fuel: Collection[str] = (),
) -> list[Figure]:
    """The figures of sites (`sites_used` of a run) and of their `strategies` (rows of `results`, the strategy results), as
    the spreads of the `table` have them. A site has today only what can be had there at a known cost, and burns no fuel
    on the tariffs `without_fuel`. The weather of the study is the mean of so many years as it has."""
    known = Spreads(table)
    rows = _with_excluded(sites, results, strategies, without_fuel)
    found = []
    for name in known.figures:
        if name in OF_STRATEGY:
            found += [_of_strategy(name, strategy, rows, results, known, source) for strategy in strategies]
        elif name in OF_NO_COLUMN or name in sites.columns:
            found.append(_of_site(name, rows, _assumed(name, sites), known, source))
    given = _given(sites, CAPACITY)
    for figure in found:
        if figure.name == MARGIN:
            figure.varies[given] = False
    return _with_weather(found, rows, known, source, study_years)


def _with_weather(
    figures: list[Figure], rows: Sequence[Row], known: Spreads, source: Source, years: int
) -> list[Figure]:
    """The figures with YEAR the latent load of the study's first year, and STUDY that of all its years, against the typical year.

    Years come and go independently, so that their mean is off by a year's spread over the root of their number, of which the
    first year is one; what typical years of past decades are off by does not average out. The mean is taken of logarithms.
    """
    year, study = (next(figure for figure in figures if figure.name == name) for name in OF_PLACE)
    first, mean = np.empty_like(year.values), np.empty_like(study.values)
    for at, row in enumerate(rows):
        spread, own = known.of(YEAR, bool(year.assumed[at]), row), (str(row["weather_id"]),)
        one, others = (source.mixed(name, spread, (), own) for name in (YEAR, OTHER_YEARS))
        first[at] = study.values[at] * spread.values(one)
        mean[at] = study.values[at] * spread.values((one + sqrt(years - 1) * others) / years)
    varies = year.varies | study.varies
    made = {YEAR: replace(year, values=first, varies=varies), STUDY: replace(study, values=mean, varies=varies)}
    return [made.get(figure.name, figure) for figure in figures]


def _of_site(name: str, rows: Sequence[Row], assumed: Truths, known: Spreads, source: Source) -> Figure:
    words = _words(name)
    of = [known.of(name, bool(is_assumed), row) for is_assumed, row in zip(assumed, rows, strict=True)]
    values = np.empty((len(rows), source.draws))
    for at, (row, spread) in enumerate(zip(rows, of, strict=True)):
        together: tuple[str, ...] = (str(row["building_type"]),)
        own = (str(row["site_id"]),)
        if name in OF_NO_COLUMN:
            together, own = (), (str(row["weather_id" if name in OF_PLACE else "tariff_id"]),)
        values[at] = spread.values(source.mixed(name, spread, together, own))
        if words:
            excluded = row[EXCLUDED].get(name, ())
            values[at] = _chosen(values[at], spread, row[name], [w for w in words if w not in excluded], words)
    there = [name in OF_NO_COLUMN or row[name] is not None for row in rows]
    varies = [is_there and not spread.is_known for is_there, spread in zip(there, of, strict=True)]
    return Figure(name, values, np.asarray([s.form == "shift" for s in of]), assumed, np.asarray(varies), words)


def _of_strategy(
    name: str, strategy: str, rows: Sequence[Row], results: pl.DataFrame, known: Spreads, source: Source
) -> Figure:
    quoted = results.filter((pl.col("strategy") == strategy) & (pl.col("investment_basis") != PLACEHOLDER))["site_id"]
    assumed = np.asarray([name != "investment" or row["site_id"] not in {*quoted} for row in rows], dtype=bool)
    of = [known.of(name, bool(is_assumed), row) for is_assumed, row in zip(assumed, rows, strict=True)]
    values = [
        spread.values(source.mixed(name, spread, (strategy,), (strategy, str(row["site_id"]))))
        for row, spread in zip(rows, of, strict=True)
    ]
    adds, varies = ([s.form == "shift" for s in of], [not s.is_known for s in of])
    return Figure(name, np.asarray(values), np.asarray(adds), assumed, np.asarray(varies), strategy=strategy)


def _words(name: str) -> tuple[str, ...]:
    """What a choice may be; nothing for a number."""
    if name == "current_strategy":
        return tuple(REGISTRY)
    fields = contracts.load("sites")
    return tuple(fields.field(name).enum) if name in fields.columns else ()


def _with_excluded(
    sites: pl.DataFrame, results: pl.DataFrame, strategies: Sequence[str], without_fuel: Collection[str]
) -> list[dict[str, Any]]:
    """The rows of sites with the words that choices of theirs cannot be, by figure, in EXCLUDED."""
    there = results.filter(
        pl.col("strategy").is_in(strategies) & pl.col("unavailable").is_null() & pl.col("annual_cost").is_not_null()
    )
    had = {site: {*names} for site, names in there.group_by("site_id").agg("strategy").iter_rows()}
    rows = sites.to_dicts()
    for row in rows:
        row[EXCLUDED] = {"current_strategy": {*REGISTRY} - had.get(row["site_id"], set())}
        if row["tariff_id"] in without_fuel:
            row[EXCLUDED]["heating_source"] = {"fuel"}
    return rows


def _chosen(met: Numbers, spread: Spread, now: str, possible: Sequence[str], words: tuple[str, ...]) -> Numbers:
    """The number among `words` of the word of each draw: with the chance of the spread another than `now`."""
    others = {word: share for word, share in spread.otherwise.items() if word != now and word in possible}
    chosen = np.full(met.shape, float(words.index(now)))
    begins, total = 0.0, sum(others.values())
    for word, share in others.items():
        ends = begins + spread.width * share / total
        chosen[(met >= begins) & (met < ends)] = words.index(word)
        begins = ends
    return chosen


def _given(sites: pl.DataFrame, column: str) -> Truths:
    return sites.select(is_given(column)).to_series().to_numpy()


def _assumed(name: str, sites: pl.DataFrame) -> Truths:
    """Whether sites do not state the figure: their own cell is empty, or their tariff is the average of a state."""
    if name in OF_TARIFF:
        return sites.select(is_default(pl.col("tariff_id")).fill_null(True)).to_series().to_numpy()
    return ~_given(sites, name) if f"{name}_origin" in sites.columns else np.ones(sites.height, dtype=bool)


def drawn_sites(sites: pl.DataFrame, figures: Sequence[Figure], numbers: Sequence[int]) -> pl.DataFrame:
    """The sites with the figures of the draws `numbers`: a row for each draw of the first site, of the second, and so on."""
    sites = sites[np.repeat(np.arange(sites.height), len(numbers))]
    columns = {}
    for figure in figures:
        if figure.name not in sites.columns:
            continue
        drawn = figure.values[:, numbers].ravel()
        if figure.words:
            words = pl.Series(figure.words, dtype=pl.String)
            columns[figure.name] = words.gather(pl.Series(drawn.astype(np.int64)))
        else:
            for name in (figure.name, *ALSO.get(figure.name, ())):
                columns[name] = _moved(sites[name], drawn, np.repeat(figure.adds, len(numbers)))
    frame, c = sites.with_columns(**columns), pl.col
    closes = _closing(sites["opens_hour"], sites["closes_hour"], frame["closes_hour"])
    dry = pl.min_horizontal("humidity_limit_dew_point_c", c("cooling_setpoint_c") - LEAST_DRYING_K)
    moved_limit = frame["humidity_limit_dew_point_c"] != sites["humidity_limit_dew_point_c"]
    return frame.with_columns(
        closes_hour=closes,
        heating_setpoint_c=pl.min_horizontal("heating_setpoint_c", "cooling_setpoint_c"),
        humidity_limit_dew_point_c=pl.when(moved_limit).then(dry).otherwise("humidity_limit_dew_point_c"),
    )


def _moved(values: pl.Series, drawn: Numbers, adds: Truths) -> pl.Series:
    """A column under the factors or shifts of a draw, within the bounds of its contract."""
    by = pl.Series(drawn)
    moved = pl.select(pl.when(pl.Series(adds)).then(values + by).otherwise(values * by)).to_series()
    table = "sites" if values.name in contracts.load("sites").columns else "building_types"
    limits = contracts.load(table).field(values.name).constraints or {}
    moved = moved.clip(limits.get("minimum"), limits.get("maximum"))
    return moved.round().cast(pl.Int64) if values.name in WHOLE else moved


def _closing(opens: pl.Series, closed: pl.Series, drawn: pl.Series) -> pl.Series:
    """When sites close in a draw: on the same side of midnight as before, and not where they never do."""
    by_day = drawn.clip(opens + LEAST_OPEN_H, 24.0)
    by_night = drawn.clip(0.0, (opens - LEAST_OPEN_H).clip(0.0, None))
    moved = pl.when(closed > opens).then(by_day).otherwise(by_night)
    return pl.select(
        pl.when((drawn != closed) & ((closed - opens).abs() < 24.0)).then(moved).otherwise(closed)
    ).to_series()
