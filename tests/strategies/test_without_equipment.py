"""Advice without equipment: each is today's strategy at a site whose row says the same by hand, and no more."""

from pathlib import Path

import polars as pl
import psychrolib
import pytest

from screener import climate, engine, ledger
from screener.economics import Terms, economics, investments, with_cases
from screener.ranking import rank
from screener.ranking.holding import Tolerance, marked
from screener.ranking.reconciling import reconciled
from screener.strategies import MACHINES, REFERENCE, REGISTRY
from screener.strategies.ventilation_by_occupancy import NAME as BY_OCCUPANCY
from screener.tables import profiles, shipped
from tests.engine_cases import NO_EQUIPMENT, STATIONS, accounts, filled, in_sequence, sized
from tests.money_cases import NO_OFFERS, equipment, prices, totals
from tests.money_cases import sites as money_sites
from tests.tables.portfolios import sites as site_table
from tests.tables.portfolios import write

psychrolib.SetUnitSystem(psychrolib.SI)
HIGHER, LOCKOUT, CYCLING = "higher_dew_point_limit", "reheat_lockout", "fan_cycling_while_closed"
ADVICE = (HIGHER, LOCKOUT, CYCLING, BY_OCCUPANCY)
STORE = {
    "building_type": "supermarket",
    "floor_area_m2": 3000.0,
    "station": STATIONS["Houston"],
    "current_strategy": "overcool_electric_reheat",
    "cooling_capacity_kw": 300.0,
    "cooling_units": 6,
    "humidity_limit_dew_point_c": 12.0,
    "opens_hour": 7.0,
    "closes_hour": 22.0,
}
FIGURES = ("electricity_kwh", "fuel_kwh", "peak_kw", "water_removed_kg", "hours_above_limit", "dew_point_p95_c")


def rows_of(totals: pl.DataFrame, strategy: str) -> list[dict]:
    return totals.filter(strategy=strategy).sort("site_id").to_dicts()


def some_days() -> pl.DataFrame:
    """Two days in each of six months at Houston."""
    hours = climate.hours([STATIONS["Houston"]]).with_columns(number=pl.int_range(pl.len()).over("month"))
    return hours.filter((pl.col("number") < 48) & (pl.col("month") % 2 == 0)).drop("number")


@pytest.fixture(scope="module")
def pairs() -> pl.DataFrame:
    """Sites as they are, `a...`, and with the advice typed into their rows, `b...`, all results."""
    dehumidifier = {"current_strategy": "standalone_dehumidifier", "equipment_id": "E"}
    rows = [
        (HIGHER, STORE, {"humidity_limit_dew_point_c": 13.0}),
        (HIGHER, STORE | dehumidifier, {"humidity_limit_dew_point_c": 13.0}),
        (
            HIGHER,
            STORE | {"limit_step_k": 2.5, "current_strategy": "overcool_fuel_reheat"},
            {"humidity_limit_dew_point_c": 14.5},
        ),
        (LOCKOUT, STORE | {"lockout_below_limit_k": -4.0}, {"reheat_lockout_dew_point_c": 16.0}),
        (CYCLING, STORE | {"supply_fan": "always"}, {"supply_fan": "continuous"}),
        (
            CYCLING,
            STORE | {"supply_fan": "always", "current_strategy": "temperature_only"},
            {"supply_fan": "continuous"},
        ),
    ]
    sites = [row | {"site_id": f"a{n}"} for n, (_, row, _) in enumerate(rows)]
    sites += [row | by_hand | {"site_id": f"b{n}"} for n, (_, row, by_hand) in enumerate(rows)]
    machine = {"equipment_id": "E", "strategy": "standalone_dehumidifier", "capacity_l_day": 400.0, "units": 2}
    equipment = pl.DataFrame([machine], schema=NO_EQUIPMENT.schema)
    totals, _ = accounts(filled(sites), some_days(), equipment)
    today = pl.DataFrame(
        {"site_id": [s["site_id"] for s in sites], "current_strategy": [s["current_strategy"] for s in sites]}
    )
    told = pl.DataFrame(
        {"site_id": [f"{x}{n}" for x in "ab" for n in range(len(rows))], "advice": [a for a, *_ in rows] * 2}
    )
    return totals.join(today, on="site_id").join(told, on="site_id")


def test_each_is_todays_strategy_with_the_cells_typed_by_hand(pairs: pl.DataFrame) -> None:
    """And not the same as today's: each pair would tell an advice that does nothing."""
    for number in range(pairs["site_id"].n_unique() // 2):
        advised = pairs.filter((pl.col("site_id") == f"a{number}") & (pl.col("strategy") == pl.col("advice"))).row(
            0, named=True
        )
        by_hand, today = (
            pairs.filter((pl.col("site_id") == f"{which}{number}") & (pl.col("strategy") == pl.col("current_strategy")))
            for which in "ba"
        )
        assert advised["unavailable"] is None
        for figure in FIGURES:
            assert advised[figure] == pytest.approx(by_hand[figure].item(), rel=1e-9), (number, figure)
        assert advised["electricity_kwh"] < today["electricity_kwh"].item() * (1 - 1e-4), number


def test_a_higher_limit_is_held_against_itself(pairs: pl.DataFrame) -> None:
    """The hours above it, not above today's; water that stays in the air is no hour above the limit."""
    advised = pairs.filter((pl.col("strategy") == HIGHER) & (pl.col("site_id") == "a0")).row(0, named=True)
    today = pairs.filter((pl.col("strategy") == "overcool_electric_reheat") & (pl.col("site_id") == "a0")).row(
        0, named=True
    )
    assert advised["hours_above_limit"] <= today["hours_above_limit"]
    assert advised["dew_point_p95_c"] > today["dew_point_p95_c"] + 0.5
    assert advised["refrigeration_saved_kwh"] < today["refrigeration_saved_kwh"]


def test_ventilation_by_occupancy_is_a_profile_of_the_ventilation() -> None:
    """By hand: of an office's rates 0.3048 L/s per m2 stay, 2.3597 L/s a person follow the people, hour by hour."""
    row = STORE | {"building_type": "office", "peak_occupants": 200.0, "humidity_limit_dew_point_c": 13.0}
    site = filled([row | {"site_id": "a"}, row | {"site_id": "b", "current_strategy": "temperature_only"}])
    days = profiles.resolved()
    people = days.filter((pl.col("building_type") == "office") & (pl.col("quantity") == "people"))
    floor, full = 0.3048 * 3000.0, 2.3597 * 200.0
    hours = [f"hour_{hour}" for hour in range(24)]
    share = [(floor + full * 0.7 * pl.col(hour)) / (floor + full) for hour in hours]
    assert people.select(pl.max_horizontal(hours).max()).item() * 0.7 < 1
    by_hand = people.with_columns(quantity=pl.lit("ventilation")).with_columns(
        s.alias(hour) for s, hour in zip(share, hours, strict=True)
    )
    other = days.filter(~((pl.col("building_type") == "office") & (pl.col("quantity") == "ventilation")))
    conditions = climate.design_conditions([STATIONS["Houston"]])
    years = engine.years(some_days())
    found = []
    for table in (days, pl.concat([other, by_hand])):
        batches = engine.simulate(engine.size(site, conditions, NO_EQUIPMENT, table), years)
        found.append(ledger.totals(pl.concat([b.years for b in batches]), tuple(REGISTRY), REFERENCE.name))
    for site_id, today in (("a", "overcool_electric_reheat"), ("b", "temperature_only")):
        advised, hand = (
            totals.filter(site_id=site_id, strategy=name).row(0, named=True)
            for totals, name in zip(found, (BY_OCCUPANCY, today), strict=True)
        )
        for figure in FIGURES:
            assert advised[figure] == pytest.approx(hand[figure], rel=1e-9), figure
        assert advised["electricity_kwh"] < found[0].filter(site_id=site_id, strategy=today)["electricity_kwh"].item()


WHERE_NOT = [  # advice, what the row says otherwise than STORE, why not
    (HIGHER, {"building_type": "library_archive"}, "its limit must hold"),
    (HIGHER, {"limit_step_k": 0.0}, "its limit must hold"),
    (HIGHER, {"cannot_have": "limit must hold"}, "ruled out by its row"),
    (HIGHER, {"current_strategy": "temperature_only"}, "not controlled today"),
    (HIGHER, {"humidity_limit_dew_point_c": 14.1}, "would pass 15 degC"),
    (HIGHER, {"humidity_limit_dew_point_c": 14.0}, None),
    (HIGHER, {"humidity_limit_dew_point_c": None, "humidity_limit_rh_pct": 50.0}, None),
    (LOCKOUT, {"current_strategy": "standalone_dehumidifier"}, "nothing is reheated today"),
    (LOCKOUT, {"reheat_lockout_dew_point_c": 12.0}, "already"),
    (LOCKOUT, {"reheat_lockout_dew_point_c": 11.9}, None),
    (CYCLING, {}, "does not run through the closed hours"),
    (BY_OCCUPANCY, {"cannot_have": "fixed ventilation"}, "ruled out by its row"),
    (BY_OCCUPANCY, {"outdoor_air_l_s": 0.0}, "no mechanical outdoor air"),
    (BY_OCCUPANCY, {"peak_occupants": 0.0, "outdoor_air_l_s": 100.0}, "no mechanical outdoor air"),
    (
        BY_OCCUPANCY,
        {"current_strategy": "overcool_reclaimed_reheat", "open_case_length_m": 0.0, "door_case_length_m": 0.0},
        "no ",
    ),
]


def test_where_it_cannot_be_had() -> None:
    found = sized(filled([STORE | change for _, change, _ in WHERE_NOT]))
    for number, (advice, _, why) in enumerate(WHERE_NOT):
        told = found[f"{advice}.unavailable"][number]
        assert told is None if why is None else why in told, WHERE_NOT[number]


def test_no_machine_of_its_own() -> None:
    assert set(ADVICE) == {*REGISTRY} - {*MACHINES}
    assert all(REGISTRY[name].note for name in ADVICE)  # each on a condition
    prices = shipped.strategies().filter(pl.col("strategy").is_in(ADVICE))
    assert prices["note"].str.contains("placeholder, no source").all()
    assert prices["investment_fixed"].max() <= 1500
    with pytest.raises(Exception, match="no hour of its own"):
        engine.plan([HIGHER])


def test_it_is_not_how_a_site_works_today(tmp_path: Path) -> None:
    from screener import pipeline

    folder = write(
        tmp_path,
        sites=site_table({"current_strategy": "ventilation_by_occupancy"}, {"current_strategy": "Reheat lockout"}),
    )
    portfolio, _ = pipeline.check(folder)
    messages = portfolio.faults.filter(column="current_strategy")["message"].to_list()
    assert len(messages) == 2
    assert all("only changes how equipment is run" in message for message in messages)


NOW, DEVICE = "overcool_electric_reheat", "standalone_dehumidifier"
PRICES = prices(*({"strategy": name, "investment_fixed": 1000.0, "life_years": 10.0} for name in (NOW, DEVICE, HIGHER)))


def answered(competes: bool = False, **advised: float) -> dict:
    """The ranking row of a site whose device saves 500 a year and whose higher limit 200, 5 of it taken by its cases; a kWh costs
    a tenth."""
    rows = totals(
        {"site_id": "A", "strategy": NOW, "annual_cost": 1_000.0, "electricity_kwh": 10_000.0},
        {"site_id": "A", "strategy": DEVICE, "annual_cost": 500.0, "electricity_kwh": 5_000.0},
        {"site_id": "A", "strategy": HIGHER, "annual_cost": 800.0, "electricity_kwh": 8_000.0}
        | {"refrigeration_saved_kwh": -50.0, "note": "if goods stand it", "hours_frost_on_goods": 0.0}
        | advised,
    ).with_columns(hours_frost_on_goods=pl.col("hours_frost_on_goods").fill_null(0.0))
    where = money_sites({"site_id": "A"})
    invested = investments(rows, where, PRICES, equipment(), NO_OFFERS, competes)
    costed = economics(with_cases(invested, False), Terms(0.0, 10))
    return rank.ranking(reconciled(marked(costed, Tolerance()), where), where, "USD").row(0, named=True)


def test_it_stands_beside_the_best_equipment() -> None:
    """By hand: 200 - 5 a year, over ten years without interest less 1,000."""
    site = answered()
    assert site["best_strategy"] == DEVICE
    assert site["without_equipment_strategy"] == HIGHER
    assert site["without_equipment_saved"] == pytest.approx(195.0)
    assert site["without_equipment_net_savings"] == pytest.approx(950.0)
    assert site["without_equipment_condition"] == "if goods stand it"


def test_it_competes_where_the_settings_say_so() -> None:
    better = {"annual_cost": 300.0, "electricity_kwh": 3_000.0}
    assert answered(**better)["best_strategy"] == DEVICE
    assert answered(competes=True, **better)["best_strategy"] == HIGHER
    assert answered(competes=True)["best_strategy"] == DEVICE


@pytest.mark.parametrize(("hours", "advised"), [(35.0, HIGHER), (36.0, None)])
def test_not_where_goods_frost_longer_than_today(hours: float, advised: str | None) -> None:
    """By more than the 35 h a year that a limit may be passed longer than today."""
    assert answered(hours_frost_on_goods=hours)["without_equipment_strategy"] == advised


def test_what_the_rows_cells_mean_hour_by_hour() -> None:
    """Reheat rests in every hour whose outdoor dew point, by psychrolib, is below the lockout, and in others it runs; a fan that
    always runs takes its power in every hour, closed or not."""
    row = STORE | {"reheat_lockout_dew_point_c": 16.0, "supply_fan": "always"}
    worked = in_sequence(filled([row]), some_days(), "overcool_electric_reheat")
    dew_points = [
        psychrolib.GetTDewPointFromHumRatio(t, w, p)
        for t, w, p in worked.select("outdoor_c", "outdoor_humidity_ratio", "pressure_pa").rows()
    ]
    locked = worked.filter(pl.Series(dew_points) < 15.99)
    others = worked.filter(pl.Series(dew_points) > 16.01)
    assert locked.filter("damp").height > 10
    assert locked["hour.reheat_w"].max() == 0
    assert (others.filter("damp")["hour.reheat_w"] > 0).mean() > 0.5
    assert (worked["open"] == 0).any()
    assert (worked["hour.fans_w"] / worked["fan_w"] - 1).abs().max() < 1e-12
