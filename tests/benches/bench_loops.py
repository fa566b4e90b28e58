"""The engine beside loops that do the same arithmetic: `pytest -m bench -s tests/benches/bench_loops.py`. Prints tables.

The loops are written out from the graph of the same worksheets: in C, an hour after the other, a variable an operation,
built by the system's compiler; in Python, with psychrolib for saturation and enthalpy. And Polars, a column a step. All
must come to the same sums of the year; how long they take is never asserted.
"""

import ctypes
import math
import shutil
import subprocess
import time
from collections.abc import Callable
from functools import partial
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import psychrolib
import pytest

from screener import compiled, engine, ledger
from screener.compiled.formulas import CHOICE, COLUMN, NUMBER, Formulas
from screener.physics import psychrometrics
from screener.strategies import REGISTRY
from screener.tables import shipped
from tests.benches import bench_engine
from tests.engine_cases import climate, filled, sized, worked_hours

SITES, BY_PYTHON, BY_POLARS, REPEATS = 60, 2, 20, 5
NAMES = tuple(REGISTRY)
MARKS = {1e301: "humidity_ratio_from_dew_point", 2e301: "enthalpy"}
BY_PSYCHROLIB = {
    "humidity_ratio_from_dew_point": "GetHumRatioFromVapPres(GetSatVapPres({0}), {1})",
    "enthalpy": "GetMoistAirEnthalpy({0}, {1})",
}
COMMON = {
    "add": "{0} + {1}",
    "subtract": "{0} - {1}",
    "multiply": "{0} * {1}",
    "above": "{0} > {1}",
    "at least": "{0} >= {1}",
    "below": "{0} < {1}",
    "at most": "{0} <= {1}",
    "negate": "-{0}",
    "sqrt": "sqrt({0})",
    "abs": "fabs({0})",
}
IN_C = COMMON | {
    "divide": "{0} / {1}",
    "and": "{0} && {1}",
    "or": "{0} || {1}",
    "not": "!{0}",
    "exp": "exp({0})",
    "log": "log({0})",
    "larger": "{0} > {1} ? {0} : {1}",
    "smaller": "{0} < {1} ? {0} : {1}",
    CHOICE: "{0} ? {1} : {2}",
}
IN_PYTHON = COMMON | {  # what Python raises for, no chosen value depends on
    "divide": "{0} / {1} if {1} else inf",
    "and": "{0} and {1}",
    "or": "{0} or {1}",
    "not": "not {0}",
    "exp": "exp({0} if {0} < 709.0 else 709.0)",
    "log": "log({0}) if {0} > 0 else -inf",
    "larger": "{0} if {0} > {1} else {1}",
    "smaller": "{0} if {0} < {1} else {1}",
    CHOICE: "{1} if {0} else {2}",
}


class Loop:
    """The text of a loop: variables v0, v1 ... for the operations of a graph."""

    def __init__(self, operations: dict[str, str], line: str, program: compiled.Program, formulas: Formulas) -> None:
        self.operations, self.line, self.formulas = operations, line, formulas
        read, parts = formulas.read, (program.dry, program.damp)
        self.tallies = [[[(t.how, read(t.value)) for t in group] for group in (p.slot, p.year)] for p in parts]
        self.damp = read(pl.col("damp"))
        of_dry, of_damp = (formulas.needed([p for group in part for _, p in group]) for part in self.tallies)
        of_dry |= formulas.needed([self.damp])
        varying = formulas.depending(engine.HOURLY)
        self.before = self.lines(sorted((of_dry | of_damp) - varying))
        self.any_hour, self.damp_hour = sorted(of_dry & varying), sorted((of_damp & varying) - of_dry)
        self.columns = [n.name for n in map(formulas.nodes.__getitem__, sorted((of_dry | of_damp) - varying)) if n.name]

    def lines(self, places: list[int]) -> list[str]:
        return [self.line.format(place, value) for place in places if (value := self.value(place)) is not None]

    def value(self, place: int) -> str | None:
        """The operation in words of the language; a marked one as a call of psychrolib, nothing for parts of the mark."""
        node, nodes = self.formulas.nodes[place], self.formulas.nodes
        if node.operation == NUMBER:
            return repr(node.value)
        if node.operation == COLUMN:
            hourly = node.name in engine.HOURLY
            return f"hours[{engine.HOURLY.index(node.name)} * count + i]" if hourly else f'site["{node.name}"]'
        if node.operation == "larger":
            first = nodes[node.of[0]]
            if first.operation == "larger" and (mark := nodes[first.of[0]].value) in MARKS:
                return BY_PSYCHROLIB[MARKS[mark]].format(f"v{first.of[1]}", f"v{node.of[1]}")
            if first.operation == NUMBER and first.value in MARKS:
                return None
        return self.operations[node.operation].format(*(f"v{of}" for of in node.of))

    def sums(self, part: int, add: str, larger: str) -> list[str]:
        """Taking the values into the sums of a part, 0 for dry and 1 for damp hours."""
        return [
            (add if how == "sum" else larger).format(value=f"v{place}", row=row, part=2 * part + group, year=group)
            for group, tallies in enumerate(self.tallies[part])
            for row, (how, place) in enumerate(tallies)
        ]


def in_c(program: compiled.Program, formulas: Formulas, folder: Path, *flags: str) -> tuple[Any, list[str]]:
    """The loop built by the system's compiler, and the columns it wants of the site, in order."""
    loop = Loop(IN_C, "    double v{} = {};", program, formulas)
    place = f"s{{part}}[{{row}} * ({{year}} ? 1 : {ledger.SLOTS}) + ({{year}} ? 0 : slots[i])]"
    add, larger = f"    {place} += {{value}};", f"    if ({{value}} > {place}) {place} = {{value}};"
    text = "\n".join(
        [
            "#include <math.h>",
            "void year(const double *site, const double *hours, const long *slots,",
            "          double *s0, double *s1, double *s2, double *s3, long count) {",
            *loop.before,
            "  for (long i = 0; i < count; i++) {",
            *loop.lines(loop.any_hour),
            f"    if (!v{loop.damp}) {{",
            *loop.sums(0, add, larger),
            "      continue;",
            "    }",
            *loop.lines(loop.damp_hour),
            *loop.sums(1, add, larger),
            "  }",
            "}",
        ]
    )
    for number, column in enumerate(loop.columns):
        text = text.replace(f'site["{column}"]', f"site[{number}]")
    name = "".join(flags).strip("-").replace("=", "")
    (folder / f"{name}.c").write_text(text)
    command = ["cc", "-O3", "-march=native", *flags, "-shared", "-fPIC", "-o", f"{name}.so", f"{name}.c", "-lm"]
    subprocess.run(command, cwd=folder, check=True)
    return ctypes.CDLL(str(folder / f"{name}.so")).year, loop.columns


def in_python(program: compiled.Program, formulas: Formulas) -> Callable[..., None]:
    loop = Loop(IN_PYTHON, "    v{} = {}", program, formulas)
    place = "sums[{part}][{row}][0 if {year} else slot]"
    add, larger = f"{place} += {{value}}", f"{place} = max({place}, {{value}})"

    def deeper(lines: list[str], indent: int) -> list[str]:
        return [" " * indent + line.strip() for line in lines]

    text = "\n".join(
        [
            "def year(site, hours, slots, sums, count):",
            *deeper(loop.before, 4),
            "    for i in range(count):",
            "        slot = slots[i]",
            *deeper(loop.lines(loop.any_hour), 8),
            f"        if not v{loop.damp}:",
            *deeper(loop.sums(0, add, larger), 12),
            "            continue",
            *deeper(loop.lines(loop.damp_hour), 8),
            *deeper(loop.sums(1, add, larger), 8),
        ]
    )
    names: dict[str, Any] = {name: getattr(math, name) for name in ("sqrt", "fabs", "exp", "log", "inf")}
    names |= {
        name: getattr(psychrolib, name) for name in ("GetHumRatioFromVapPres", "GetSatVapPres", "GetMoistAirEnthalpy")
    }
    exec(text, names)  # a loop of this file's own making
    year: Callable[..., None] = names["year"]
    return year


def marked(monkeypatch: pytest.MonkeyPatch) -> Formulas:
    """The graph with a mark in place of what psychrolib has."""
    for mark, name in MARKS.items():
        function = lambda a, b, mark=mark: pl.max_horizontal(pl.lit(mark), a, b)  # noqa: E731
        monkeypatch.setattr(psychrometrics, name, function)
    formulas = Formulas(*engine.plan(NAMES))
    monkeypatch.undo()
    return formulas


def fastest(work: Callable[[], Any], repeats: int = REPEATS) -> float:
    """Seconds of the fastest of several goes."""
    spent = []
    for _ in range(repeats):
        began = time.perf_counter()
        work()
        spent.append(time.perf_counter() - began)
    return min(spent)


def sites() -> pl.DataFrame:
    """All building types and many sizes, each at another station."""
    types = shipped.building_types().values["building_type"].to_list()
    stations = climate.stations().sort("station")["station"].gather_every(climate.stations().height // SITES).to_list()
    return filled(
        [
            {"building_type": types[i % len(types)], "floor_area_m2": 500.0 + 100 * i, "station": stations[i]}
            for i in range(SITES)
        ]
    )


@pytest.mark.bench
@pytest.mark.skipif(not shutil.which("cc"), reason="needs a C compiler")
def test_side_by_side(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert find_spec("numba") is None, "with numba psychrolib is another library"
    psychrolib.SetUnitSystem(psychrolib.SI)
    chosen = sites()
    hours = climate.hours(chosen["weather_id"].to_list())
    years, work = engine.years(hours), sized(chosen)
    programs = {lanes: engine.program_of(NAMES, many=lanes == compiled.MANY_LANES) for lanes in (4, 8)}
    formulas = Formulas(*engine.plan(NAMES))
    rows: list[tuple[str, float]] = []

    def of_engine(lanes: int) -> compiled.Sums:
        return compiled.run(programs[lanes], work, "weather_id", years, ledger.SLOTS, ledger.dampest)

    sums = of_engine(8)
    damp_hours, known = sums.slots["hours"].sum(), sums.years
    site_hours = sum(year.slots.size for year in years.values())
    for lanes in programs:
        rows.append((f"engine, all threads, {lanes} lanes", fastest(partial(of_engine, lanes)) / site_hours))
    monkeypatch.setattr(pl, "thread_pool_size", lambda: 1)
    for lanes in programs:
        rows.append((f"engine, one thread, {lanes} lanes", fastest(partial(of_engine, lanes)) / site_hours))
    monkeypatch.undo()
    for flag in ("-ffp-contract=off", "-ffp-contract=fast"):
        function, columns = in_c(programs[8], formulas, tmp_path, flag)
        seconds, found = timed(called_in_c(function, columns), programs[8], work, years, REPEATS)
        rows.append((f"C, one thread, {flag}", seconds / site_hours))
        compare(found, known, 1e-9)
    few = work.head(BY_POLARS)
    part = hours.filter(pl.col("weather_id").is_in(few["weather_id"].implode()))
    seconds = fastest(partial(worked_hours, chosen.head(BY_POLARS), part), 2)
    rows.append(("Polars, every step a column that is kept, no sums", seconds / part.height))
    loop, few = in_python(programs[8], marked(monkeypatch)), work.head(BY_PYTHON)
    seconds, found = timed(called_in_python(loop), programs[8], few, years, 1)
    rows.append(("Python with psychrolib", seconds / sum(years[w].slots.size for w in few["weather_id"])))
    compare(found, known, 1e-6)
    print(f"\n\n{described(programs[8])}; {damp_hours / 8760 / work.height:.0%} of the year damp\n")
    base = min(seconds for name, seconds in rows if "one thread, 8" in name)
    table = [[name, 1e9 * seconds, seconds / base] for name, seconds in rows]
    print(bench_engine.markdown(["loop", "ns per site-hour", "of the engine on one thread"], table))


Sums = list[np.ndarray]
Call = Callable[[dict[str, Any], compiled.Hours, Sums], tuple[float, Sums]]


def timed(
    call: Call, program: compiled.Program, work: pl.DataFrame, years: dict[str, compiled.Hours], repeats: int
) -> tuple[float, list[dict[str, float]]]:
    """Seconds for all sites, the fastest of several goes each, and the sums of the year of each site."""
    groups = [(g, w) for p in (program.dry, program.damp) for g, w in ((p.slot, ledger.SLOTS), (p.year, 1))]
    total, found = 0.0, []
    for site in work.iter_rows(named=True):
        spent = []
        for _ in range(repeats):
            blank = [np.array([[t.beginning] * width for t in group]) for group, width in groups]
            seconds, sums = call(site, years[site["weather_id"]], blank)
            spent.append(seconds)
        total += min(spent)
        tallies = [t.name for part in (program.dry, program.damp) for t in part.year]
        found.append(dict(zip(tallies, np.concatenate([sums[1], sums[3]])[:, 0], strict=True)))
    return total, found


def called_in_c(function: Any, columns: list[str]) -> Call:
    def call(site: dict[str, Any], year: compiled.Hours, sums: Sums) -> tuple[float, Sums]:
        numbers = np.array([float(site[name]) for name in columns])
        addresses = [ctypes.c_void_p(array.ctypes.data) for array in (numbers, year.columns, year.slots, *sums)]
        began = time.perf_counter()
        function(*addresses, ctypes.c_long(year.slots.size))
        return time.perf_counter() - began, sums

    return call


def called_in_python(function: Callable[..., None]) -> Call:
    def call(site: dict[str, Any], year: compiled.Hours, sums: Sums) -> tuple[float, Sums]:
        hours, slots, lists = year.columns.ravel().tolist(), year.slots.tolist(), [group.tolist() for group in sums]
        began = time.perf_counter()
        function(site, hours, slots, lists, len(slots))
        return time.perf_counter() - began, [np.array(group) for group in lists]

    return call


def compare(found: list[dict[str, float]], known: dict[str, np.ndarray], tolerance: float) -> None:
    """Each sum of the year is the engine's, to the tolerance or to that of its largest value."""
    for name, values in known.items():
        mine = np.array([sums[name] for sums in found])
        mine[mine == -np.inf] = 0.0  # of no hours
        assert np.allclose(mine, values[: len(found)], rtol=tolerance, atol=tolerance * abs(values).max()), name


def described(program: compiled.Program) -> str:
    """How much there is to do."""
    loop = Loop(IN_C, "{} {}", program, program.formulas)
    any_hour, damp_hour = len(loop.lines(loop.any_hour)), len(loop.lines(loop.damp_hour))
    sums = [sum(map(len, part)) for part in loop.tallies]
    return f"operations: {any_hour} in any hour, {damp_hour} more in a damp one; sums: {sums[0]} and {sums[1]}"
