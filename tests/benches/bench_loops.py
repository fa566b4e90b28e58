"""The engine beside loops that do the same arithmetic: plain ones in C and Python, and columns of Polars.

`pytest -m bench -s tests/benches/bench_loops.py`. Prints tables; speed is never asserted, equal sums are.
Further: `SITES=100`, each at a station of its own, and `REPEATS=5`, of which the quickest counts.
"""

import copy
import importlib.util
import math
import os
import random
import shutil
import subprocess
import time
from collections.abc import Callable, Mapping, Sequence
from ctypes import CDLL, c_int64
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import psychrolib
import pytest
from polars import selectors

from screener import climate, engine, ledger
from screener.calendar import SLOTS
from screener.formula import literal, polars
from screener.strategies import REFERENCE, REGISTRY
from screener.tables import shipped
from screener.worksheet.compiled import CompiledYear
from screener.worksheet.compiled.graph import Graph
from screener.worksheet.hours import Hours, Sums
from tests.benches.bench_engine import markdown
from tests.benches.plain_loops import Loop, WithCalls, psychrolib_marked
from tests.engine_cases import filled, sized

SITES, REPEATS = int(os.environ.get("SITES", "100")), int(os.environ.get("REPEATS", "5"))
PYTHON_SITES = 2
NAMES = tuple(REGISTRY)
ENGINE, FAST = "engine, 8 lanes", "C, fast-math"
BUILDS = {
    "C": ["-ffp-contract=off"],
    "C, fused": ["-ffp-contract=fast"],
    FAST: ["-ffast-math", "-fno-finite-math-only"],
}
Function = Callable[..., int]
Years = Mapping[str, Hours]
Figures = dict[str, np.ndarray]  # by the name of a tally: [site], or [site, slot]


class Watch:
    """A function that counts the seconds of its calls, by the clock and of the processor; `least` of all rounds."""

    def __init__(self, function: Callable[..., Any]) -> None:
        self.function, self.seconds, self.least = function, np.zeros(2), np.full(2, np.inf)

    def __call__(self, *arguments: Any) -> Any:
        began = np.array([time.perf_counter(), time.process_time()])
        answer = self.function(*arguments)
        self.seconds += np.array([time.perf_counter(), time.process_time()]) - began
        return answer

    def end_round(self) -> None:
        self.least, self.seconds = np.minimum(self.least, self.seconds), np.zeros(2)


@pytest.mark.bench
@pytest.mark.skipif(not shutil.which("cc"), reason="there is no C compiler, cc")
def test_beside_a_plain_loop_in_c_and_columns_of_polars(tmp_path: Path) -> None:
    sites, hours = portfolio()
    years, few, year = engine.years(hours), *(engine.compiled_year(NAMES, many) for many in (False, True))
    loop = Loop(Graph(*engine.plan()), year, REFERENCE.name, NAMES)
    alone = {"engine, 4 lanes": Watch(few.function), ENGINE: Watch(year.function)}
    for name, flags in BUILDS.items():
        alone[name] = Watch(built(loop.in_c(), flags, tmp_path / f"{name}.so", year))
    whole = {"engine, all cores": Watch(run), "Polars, all cores": Watch(staged)}
    place = pl.col("weather_id").rank("dense").alias("place")  # whole numbers: joins by text would cost more
    numbered = sites.with_row_index("site").with_columns(place)
    weather = engine.dated(hours).select(place, "slot", *engine.HOURLY_COLUMNS)
    for _ in range(REPEATS):
        sums = {name: on_one_thread(function, year, sites, years) for name, function in alone.items()}
        sums["all cores"] = whole["engine, all cores"](year, sites, years)
        columns = whole["Polars, all cores"](year, numbered, weather)
        for watch in (*alone.values(), *whole.values()):
            watch.end_round()
    expected = figures(sums.pop(ENGINE))
    differ = {name: differing(figures(found), expected) for name, found in sums.items()}
    differ["Polars"] = differing(in_arrays(columns, expected), expected)
    damp = year.run(sites, "weather_id", years, SLOTS, lambda _, wet: np.array(wet.shape[1]))
    print(
        f"\n\n{SITES} sites, {hours.height:,} hours, {damp.finished.sum() / hours.height:.1%} of them damp. "
        f"Operations: {loop.count(loop.any_hour)} an hour, {loop.count(loop.damp_hour)} more in a damp one; "
        f"sums: {', '.join(f'{len(taken)} {name}' for name, taken in loop.sums.items())}.\n"
    )
    print(table(alone | whole, hours.height, [*alone]))
    moved = differ.pop(FAST)  # ties of a strategy with the reference, which go another way
    print(f"\nfast-math moves {len(moved)} of {len(expected)} figures by more than 1e-9: {', '.join(moved)}")
    assert not any(differ.values()), differ


@pytest.mark.bench
@pytest.mark.skipif(importlib.util.find_spec("numba") is not None, reason="psychrolib would compile itself with numba")
def test_beside_a_plain_loop_in_python_with_psychrolib(monkeypatch: pytest.MonkeyPatch) -> None:
    psychrolib.SetUnitSystem(psychrolib.SI)
    monkeypatch.setattr(psychrolib, "TRIPLE_POINT_WATER_SI", -100.0)  # coils are worked out over water throughout
    sites, hours = portfolio()
    sites = sites.gather_every(-(-SITES // PYTHON_SITES))
    years, year = engine.years(hours), engine.compiled_year(NAMES, True)
    with psychrolib_marked():
        loop = Loop(WithCalls(*engine.plan()), year, REFERENCE.name, NAMES)
    scope = vars(math) | vars(psychrolib) | {"INFINITY": math.inf}
    exec(loop.in_python(), scope)
    watches = {ENGINE: Watch(year.function), "Python, psychrolib": Watch(scope["year"])}
    for _ in range(REPEATS):
        expected = figures(on_one_thread(watches[ENGINE], year, sites, years))
        plain = watches["Python, psychrolib"]
        found = [in_lists(plain, year, site, years[site["weather_id"]]) for site in sites.iter_rows(named=True)]
        for watch in watches.values():
            watch.end_round()
    print("\n\n" + table(watches, sum(years[place].slots.size for place in sites["weather_id"]), [ENGINE]))
    assert not differing({name: np.array([site[name] for site in found]) for name in expected}, expected)


def portfolio() -> tuple[pl.DataFrame, pl.DataFrame]:
    """Sites of all building types and many sizes, each at a station of its own, and the hours there."""
    draw = random.Random(4)
    types = shipped.building_types().values["building_type"].to_list()
    places = sorted(draw.sample(climate.stations()["station"].sort().to_list(), SITES))
    rows = [
        {"building_type": types[i % len(types)], "floor_area_m2": draw.uniform(200, 8000), "station": place}
        for i, place in enumerate(places)
    ]
    return sized(filled(rows)), climate.hours(places)


def built(source: str, flags: list[str], library: Path, year: CompiledYear) -> Function:
    """The function of a C source. Without start-up code, by which fast-math would change the arithmetic of the process."""
    command = [
        "cc",
        "-O3",
        "-march=native",
        *flags,
        "-fPIC",
        "-shared",
        "-nostartfiles",
        "-o",
        library,
        "-xc",
        "-",
        "-lm",
    ]
    subprocess.run(command, input=source, text=True, check=True)
    function = CDLL(str(library)).year
    function.argtypes, function.restype = year.function.argtypes, c_int64
    return function


def run(year: CompiledYear, sites: pl.DataFrame, years: Years) -> Sums:
    return year.run(sites, "weather_id", years, SLOTS, ledger.dampest)


def on_one_thread(function: Function, year: CompiledYear, sites: pl.DataFrame, years: Years) -> Sums:
    """The same, with another function in place of the compiled one."""
    other = copy.copy(year)
    other.function = function
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(pl, "thread_pool_size", lambda: 1)
        return run(other, sites, years)


def in_lists(function: Function, year: CompiledYear, site: Mapping[str, Any], at: Hours) -> Figures:
    """The figures of a site by the Python function."""
    groups = (year.dry.slot, year.dry.year, year.damp.slot, year.damp.year)
    sums = [[[t.beginning] * width for t in g] for g, width in zip(groups, (SLOTS, 1) * 2, strict=True)]
    dry_kept, *damp_kept = ([0.0] * at.slots.size for _ in range(1 + len(NAMES)))
    numbers = [float(site[name]) for name in year.site_columns]
    function(numbers, at.columns.tolist(), at.slots.tolist(), *sums, dry_kept, damp_kept)
    rows = {t.name: row for g, taken in zip(groups, sums, strict=True) for t, row in zip(g, taken, strict=True)}
    return {name: np.where(np.isneginf(row), 0.0, row).squeeze() for name, row in rows.items()}


def staged(year: CompiledYear, sites: pl.DataFrame, hours: pl.DataFrame) -> list[pl.DataFrame]:
    """The same worksheets as columns of Polars, and the four groups of sums of the compiled year."""
    any_hour, damp_hour = engine.plan()
    groups = [(year.dry.slot, year.dry.year), (year.damp.slot, year.damp.year)]
    summed = {name for group in groups for part in group for t in part for name in literal(t.value).columns()}
    keys, later = {"site", "slot"}, summed | damp_hour.inputs() | {"damp"}
    every = any_hour.apply(sites.lazy().join(hours.lazy(), on="place"))
    kept = selectors.by_name(later - {*sites.columns} | keys, require_all=False)
    every = every.select(kept).collect(engine="streaming")
    whole = every.lazy().join(sites.lazy(), on="site")  # most hours need less of the site
    dry = whole.filter(~pl.col("damp"))
    damp = damp_hour.apply(whole.filter("damp"))
    dry, damp = (
        part.select(selectors.by_name(summed | keys, require_all=False)).collect(engine="streaming")
        for part in (dry, damp)
    )
    return [
        rows.lazy()
        .group_by(by)
        .agg(taken(polars(t.value), t.how).alias(t.name) for t in tallies)
        .collect(engine="streaming")
        for rows, group in zip((dry, damp), groups, strict=True)
        for by, tallies in zip((["site", "slot"], ["site"]), group, strict=True)
    ]


def taken(value: pl.Expr, how: str) -> pl.Expr:
    return value.sum() if how == "sum" else value.max()


def in_arrays(frames: Sequence[pl.DataFrame], like: Figures) -> Figures:
    """The sums of frames where those of the engine stand; none is nothing."""
    found = {name: np.zeros_like(values) for name, values in like.items()}
    for frame in frames:
        at = tuple(frame[key].to_numpy() for key in ("site", "slot") if key in frame.columns)
        for column in frame.drop("site", "slot", strict=False):
            found[column.name][at] = column.to_numpy()
    return found


def figures(sums: Sums) -> Figures:
    return sums.years | sums.slots


def differing(found: Figures, expected: Figures) -> list[str]:
    """Tallies that differ somewhere by more than 1e-9, or 1e-12 of the largest, or 1e-9, where one is a small difference."""
    least = {name: max(1e-9, 1e-12 * abs(known).max()) for name, known in expected.items()}
    return [name for name in expected if not np.allclose(found[name], expected[name], rtol=1e-9, atol=least[name])]


def table(watches: Mapping[str, Watch], hours: int, beside: Sequence[str]) -> str:
    """Nanoseconds per site-hour, and how many times the processor's of other loops that is."""
    rows = [
        [name, *(1e9 * watch.least / hours), *(f"{watch.least[1] / watches[other].least[1]:.2f}" for other in beside)]
        for name, watch in watches.items()
    ]
    return markdown(["loop", "clock ns", "processor ns", *(f"to {other}" for other in beside)], rows)
