"""What is asked of a finished run: orders, conditions, groups and programs, on runs small enough to answer by eye."""

from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pytest

from screener import outputs
from screener.errors import UsageError
from screener.exact import significant
from screener.ranking import questions, rank, sql
from screener.ranking.holding import Tolerance, marked
from tests.money_cases import ledger, life_cycle, prices, sites, totals

NOW, DEVICE, AIR = "overcool_electric_reheat", "standalone_dehumidifier", "outdoor_air_dehumidifier"
# site: zone, tariff, kind, and yearly cost today, with the device (1 000) and with the outdoor air unit (3 000)
PLACES = {
    "A": ("2A", "gulf", "retail", 1_000.0, 500.0, 250.0),  # 4 000 or 4 500 net over ten years without discount
    "B": ("2A", "gulf", "office", 900.0, 600.0, 800.0),  # 2 000 or nothing
    "C": ("5A", "lakes", "retail", 800.0, 350.0, 300.0),  # 3 500 or 2 000
    "D": (None, "lakes", "school", 700.0, 690.0, 700.0),  # nothing
}
HOSTILE = (
    "' or 1=1 --",
    "2A'; drop table ranking; --",
    '") or true --',
    "$tolerance_h",
    "read_csv('/etc/passwd')",
    "%",
    "2A\x00",
)


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A run folder of four sites with invented names."""
    where = sites(
        *(
            {
                "site_id": site,
                "name": f"{site}'s House",
                "climate_zone": zone,
                "tariff_id": tariff,
                "building_type": kind,
            }
            for site, (zone, tariff, kind, *_) in PLACES.items()
        )
    ).with_columns(floor_area_m2=pl.Series([400.0, 300.0, 200.0, 100.0]))
    rows = [
        {"site_id": site, "strategy": strategy, "annual_cost": cost}
        for site, (*_, now, device, air) in PLACES.items()
        for strategy, cost in ((NOW, now), (DEVICE, device), (AIR, air))
    ]
    table = prices(
        {"strategy": NOW},
        {"strategy": DEVICE, "investment_fixed": 1_000.0, "note": "placeholder, no source"},
        {"strategy": AIR, "investment_fixed": 3_000.0, "note": "quotation"},
    )
    results = life_cycle(totals(*rows), where, table, 0.0, 10)
    ranking = rank.ranking(results, where, "USD")
    tables: dict[str, Any] = {
        "ranking": ranking,
        "strategies": results,
        "ledger": ledger([NOW], *((site, 1, "working", 9, 20.0, 1.5, 0.0, 0.2) for site in PLACES)),
        "groups": rank.groups(ranking),
        "sites_used": where,
        "rejects": pl.DataFrame(schema=schema("rejects")),
    }
    settings = {"currency": "USD", "discount_rate": 0.0, "study_years": 10, "rates": "real"}
    inputs = {output.table: pl.DataFrame(schema=schema(output.contract)) for output in outputs.INPUTS}
    info = outputs.provenance([], settings, {})
    folder = tmp_path_factory.mktemp("runs") / "run"
    outputs.write_run(folder, tables, info, inputs=inputs)
    return folder


def schema(contract: str) -> dict[str, Any]:
    from screener import contracts

    return dict(contracts.load(contract).polars_schema())


def order(run: Path, **asked: Any) -> list[str]:
    return questions.rank(run, **asked).rows["site_id"].to_list()


def test_by_itself_the_order_is_the_rankings(run: Path) -> None:
    """A 4 500 with the outdoor air unit, C 3 500 and B 2 000 with the device, D stays."""
    rows = questions.rank(run).rows
    assert rows["site_id"].to_list() == ["A", "C", "B", "D"]
    assert rows["best_strategy"].to_list() == [AIR, DEVICE, DEVICE, NOW]
    assert rows["position"].to_list() == rows["rank"].to_list() == [1, 2, 3, 4]


def test_running_totals_are_sums_of_the_rows_so_far(run: Path) -> None:
    rows = questions.rank(run, by="investment").rows
    assert rows["site_id"].to_list() == ["A", "B", "C", "D"]  # ties by name
    assert rows["cumulative_investment"].to_list() == [3_000.0, 4_000.0, 5_000.0, 5_000.0]
    assert rows["cumulative_net_savings"].to_list() == [4_500.0, 6_500.0, 10_000.0, 10_000.0]
    assert rows["cumulative_cost_saved"].to_list() == [750.0, 1_050.0, 1_500.0, 1_500.0]


@pytest.mark.parametrize(
    ("asked", "sites"),
    [
        ({"by": "floor_area_m2"}, "ABCD"),  # a column of the sites table, greatest first
        ({"by": "floor_area_m2", "ascending": True}, "DCBA"),
        ({"by": "climate_zone"}, "ABCD"),  # texts from the first up, what has none last
        ({"by": "climate_zone", "ascending": False}, "CABD"),
        ({"by": "simple_payback_years", "ascending": True}, "CBAD"),  # 2.2, 3.3 and 4 years; D never
        ({"where": ["climate_zone=2a"]}, "AB"),
        ({"where": ["climate_zone!=2A"]}, "CD"),  # an unknown zone is not 2A
        ({"where": ["climate_zone="]}, "D"),
        ({"where": ["climate_zone!="]}, "ACB"),
        ({"where": ["net_savings>2000"]}, "AC"),
        ({"where": ["net_savings >= 2000", "tariff_id = gulf"]}, "AB"),
        ({"where": ["name~b's h"]}, "B"),
        ({"where": ["investment<=1e3", "floor_area_m2<300"]}, "CD"),
    ],
)
def test_orders_and_conditions(run: Path, asked: dict[str, Any], sites: str) -> None:
    assert order(run, **asked) == list(sites)


def test_groups_add_up(run: Path) -> None:
    rows = questions.rank(run, group_by=["tariff_id"]).rows
    assert rows.select("tariff_id", "sites", "sites_with_savings", "net_savings").rows() == [
        ("gulf", 2, 2, 6_500.0),
        ("lakes", 2, 1, 3_500.0),
    ]
    assert rows["cumulative_net_savings"].to_list() == [6_500.0, 10_000.0]
    two = questions.rank(run, group_by=["climate_zone", "building_type"], by="sites", where=["net_savings>0"])
    assert two.rows.select("climate_zone", "building_type", "sites").rows() == [
        ("2A", "office", 1),
        ("2A", "retail", 1),
        ("5A", "retail", 1),
    ]


def test_placeholders_are_counted_in_sites_and_in_groups(run: Path) -> None:
    assert questions.rank(run).placeholders == 2
    assert questions.rank(run, group_by=["tariff_id"]).placeholders == 2
    assert questions.rank(run, where=["site_id=A"]).placeholders == 0


@pytest.mark.parametrize("text", HOSTILE)
def test_hostile_values_are_values(run: Path, text: str) -> None:
    """No site has such a name, zone or tariff; nothing is dropped, opened or true for all."""
    for column in ("name", "climate_zone", "tariff_id"):
        assert order(run, where=[f"{column}={text}"]) == []
        assert order(run, where=[f"{column}~{text}"]) == []
    assert order(run) == ["A", "C", "B", "D"]


@pytest.mark.parametrize("text", [*HOSTILE, "net_savings desc; drop table ranking", '"site_id"', "1", ""])
def test_hostile_names_are_no_columns(run: Path, text: str) -> None:
    for asked in ({"by": text}, {"group_by": [text]}, {"where": [f"{text}=1"]}):
        with pytest.raises(UsageError, match=r"no column is called|is no condition"):
            questions.rank(run, **asked)
    with pytest.raises(UsageError, match=r"no column is called|is no condition|is no requirement"):
        questions.choose(run, 1_000.0, require=[f"{text}<=1"])


@pytest.mark.parametrize(
    ("asked", "message"),
    [
        ({"by": "net_saving"}, r'no column is called "net_saving"; did you mean net_savings'),
        ({"by": "rank", "group_by": ["tariff_id"]}, "the columns are tariff_id, sites, sites_with_savings"),
        ({"group_by": ["floor_area_m2"]}, "floor_area_m2: groups are made by texts, not by numbers"),
        ({"where": ["net_savings"]}, '"net_savings" is no condition; write COLUMN=VALUE'),
        ({"where": ["net_savings>lots"]}, '"net_savings>lots": net_savings is a number; write it like 1234.5'),
        ({"where": ["net_savings>inf"]}, "net_savings is a number"),
        ({"where": ["net_savings~4"]}, "net_savings is a number and takes <= >= != = < > with a value"),
        ({"where": ["climate_zone>2A"]}, "climate_zone is a string and takes = != ~ with a value"),
        ({"where": ["name~"]}, "with a value"),
        ({"where": ["zone=2A", "cost_saved>x"]}, '(?s)"zone".*"cost_saved>x"'),  # both at once
    ],
)
def test_questions_that_make_no_sense_are_answered_in_words(run: Path, asked: dict[str, Any], message: str) -> None:
    with pytest.raises(UsageError, match=message):
        questions.rank(run, **asked)


def test_a_query_may_read_its_tables_and_no_other_file(run: Path, tmp_path: Path) -> None:
    other = tmp_path / "other.parquet"
    pl.DataFrame({"a": [1]}).write_parquet(other)
    with (
        sql.database({"ranking": run / "ranking.parquet"}) as connection,
        pytest.raises(Exception, match="Cannot access file"),
    ):
        connection.sql("select * from read_parquet($file)", params={"file": str(other)}).fetchall()


def chosen(run: Path, budget: float, **asked: Any) -> dict[str, str]:
    return dict(questions.choose(run, budget, **asked).program.changes.select("site_id", "strategy").iter_rows())


@pytest.mark.parametrize(
    ("budget", "changes", "net"),
    [
        (0.0, {}, 0.0),
        (999.99, {}, 0.0),
        (1_000.0, {"A": DEVICE}, 4_000.0),
        (2_999.0, {"A": DEVICE, "C": DEVICE}, 7_500.0),
        (3_000.0, {"A": DEVICE, "C": DEVICE, "B": DEVICE}, 9_500.0),
        (4_999.99, {"A": DEVICE, "C": DEVICE, "B": DEVICE}, 9_500.0),
        (5_000.0, {"A": AIR, "C": DEVICE, "B": DEVICE}, 10_000.0),  # the better one at A once there is money for it
    ],
)
def test_the_best_program_for_every_budget(run: Path, budget: float, changes: dict[str, str], net: float) -> None:
    """By hand, from the net savings beside PLACES."""
    program = questions.choose(run, budget)
    assert chosen(run, budget) == changes
    assert program.figures["net_savings"] == net
    assert program.figures["gap"] == 0.0
    assert program.figures["investment"] <= budget


def test_with_money_for_everything_the_program_is_the_ranking(run: Path) -> None:
    ranking = questions.rank(run, where=["net_savings>0"]).rows
    assert (
        chosen(run, 1e9) == chosen(run, 1e13, phases=2) == dict(ranking.select("site_id", "best_strategy").iter_rows())
    )


def test_only_what_holds_the_limit_as_well_as_today_is_chosen(run: Path) -> None:
    """The same rule as the ranking's: a device that lets a site go above its limit is none of the candidates."""
    results = pl.read_parquet(run / "strategies.parquet")
    damp = pl.when(site_id="A", strategy=DEVICE)
    damper = results.with_columns(
        hours_above_limit=damp.then(50.0).otherwise("hours_above_limit"),
        dew_point_highest_c=damp.then(20.0).otherwise("dew_point_highest_c"),
    )
    eligible = rank.eligible(marked(damper, Tolerance()))
    assert ("A", DEVICE) not in eligible.select("site_id", "strategy").rows()
    assert eligible.select("site_id", "strategy").rows() == [("A", AIR), ("B", DEVICE), ("C", AIR), ("C", DEVICE)]


def test_years_have_their_budgets_and_what_saves_most_comes_first(run: Path) -> None:
    """By hand: 5 000 in all, the program of that; after a year there is 2 500 for two devices, C 450 and B 300 a year."""
    program = questions.choose(run, 2_500.0, phases=2).program
    assert program.changes.select("phase", "site_id").rows() == [(1, "C"), (1, "B"), (2, "A")]
    spent = program.changes.group_by("phase").agg(pl.col("investment").sum()).sort("phase")
    assert (spent["investment"].cum_sum() <= 2_500.0 * spent["phase"]).all()
    assert chosen(run, 2_500.0, phases=2) == chosen(run, 5_000.0)


@pytest.mark.parametrize(
    ("require", "changes"),
    [
        ([], {"A": AIR}),
        (["climate_zone=5A>=1"], {"C": DEVICE}),
        (["strategy=outdoor_air_dehumidifier<=0"], {"A": DEVICE}),
        (["building_type=retail<=0"], {"B": DEVICE}),
    ],
)
def test_one_site_and_requirements(run: Path, require: list[str], changes: dict[str, str]) -> None:
    """By hand, with money for everything and a single site."""
    pytest.importorskip("highspy")
    assert chosen(run, 1e6, max_sites=1, require=require) == changes


def test_so_many_of_each_group(run: Path) -> None:
    """One of the two sites in 2A, the one that saves more."""
    pytest.importorskip("highspy")
    assert chosen(run, 1e6, require=["climate_zone<=1"]) == {"A": AIR, "C": DEVICE}
    assert chosen(run, 1e6, require=["climate_zone<=0"]) == {}


@pytest.mark.parametrize(
    ("asked", "message"),
    [
        ({"budget": -1.0}, "a budget of -1 buys nothing; give an amount of zero or more"),
        ({"budget": float("nan")}, "a budget of nan buys nothing"),
        ({"require": ["climate_zone=2A"]}, '"climate_zone=2A" is no requirement; write it like'),
        ({"require": ["floor_area_m2<=3"]}, "floor_area_m2 is a number and makes no groups"),
        ({"require": ["building_type=school>=1"]}, '"building_type=school>=1": only 0 sites have a change'),
        ({"require": ["climate_zone=2A>=2"], "max_sites": 1}, "no program meets all requirements within the budget"),
    ],
)
def test_programs_that_cannot_be_are_answered_in_words(run: Path, asked: dict[str, Any], message: str) -> None:
    pytest.importorskip("highspy")
    with pytest.raises(UsageError, match=message):
        questions.choose(run, **({"budget": 1e6} | asked))


def test_without_the_solver_library_the_message_says_what_to_install(run: Path, monkeypatch: Any) -> None:
    monkeypatch.setitem(__import__("sys").modules, "highspy", None)
    with pytest.raises(UsageError, match=r'pip install "screener\[solver\]"'):
        questions.choose(run, 1_000.0, max_sites=1)
    assert chosen(run, 1_000.0) == {"A": DEVICE}  # and without requirements none is needed


def test_the_solver_and_the_knapsack_agree(run: Path) -> None:
    """A limit that binds nothing, so that both answer the same question."""
    pytest.importorskip("highspy")
    for budget in np.arange(0.0, 7_000.0, 500.0):
        assert chosen(run, budget, max_sites=99) == chosen(run, budget)


def test_answers_are_rounded_and_repeat(run: Path) -> None:
    first, again = questions.rank(run, by="cost_saved").rows, questions.rank(run, by="cost_saved").rows
    assert first.equals(again)
    assert significant(first).equals(first)


@pytest.mark.parametrize("ask", [questions.rank, lambda folder: questions.choose(folder, 1.0)])
def test_what_is_no_run_is_told_so(ask: Any, tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="holds no run"):
        ask(tmp_path)
