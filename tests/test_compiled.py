"""Compiled worksheets against Polars, which evaluates the same steps, and against the C library's exp and log."""

import math
from collections.abc import Iterable

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from screener import engine, ledger
from screener.calendar import SLOTS as ALL_SLOTS
from screener.contracts.hour import SHARES
from screener.errors import ResultsError
from screener.formula import (
    Formula,
    Number,
    as_number,
    col,
    equal,
    exp,
    first_given,
    is_given,
    larger,
    literal,
    log,
    opposite,
    polars,
    smaller,
    sqrt,
    when,
)
from screener.strategies import MACHINES, REFERENCE
from screener.worksheet import Worksheet
from screener.worksheet.arrays import ArraysYear
from screener.worksheet.compiled import FEW_LANES, MANY_LANES, CompiledYear
from screener.worksheet.compiled.year import YearCode, in_step
from screener.worksheet.hours import Hours, Part, Sums, Tallies, Tally
from tests.engine_cases import STATIONS, climate, filled, in_sequence, random_rows, sized

NONE = Tallies([], [])
SLOTS = 8


def program(every: Number, columns: list[str], lanes: int = FEW_LANES, **about: object) -> CompiledYear:
    """A program that works out one formula."""
    part = Part(**({"sheets": [Worksheet()], "tallies": NONE, "kept": [every]} | about))
    return CompiledYear({"part": part}, columns, {}, lanes)


def worked(of: CompiledYear, frame: pl.DataFrame, slots: list[int] | None = None, **site: float) -> Sums:
    """The program for one site with these terms of its own, over the rows of the frame."""
    columns = frame.select(pl.col(of.hour_columns).cast(pl.Float64)).to_numpy().T.copy()
    hours = Hours(columns, np.array(slots or [0] * frame.height))
    return of.run(pl.DataFrame({"place": [0]} | site), "place", {0: hours}, SLOTS, lambda kept: kept[0].copy())["part"]


def evaluated(formula: Number, frame: pl.DataFrame, lanes: int = FEW_LANES) -> np.ndarray:
    return worked(program(formula, frame.columns, lanes), frame).finished[0]


def numbers(seed: int = 0, count: int = 64) -> pl.DataFrame:
    draw = np.random.default_rng(seed)
    return pl.DataFrame({"x": draw.normal(size=count), "y": draw.normal(size=count), "z": draw.uniform(0.1, 9, count)})


X, Y, Z = col("x"), col("y"), col("z")
EXACT: dict[str, Number] = {  # as IEEE 754 defines them, to the last bit
    "arithmetic": (X + Y) * (X - Y) / Z,
    "root": sqrt(Z),
    "sign": -X + 2 * X,
    "bounds": larger(X, Y, 0.25) - smaller(X, Y),
    "choice": when(X > Y).then(X).otherwise(Z),
    "choices of choices": when(X > 0).then(when(Y > 0).then(1).otherwise(2)).otherwise(3),
    "logic": when((X >= Y) & (X < Z) | (Y <= 0) & opposite(X > 0)).then(X).otherwise(Y),
    "a choice of truths": when(when(X > 0).then(Y > 0).otherwise(Z > 4)).then(1.5).otherwise(X),
    "equality": when(equal(X, Y)).then(1.0).otherwise(when(opposite(equal(X, Z))).then(2.0).otherwise(3.0)),
    "a truth as a number": as_number(X > Y) * Z,
    "whole powers": X**2,
    "a literal alone": 2.5 + 0 * X,
}


@pytest.mark.parametrize("name", EXACT)
@pytest.mark.parametrize("lanes", [FEW_LANES, MANY_LANES])
def test_operations_are_those_of_polars_to_the_last_bit(name: str, lanes: int) -> None:
    frame = numbers()
    expected = frame.select(polars(EXACT[name]).cast(pl.Float64)).to_series()
    assert evaluated(EXACT[name], frame, lanes).tolist() == expected.to_list()


NONE_OF_THEM = [math.nan, -1.0, 0.0, math.inf, -math.inf, 800.0, -800.0, 1.0]


@pytest.mark.parametrize("function", [exp, log, sqrt], ids=lambda function: function.__name__)
def test_out_of_their_domain_they_give_what_polars_gives(function) -> None:
    frame = pl.DataFrame({"x": NONE_OF_THEM})
    expected = frame.select(polars(function(X))).to_series().to_list()
    assert evaluated(function(X), frame).tolist() == pytest.approx(expected, nan_ok=True, rel=1e-15, abs=1e-300)


@pytest.mark.parametrize("function", [larger, smaller])
@pytest.mark.parametrize("other", [Y, 0.5], ids=["of a column", "of a constant"])
def test_what_is_not_a_number_passes_through_bounds(function, other) -> None:
    """Polars itself leaves it out of the largest and smallest."""
    frame = pl.DataFrame({"x": [math.nan, 1.0, 2.0, math.nan] * 2, "y": [1.0, math.nan, 3.0, math.nan] * 2})
    for formula in (function(X, other), function(other, X)):
        expected = frame.select(polars(formula)).to_series().to_list()
        assert evaluated(formula, frame).tolist() == pytest.approx(expected, nan_ok=True)
        assert math.isnan(expected[0])
        assert isinstance(other, float) or math.isnan(expected[1])


@settings(deadline=None)
@given(st.lists(st.floats(-700, 700), min_size=16, max_size=16))
def test_exp_is_that_of_the_c_library(values: list[float]) -> None:
    """Two units in the last place; the C library's own error is below one."""
    got = evaluated(exp(X), pl.DataFrame({"x": values}))
    assert np.allclose(got, [math.exp(x) for x in values], rtol=2 * 2.3e-16, atol=0)


@settings(deadline=None)
@given(st.lists(st.floats(1e-300, 1e300), min_size=16, max_size=16))
def test_log_is_that_of_the_c_library(values: list[float]) -> None:
    """Near 1 the logarithm goes to nothing and its error with it."""
    got = evaluated(log(X), pl.DataFrame({"x": values}))
    assert np.allclose(got, [math.log(x) for x in values], rtol=2 * 2.3e-16, atol=1e-25)


def test_log_near_one() -> None:
    near = pl.DataFrame({"x": [1.0, 1 + 1e-15, 1 - 1e-15, 1.001, 0.999, 0.70710678, 0.7071068, 1.41421356]})
    assert np.allclose(evaluated(log(X), near), [math.log(x) for x in near["x"]], rtol=5e-16, atol=0)


def test_powers_that_are_not_whole() -> None:
    frame = numbers()
    assert np.allclose(evaluated(Z**0.37, frame), frame["z"].to_numpy() ** 0.37, rtol=1e-14, atol=0)
    assert np.allclose(evaluated(Z**Y, frame), frame["z"].to_numpy() ** frame["y"].to_numpy(), rtol=1e-14, atol=0)


@pytest.mark.parametrize("formula", [literal("a"), literal(None) + X, first_given(X, 0.0), is_given(X)], ids=repr)
def test_what_only_tables_have_is_refused(formula: Formula) -> None:
    with pytest.raises(NotImplementedError, match=r"an hour (is made of numbers|has no blanks)"):
        program(formula, ["x"])


def test_a_step_that_is_read_before_it_is_worked_out_is_refused() -> None:
    sheet = Worksheet()
    sheet.let("b", col("a") + 1)
    sheet.let("a", X)
    with pytest.raises(ValueError, match="the step a is read before it is worked out"):
        program(X, ["x"], sheets=[sheet])


def test_sums_and_largest_by_slot_and_over_the_year() -> None:
    """Hours of one slot may stand side by side or apart."""
    frame = pl.DataFrame({"x": [1.0, 2.0, 4.0, 8.0, 16.0, 32.0, 64.0, 128.0]})
    taken = [Tally("sum", X), Tally("largest", X, "max")]
    got = worked(program(X, ["x"], tallies=Tallies(taken, taken)), frame, slots=[3, 3, 3, 3, 0, 0, 3, 1])
    assert got.slots["sum"][0].tolist() == [48, 128, 0, 79, 0, 0, 0, 0]
    assert got.slots["largest"][0].tolist() == [32, 128, 0, 64, 0, 0, 0, 0]
    assert [got.years[name].item() for name in ("sum", "largest")] == [255, 128]


@pytest.mark.parametrize("warm_up", [0, 2])
def test_what_an_hour_leaves_is_what_the_next_begins_with(warm_up: int) -> None:
    """A leaking store of the last hour's, by hand; warmed up it begins where the year's last two hours end."""
    carried = {"last": col("last") / 2 + X}
    of = program(col("last"), ["x"], carried=carried, first={"last": "start"}, warm_up=warm_up)
    frame = pl.DataFrame({"x": [1.0, 3.0, 5.0, 7.0]})
    due, last = [], 16.0 if not warm_up else (16.0 / 2 + 5.0) / 2 + 7.0
    for x in frame["x"]:
        due.append(last)
        last = last / 2 + x
    assert worked(of, frame, start=16.0).finished[0].tolist() == due
    arrays = ArraysYear(of.parts, ["x"], {})
    hours = Hours(frame.to_numpy().T.copy(), np.zeros(4, np.int64))
    sites = pl.DataFrame({"place": [0], "start": [16.0]})
    assert arrays.run(sites, "place", {0: hours}, SLOTS, lambda kept: kept[0])["part"].finished[0].tolist() == due


def test_sites_of_different_calendars_come_back_in_their_order() -> None:
    of = program(X, ["x"], tallies=Tallies([Tally("sum", X)], [Tally("year", X + col("own"))]))
    years = {key: Hours(np.full((1, 3), float(key)), np.array([key % 2, 0, key % 3], np.int64)) for key in range(6)}
    sites = pl.DataFrame({"place": [5, 1, 4, 0, 3, 2, 1], "own": [0.5] * 7})
    for way in (of, ArraysYear(of.parts, ["x"], {})):
        got = way.run(sites, "place", years, SLOTS, lambda kept: kept[0])["part"]
        assert got.years["year"].tolist() == [3 * (key + 0.5) for key in sites["place"]]
        assert got.finished[:, 0].tolist() == sites["place"].to_list()
        for site, key in enumerate(sites["place"]):
            due = np.bincount(years[key].slots, minlength=SLOTS) * float(key)
            assert got.slots["sum"][site].tolist() == due.tolist()


def test_a_column_of_an_hour_may_come_from_an_array_of_the_site() -> None:
    """Taken by the hour's slot, over and over: slot 5 of an array of four is its second."""
    part = Part(sheets=[Worksheet()], tallies=NONE, kept=[X * col("share")])
    sites = pl.DataFrame({"place": [0, 1], "course": [[1.0, 2.0, 3.0, 4.0], [5.0, 6.0, 7.0, 8.0]]})
    years = {key: Hours(np.full((1, 3), 10.0 + key), np.array([0, 5, 3], np.int64)) for key in (0, 1)}
    for way in (
        CompiledYear({"part": part}, ["x"], {"share": "course"}),
        ArraysYear({"part": part}, ["x"], {"share": "course"}),
    ):
        got = way.run(sites, "place", years, SLOTS, lambda kept: kept[0].copy())["part"].finished
        assert got.tolist() == [[10.0, 20.0, 40.0], [55.0, 66.0, 88.0]]


def test_a_site_without_a_number_is_refused() -> None:
    of = program(X * col("share"), ["x"])
    sites = pl.DataFrame({"place": [0], "share": [None]})
    hours = Hours(np.zeros((1, 8)), np.zeros(8, dtype=np.int64))
    with pytest.raises(ResultsError, match="share is empty, and formulas of its hours read it"):
        of.run(sites, "place", {0: hours}, SLOTS, lambda kept: kept)


@pytest.fixture(scope="module")
def hard() -> tuple[pl.DataFrame, pl.DataFrame]:
    """Odd sites, and their hours of a month of each season with some missing, so that these do not come out even."""
    rows = random_rows(40, seed=11)
    hours = climate.hours(sorted(STATIONS.values())).filter(pl.col("month").is_in([1, 3, 7, 10]))
    return filled(rows), hours.filter(pl.int_range(pl.len()) % 97 > 0)


def summed(
    sites: pl.DataFrame, hours: pl.DataFrame, many: bool = False, names: Iterable[str] = MACHINES
) -> dict[str, Sums]:
    of = engine.compiled_year({name: engine.part(name) for name in names}, many)
    return of.run(sized(sites), "weather_id", engine.years(hours), ALL_SLOTS, ledger.dampest)


@pytest.fixture(scope="module")
def compiled_sums(hard: tuple[pl.DataFrame, pl.DataFrame]) -> dict[str, Sums]:
    return summed(*hard)


@pytest.mark.parametrize("name", MACHINES)
def test_every_sum_of_every_strategy_is_that_of_polars(hard, compiled_sums: dict[str, Sums], name: str) -> None:
    """Hour by hour in frames that begin with the states of the compiled hours, and end in the ones that follow; added up:
    1e-9 of each figure, or of what it is a difference of."""
    sites, hours = hard
    sites = sites.head(11)
    rows, got = in_sequence(sites, hours, name), compiled_sums[name]
    for last, end in (("last_c", "space_c"), ("last_mass_c", "mass_c"), ("last_humidity_ratio", "humidity_ratio")):
        follows = rows.select((pl.col(f"hour.{end}").shift().over("site") - pl.col(last)).abs().max()).item()
        assert follows < 1e-9, last
    tallies = engine.part(name).tallies
    for keys, group, sums in ((["site", "slot"], tallies.slot, got.slots), (["site"], tallies.year, got.years)):
        added = [polars(t.value).sum() if t.how == "sum" else polars(t.value).max() for t in group]
        frame = rows.group_by(keys).agg(a.alias(t.name) for a, t in zip(added, group, strict=True))
        places = tuple(frame[key].to_numpy() for key in keys)
        for tally in group:
            expected, found = frame[tally.name].to_numpy(), sums[tally.name][places]
            assert np.allclose(found, expected, rtol=1e-9, atol=1e-9 * abs(expected).max()), tally.name
            rest = sums[tally.name][: sites.height].copy()
            rest[places] = 0.0
            assert not rest.any(), tally.name
    for site in range(sites.height):
        reached = sorted(rows.filter(pl.col("site") == site)["hour.humidity_ratio"], reverse=True)
        assert got.finished[site] == pytest.approx(reached[int(0.05 * len(reached))], rel=1e-12)


def same_to_the_last_bit(one: dict[str, Sums], other: dict[str, Sums]) -> None:
    for name, sums in one.items():
        for a, b in ((sums.slots, other[name].slots), (sums.years, other[name].years)):
            assert a.keys() == b.keys()
            assert all(np.array_equal(a[tally], b[tally]) for tally in a)
        assert np.array_equal(sums.finished, other[name].finished)


def test_the_number_of_lanes_changes_no_bit(hard, compiled_sums: dict[str, Sums]) -> None:
    same_to_the_last_bit(compiled_sums, summed(*hard, many=True))


def test_strategies_whose_hours_leave_the_same_share_them_and_no_bit_differs(hard, compiled_sums) -> None:
    """Where the reheat comes from changes nothing of the air; each worked out alone comes to the same."""
    parts = {name: engine.part(name) for name in MACHINES}
    shared = max(in_step(parts), key=len)
    assert {"overcool_electric_reheat", "overcool_fuel_reheat", "overcool_condenser_reheat"} <= {*shared}
    assert "wrapped_coil_heat_pipe" not in shared
    same_to_the_last_bit(summed(*hard, names=shared[-1:]), compiled_sums)


@pytest.mark.parametrize("name", MACHINES)
def test_what_a_strategy_does_in_damp_hours_is_left_out_of_others(name: str) -> None:
    """A quarter of its operations at least; their divisions cost most."""
    code = YearCode([engine.part(name)], engine.HOURLY_COLUMNS)
    left_out, every = code.acting, [i for i, node in enumerate(code.graph.nodes) if node.operation == "divide"]
    assert 4 * len({*left_out} & {*every}) > len(every) if name != REFERENCE.name else not left_out


def test_arrays_give_the_same_sums(hard: tuple[pl.DataFrame, pl.DataFrame]) -> None:
    """Where no machine code can be made; two strategies in four days of March, the last a Sunday, at three stations whose hours
    are not the same stand for all."""
    march = hard[1].filter(pl.col("month") == 3)
    hours = march.filter(pl.int_range(pl.len()).over("weather_id") < 4 * 24)
    sites = hard[0].filter(pl.col("weather_id").is_in([STATIONS[name] for name in ("Miami", "Denver", "Fairbanks")]))
    parts = {name: engine.part(name) for name in ("overcool_condenser_reheat", "outdoor_air_dehumidifier")}
    compiled, arrays = (
        way.run(sized(sites), "weather_id", engine.years(hours), ALL_SLOTS, ledger.dampest)
        for way in (engine.compiled_year(parts), ArraysYear(parts, engine.PLACE_COLUMNS, SHARES))
    )
    for name in parts:
        for a, b in ((compiled[name].slots, arrays[name].slots), (compiled[name].years, arrays[name].years)):
            for tally in a:
                assert np.allclose(a[tally], b[tally], rtol=1e-9, atol=1e-9 * abs(a[tally]).max()), (name, tally)
        assert np.allclose(compiled[name].finished, arrays[name].finished, rtol=1e-9)


def test_no_figure_hangs_on_the_last_bit_of_the_weather() -> None:
    """Another way of rounding may push a decision that stands at its very edge to the other side: by no more than 1e-6.

    But where a coil is far too small: the hours of such a space swing from one end to the other, each after the one before.
    """
    sites = sized(filled(random_rows(110, seed=5)))
    of = engine.compiled_year({name: engine.part(name) for name in MACHINES})
    hours = climate.hours(sorted(STATIONS.values()))

    def years(factor: float) -> dict[str, np.ndarray]:
        other = engine.years(hours.with_columns(pl.col("outdoor_c", "outdoor_humidity_ratio") * factor))
        found = of.run(sites, "weather_id", other, ALL_SLOTS, ledger.dampest)
        return {f"{name}.{tally}": sums for name in found for tally, sums in found[name].years.items()}

    known = years(1.0)
    cools = known[f"{REFERENCE.name}.cooling_not_met_kwh"] < 1e5
    assert cools.sum() > 70
    for factor in (1 + 4e-16, 1 - 4e-16):
        for name, values in years(factor).items():
            least = 1e-12 * abs(known[name]).max()
            assert np.allclose(values[cools], known[name][cools], rtol=1e-6, atol=least), name
            assert np.allclose(values, known[name], rtol=1e-2, atol=least), name


@pytest.mark.parametrize("hours", [1, 2, 19, 20, 40, 8760])
def test_the_humidity_that_five_per_cent_exceed_is_the_one_that_sorting_finds(hours: int) -> None:
    draw = np.random.default_rng(hours)
    drifting = np.sin(np.arange(hours) / 24) + draw.normal(size=hours) / 9
    for humidities in (drifting, np.sort(drifting), drifting.round(1), np.ones(hours)):
        assert ledger.dampest(humidities[None]) == np.sort(humidities)[-1 - int(0.05 * hours)]
