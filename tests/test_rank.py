"""The ranking's rules, on frames small enough to rank by eye."""

from typing import Any

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from screener import contracts
from screener.ranking import rank, sql
from tests.money_cases import life_cycle, prices, sites, totals

NOW, DEVICE, AIR, NONE = (
    "overcool_electric_reheat",
    "standalone_dehumidifier",
    "outdoor_air_dehumidifier",
    "temperature_only",
)
PRICES = prices(
    {"strategy": NOW},
    {"strategy": DEVICE, "investment_fixed": 1_000.0},
    {"strategy": AIR, "investment_fixed": 3_000.0},
    {"strategy": NONE, "candidate": False},
)


DRY = {"dew_point_p95_c": 12.0, "dew_point_highest_c": 13.0}
DAMP = {"hours_above_limit": 4_000.0, "dew_point_p95_c": 20.0, "dew_point_highest_c": 22.0}


def costs(site: str, now: float, device: float, air: float, **more: dict[str, Any]) -> list[dict[str, Any]]:
    """A site's strategies with their annual costs; `more` changes the row of a strategy."""
    amounts = {NOW: now, DEVICE: device, AIR: air, NONE: 100.0}
    rows = [{"site_id": site, "strategy": strategy, "annual_cost": cost} for strategy, cost in amounts.items()]
    return [row | (DAMP if row["strategy"] == NONE else {}) | more.get(row["strategy"], {}) for row in rows]


def ranked(rows: list[dict[str, Any]], *site_rows: dict[str, Any], table: pl.DataFrame = PRICES) -> pl.DataFrame:
    """Ranking at no discount over ten years, so that it can be worked out in the head."""
    where = sites(*site_rows)
    return rank.ranking(life_cycle(totals(*rows), where, table, 0.0, 10), where, "USD")


def test_the_best_strategy_has_the_highest_net_savings() -> None:
    """By hand: device saves 500 x 10 - 1 000 = 4 000, outdoor air unit 600 x 10 - 3 000 = 3 000."""
    site = ranked(costs("A", 1_000.0, 500.0, 400.0), {"site_id": "A"}).row(0, named=True)
    assert (site["best_strategy"], site["net_savings"], site["cost_saved"]) == (DEVICE, 4_000.0, 500.0)
    assert (site["investment"], site["simple_payback_years"], site["savings_to_investment"]) == (1_000.0, 2.0, 5.0)


def test_where_nothing_pays_the_site_stays_as_it_is() -> None:
    site = ranked(costs("A", 1_000.0, 950.0, 1_200.0), {"site_id": "A"}).row(0, named=True)
    assert (site["best_strategy"], site["net_savings"], site["cost_saved"]) == (NOW, 0.0, 0.0)
    assert (site["investment"], site["simple_payback_years"], site["notes"]) == (0.0, None, None)


def test_net_savings_of_exactly_zero_are_no_reason_to_change() -> None:
    site = ranked(costs("A", 1_000.0, 900.0, 1_200.0), {"site_id": "A"}).row(0, named=True)
    assert site["best_strategy"] == NOW


@pytest.mark.parametrize(
    ("worse", "best"),
    [
        ({"hours_above_limit": 85.0, "dew_point_highest_c": 20.0}, DEVICE),
        ({"hours_above_limit": 85.5, "dew_point_highest_c": 13.3}, DEVICE),
        ({"hours_above_limit": 85.5, "dew_point_highest_c": 13.31}, AIR),
        ({"hours_above_limit": 85.5, "dew_point_p95_c": 12.31}, AIR),
        ({"hours_cooling_not_met": 35.0}, DEVICE),
        ({"hours_cooling_not_met": 35.5}, AIR),
        ({"hours_in_fog": 35.5}, AIR),
    ],
)
def test_a_change_must_hold_the_limit_as_well_as_today_within_the_tolerance(worse: dict[str, Any], best: str) -> None:
    """35 h a year: 0.4 % of 8 760 [ASHRAE Fundamentals 2017 ch. 14], or 0.3 K; short of cooling counts like too humid."""
    rows = costs("A", 1_000.0, 500.0, 400.0, **{NOW: {"hours_above_limit": 50.0}, DEVICE: worse})
    assert ranked(rows, {"site_id": "A"})["best_strategy"].to_list() == [best]


def test_what_is_dropped_is_told_with_its_hours_and_its_worth() -> None:
    """By hand: device 500 x 10 - 1 000 = 4 000, air 600 x 10 - 3 000 = 3 000; the device is above the limit 120 h."""
    worse = {"hours_above_limit": 120.0, "dew_point_highest_c": 16.0}
    site = ranked(costs("A", 1_000.0, 500.0, 400.0, **{DEVICE: worse}), {"site_id": "A"}).row(0, named=True)
    assert (site["best_strategy"], site["net_savings"]) == (AIR, 3_000.0)
    words = f"{DEVICE} would save 1,000 USD more but is above the limit 120 h a year, today 0 h"
    assert words in site["notes"]


def test_beside_what_pays_most_stands_the_cheapest_that_holds_the_limit() -> None:
    """An archive at 5,000 h above its limit: the device pays 4 000 and leaves it there; the unit for the outdoor air
    holds it, 10 h short of always, for 500 less than today: 500 x 10 - 3 000 = 2 000."""
    damp = {"hours_above_limit": 5_000.0}
    rows = costs("A", 1_000.0, 500.0, 500.0, **{NOW: damp, DEVICE: damp, AIR: {"hours_above_limit": 10.0}})
    site = ranked(rows, {"site_id": "A"}).row(0, named=True)
    assert (site["best_strategy"], site["net_savings"]) == (DEVICE, 4_000.0)
    assert (site["holding_strategy"], site["holding_hours_above_limit"]) == (AIR, 10.0)
    assert (site["holding_investment"], site["holding_net_savings"], site["holding_price"]) == (
        3_000.0,
        2_000.0,
        2_000.0,
    )
    assert f"holding it with {AIR} (10 h) would bring 2,000 USD less over the study period" in site["notes"]


def test_where_none_holds_the_limit_the_closest_is_named() -> None:
    damp, damper = {"hours_above_limit": 400.0}, {"hours_above_limit": 900.0}
    rows = costs("A", 1_000.0, 500.0, 2_000.0, **{NOW: damper, DEVICE: damper, AIR: damp})
    site = ranked(rows, {"site_id": "A"}).row(0, named=True)
    assert (site["best_strategy"], site["holding_strategy"]) == (DEVICE, AIR)
    assert (site["holding_hours_above_limit"], site["holding_price"]) == (400.0, 17_000.0)


@pytest.mark.parametrize(("hours", "best"), [(4_000.0, DEVICE), (0.0, NONE)])
def test_giving_up_humidity_control_is_best_only_where_nothing_is_lost(hours: float, best: str) -> None:
    """Held at temperature only, a damp site is cheapest and not eligible; a dry one may as well."""
    rows = costs("A", 1_000.0, 500.0, 400.0, **{NONE: {"hours_above_limit": hours, **({} if hours else DRY)}})
    table = PRICES.with_columns(candidate=True)
    assert ranked(rows, {"site_id": "A"}, table=table)["best_strategy"].to_list() == [best]


def test_what_is_no_candidate_is_never_advised() -> None:
    table = PRICES.with_columns(candidate=pl.col("strategy") == AIR)
    assert ranked(costs("A", 1_000.0, 500.0, 400.0), {"site_id": "A"}, table=table)["best_strategy"][0] == AIR


def test_an_unavailable_strategy_is_passed_over_and_the_notes_say_why() -> None:
    gone = {"annual_cost": None, "unavailable": "no outdoor air"}
    site = ranked(costs("A", 1_000.0, 980.0, 0.0, **{AIR: gone}), {"site_id": "A"}).row(0, named=True)
    assert site["best_strategy"] == NOW
    assert site["notes"] == f"{AIR}: no outdoor air"


def test_a_cost_that_is_not_known_is_said_and_not_ranked() -> None:
    rows = costs("A", 1_000.0, 500.0, 0.0, **{AIR: {"annual_cost": None}})
    site = ranked(rows, {"site_id": "A"}).row(0, named=True)
    assert site["best_strategy"] == DEVICE
    assert site["notes"] == f"{AIR}: no price for a fuel it uses"


@pytest.mark.parametrize(
    ("now", "words"),
    [
        ({"annual_cost": None, "unavailable": "no reheat"}, r"current strategy cannot work here \(no reheat\)"),
        ({"annual_cost": None}, "current strategy has no known cost"),
    ],
)
def test_a_site_without_a_reference_is_ranked_with_nothing_saved(now: dict[str, Any], words: str) -> None:
    table = ranked(costs("A", 0.0, 500.0, 400.0, **{NOW: now}), {"site_id": "A"})
    assert table["net_savings"].to_list() == [0.0]
    assert table["notes"].str.contains(words).all()


def test_a_current_strategy_without_results_is_said() -> None:
    site = ranked(costs("A", 1_000.0, 500.0, 400.0), {"site_id": "A", "current_strategy": "overcool_fuel_reheat"}).row(
        0, named=True
    )
    assert (site["best_strategy"], site["net_savings"]) == ("overcool_fuel_reheat", 0.0)
    assert "overcool_fuel_reheat has no results" in site["notes"]


def test_order_is_by_net_savings_then_cost_saved_then_name() -> None:
    """A and B tie in both; C ties in net savings (700 x 10 - 3 000 = 4 000) and saves more a year; D stays."""
    rows = [
        *costs("B", 1_000.0, 500.0, 990.0),
        *costs("A", 1_000.0, 500.0, 990.0),
        *costs("C", 1_000.0, 990.0, 300.0),
        *costs("D", 1_000.0, 1_000.0, 1_000.0),
    ]
    table = ranked(rows, *({"site_id": site} for site in "BADC"))
    assert table["site_id"].to_list() == ["C", "A", "B", "D"]
    assert table["rank"].to_list() == [1, 2, 3, 4]


def test_strategies_that_tie_are_taken_by_saving_then_investment_then_name() -> None:
    """Device and outdoor air unit both bring 4 000; the latter saves more a year."""
    assert ranked(costs("A", 1_000.0, 500.0, 300.0), {"site_id": "A"})["best_strategy"][0] == AIR
    same = PRICES.with_columns(investment_fixed=0.0)
    assert ranked(costs("A", 1_000.0, 500.0, 500.0), {"site_id": "A"}, table=same)["best_strategy"][0] == AIR


def test_a_site_without_humidity_control_is_told_what_holding_the_limit_would_cost() -> None:
    """By hand: 500 a year against 100 today, and 20 of upkeep."""
    table = PRICES.with_columns(upkeep_per_year=pl.when(strategy=DEVICE).then(20.0))
    rows = costs("A", 1_000.0, 500.0, 700.0)
    site = ranked(rows, {"site_id": "A", "current_strategy": NONE}, table=table).row(0, named=True)
    assert (site["best_strategy"], site["net_savings"]) == (NONE, 0.0)
    assert site["notes"] == (
        "humidity is not controlled today and is above the limit 4,000 h a year; "
        f"holding it with {DEVICE} would cost 420 USD a year more than today, before investment"
    )


def test_what_drier_air_would_spare_the_cases_is_told_where_nothing_dries_today() -> None:
    device = {DEVICE: {"refrigeration_saved_kwh": 2_441.3}}
    site = ranked(costs("A", 1_000.0, 500.0, 600.0, **device), {"site_id": "A", "current_strategy": NONE})
    assert "drier air would spare its display cases 2,441 kWh a year besides" in site["notes"].item()


def test_what_to_know_of_the_equipment_is_told_where_it_is_advised() -> None:
    told = {DEVICE: {"note": "needs a unit that defrosts"}}
    site = ranked(costs("A", 1_000.0, 500.0, 900.0, **told), {"site_id": "A"})
    assert "standalone_dehumidifier needs a unit that defrosts" in site["notes"].item()
    stays = ranked(costs("A", 100.0, 500.0, 900.0, **told), {"site_id": "A"})
    assert "defrosts" not in (stays["notes"].item() or "")


WHEEL, BOTH = "ventilation_heat_recovery", "outdoor_air_dehumidifier_with_recovery"
WITH_WHEELS = prices(
    *({"strategy": name, "investment_fixed": cost} for name, cost in ((NOW, 0.0), (AIR, 3_000.0), (BOTH, 3_500.0))),
    {"strategy": WHEEL, "investment_fixed": 1_000.0},
)


def with_wheels(now: float, plain: float | None, both: float, wheel: float, **more: dict[str, Any]) -> dict[str, Any]:
    amounts = {NOW: now, AIR: plain, BOTH: both, WHEEL: wheel}
    rows = [{"site_id": "A", "strategy": s, "annual_cost": cost} for s, cost in amounts.items()]
    rows = [row | more.get(row["strategy"], {}) for row in rows]
    return ranked(rows, {"site_id": "A"}, table=WITH_WHEELS).row(0, named=True)


def split(site: dict[str, Any]) -> tuple[str, float, float]:
    return site["best_strategy"], site["drying_saved"], site["recovery_saved"]


def test_the_saving_of_a_unit_with_recovery_is_split_by_the_plain_unit() -> None:
    """By hand: of 800 a year the plain unit would save 500, so 300 are recovery. Where it would cost 100 a year more than today
    and 3,000 at once, 4,000 are lost in ten years."""
    paying = with_wheels(1_000.0, 500.0, 200.0, 950.0)
    assert split(paying) == (BOTH, 500.0, 300.0)
    assert "heat recovery" not in (paying["notes"] or "")
    losing = with_wheels(1_000.0, 1_100.0, 200.0, 950.0)
    assert split(losing) == (BOTH, -100.0, 900.0)
    assert f"{AIR} alone would lose 4,000 USD over the study period: what pays is heat recovery" in losing["notes"]
    unknown = with_wheels(1_000.0, 1.0, 200.0, 950.0, **{AIR: {"unavailable": "no room", "annual_cost": None}})
    assert split(unknown) == (BOTH, 0.0, 800.0)
    assert "how much of the saving is drying is not known" in unknown["notes"]


def test_of_a_wheel_alone_what_reheat_and_devices_take_less_is_drying() -> None:
    """Today 10,000 kWh for 1,000, so 0.10 a kWh, 3,000 of them reheat; with the wheel 1,000: 200 of the 400 saved are drying."""
    today = {"electricity_kwh": 10_000.0, "reheat_electricity_kwh": 3_000.0}
    wheel = {"electricity_kwh": 6_000.0, "reheat_electricity_kwh": 1_000.0}
    site = with_wheels(1_000.0, 990.0, 900.0, 600.0, **{NOW: today, WHEEL: wheel})
    assert split(site) == (WHEEL, 200.0, 200.0)
    assert "its saving is heat recovery: humidity is controlled as today" in site["notes"]


def test_any_other_change_saves_by_drying_alone() -> None:
    site = ranked(costs("A", 1_000.0, 500.0, 400.0), {"site_id": "A"}).row(0, named=True)
    assert split(site) == (DEVICE, 500.0, 0.0)
    stays = ranked(costs("A", 100.0, 500.0, 900.0), {"site_id": "A"}).row(0, named=True)
    assert split(stays) == (NOW, 0.0, 0.0)


def test_where_no_candidate_holds_the_limit_the_closest_is_named() -> None:
    rows = costs(
        "A",
        1_000.0,
        500.0,
        700.0,
        **{s: {"hours_above_limit": h} for s, h in ((NOW, 300.0), (DEVICE, 900.0), (AIR, 250.0))},
    )
    site = ranked(rows, {"site_id": "A", "current_strategy": NONE}).row(0, named=True)
    assert f"coming closest (250 h) with {AIR} would cost 600 USD a year more" in site["notes"]


def test_a_dry_site_without_control_is_told_so() -> None:
    rows = costs("A", 1_000.0, 500.0, 700.0, **{NONE: {"hours_above_limit": 12.0}})
    site = ranked(rows, {"site_id": "A", "current_strategy": NONE}).row(0, named=True)
    assert site["notes"] == "humidity is not controlled today and is above the limit only 12 h a year"


def test_many_hours_above_the_limit_and_the_weather_are_noted() -> None:
    rows = costs("A", 1_000.0, 500.0, 990.0, **{s: {"hours_above_limit": 1_234.0} for s in (NOW, DEVICE)})
    site = ranked(rows, {"site_id": "A", "climate_note": "station 95 km away"}).row(0, named=True)
    assert site["notes"] == (
        f"above the humidity limit 1,234 h a year with {DEVICE}; "
        f"holding it with {AIR} (0 h) would bring 6,900 USD less over the study period; station 95 km away"
    )


money = st.integers(0, 5_000).map(float)


@settings(max_examples=20, deadline=None)
@given(st.lists(st.tuples(money, money, money, st.sampled_from([NOW, DEVICE, AIR, NONE])), min_size=1, max_size=20))
def test_every_site_is_in_the_ranking_once_and_groups_and_totals_add_up(
    drawn: list[tuple[float, float, float, str]],
) -> None:
    """Against sums over the ranking and the definition of the best: no eligible strategy of a site saves more."""
    rows = [row for number, (*amounts, _) in enumerate(drawn) for row in costs(f"S{number:02}", *amounts)]
    where = sites(
        *(
            {"site_id": f"S{n:02}", "current_strategy": now, "climate_zone": "2A" if n % 3 else None}
            for n, (*_, now) in enumerate(drawn)
        )
    )
    results = life_cycle(totals(*rows), where, PRICES, 0.0, 10)
    table = contracts.conform(rank.ranking(results, where, "USD"), "ranking")
    assert sorted(table["site_id"]) == where["site_id"].to_list()
    assert table["rank"].to_list() == list(range(1, len(drawn) + 1))
    assert table["net_savings"].is_sorted(descending=True)
    assert table["net_savings"].min() >= 0.0  # type: ignore[operator]

    hours = results.filter("is_current").select("site_id", now="hours_above_limit")
    held = results.filter("candidate").join(hours, on="site_id").filter(pl.col("hours_above_limit") <= pl.col("now"))
    most = held.group_by("site_id").agg(most=pl.col("net_savings").max().clip(0.0))
    compared = table.join(most, on="site_id", how="left").with_columns(pl.col("most").fill_null(0.0))
    assert compared["net_savings"].equals(compared["most"].alias("net_savings"))

    grouped, whole = contracts.conform(rank.groups(table), "groups"), rank.totals(table)
    assert grouped["sites"].sum() == whole["sites"].item() == len(drawn)
    for column in ("cost_saved", "drying_saved", "recovery_saved", "net_savings", "investment"):
        assert grouped[column].sum() == pytest.approx(table[column].sum())
        assert whole[column].item() == pytest.approx(table[column].sum())


def test_the_totals_of_no_sites_are_zero() -> None:
    empty = ranked(costs("A", 1.0, 1.0, 1.0), {"site_id": "A"}).clear()
    assert rank.totals(empty).row(0) == (0,) * 19


def test_a_query_sees_nothing_but_its_tables() -> None:
    """A frame of this function's own must not be found by name."""
    sites = pl.DataFrame({"site_id": ["A"]})
    assert sites.height == 1
    with pytest.raises(Exception, match="ranking does not exist"):
        sql.query("totals", {}, placeholder="placeholder")


def test_a_saving_beyond_the_whole_bill_is_set_aside_and_a_large_one_gets_a_word() -> None:
    """By hand: 5,000 kWh saved of a bill of 4,000 are 125 %; of 20,000 they are 25 %; of 50,000, 10 %, not a word."""
    rows = costs(
        "A", 1_000.0, 500.0, 990.0, **{NOW: {"electricity_kwh": 9_000.0}, DEVICE: {"electricity_kwh": 4_000.0}}
    )
    rows = [row | ({"electricity_kwh": 9_000.0} if row["strategy"] in (AIR, NONE) else {}) for row in rows]
    for bill, best, words in (
        (4_000.0, NOW, "unreconciled: standalone_dehumidifier would save more electricity (125 %) than the whole bill"),
        (20_000.0, DEVICE, "saves 25 % of the electricity bill"),
        (50_000.0, DEVICE, ""),
        (None, DEVICE, ""),
    ):
        table = ranked(rows, {"site_id": "A", "annual_electricity_kwh": bill})
        site = table.row(0, named=True)
        assert (site["best_strategy"], site["unreconciled"]) == (best, best == NOW)
        assert words in (site["notes"] or "")
        assert ("bill" in (site["notes"] or "")) == bool(words)
        assert rank.totals(table)["sites_unreconciled"].item() == int(best == NOW)
