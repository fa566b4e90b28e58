"""Spreads of figures: what ships, what the owner lays over it, and bad ones refused in words."""

from pathlib import Path

import polars as pl
import pytest

from screener import contracts
from screener.tables import read_portfolio, spreads
from tests.tables.portfolios import sites, write

PRICES = {"electricity_price", "fuel_price", "electricity_escalation", "fuel_escalation", "investment", "upkeep"}
OF_NO_SITE = PRICES | {"dehumidification_energy", "year_latent_load", "study_latent_load"}
HEAD = "figure,building_type,form,median,width,median_given,width_given,low,high,otherwise,shared,source\n"
BAD = {
    "cooling_cop,,,,-0.1,,,,,,,": ("width", "too small", "width takes"),
    "cooling_cup,,,,0.1,,,,,,,": ("figure", "unknown value", "not known; use one of"),
    "cooling_cop,,,,,,,1.2,0.6,,,": ("low", "low above high", "above high, which is 0.6; exchange the two"),
    "cooling_cop,,,2,,,,,,,,": ("median", "median out of bounds", r"not between low 0.5 and high 1.2; widen them"),
    "cooling_cop,,,,,,,-0.5,,,,": ("low", "factor not above zero", "a factor is above zero"),
    "cooling_cop,,choice,,,,,,,,,": ("form", "form of another figure", "cooling_cop is a factor; leave form empty"),
    "supply_fan,,,,1.5,,,,,,,": ("width", "chance above one", "the width of a choice is a chance, from 0 to 1"),
    "supply_fan,,,,,,,,,sometimes,,": ("otherwise", "not choices", "use some of continuous, cycling"),
    "current_strategy,,,,,,,,,temperature_only=x,,": (
        "otherwise",
        "not choices",
        "not words that current_strategy can",
    ),
    "cooling_cop,castle,,,0.1,,,,,,,": ("building_type", "unknown building_type", "not among the building_types"),
}


def test_every_figure_of_the_contract_ships_with_a_width_and_a_source() -> None:
    shipped, figures = spreads.shipped(), contracts.load("spreads").field("figure").enum
    assert sorted(shipped["figure"].unique()) == sorted(figures)
    assert shipped.filter(pl.col("source").str.len_chars() < 10).is_empty()
    assert shipped.filter(pl.col("width").is_null() | pl.col("width_given").is_null()).is_empty()
    known = {*contracts.load("sites").columns, *contracts.load("building_types").columns}
    assert {*figures} - known == OF_NO_SITE
    words = shipped.filter(
        pl.col("source").str.starts_with("judgement") | pl.col("source").str.contains(r"\d{4}|%|FSEC")
    )
    assert words.height == shipped.height, "each names where it is from, or says judgement"


def test_what_is_given_is_never_less_sure() -> None:
    assert spreads.shipped().filter(pl.col("width_given") > pl.col("width")).is_empty()


def test_the_owners_rows_go_first(tmp_path: Path) -> None:
    """One for all types replaces every shipped row of the figure; empty cells stay as shipped."""
    own = HEAD + "cooling_cop,,,,0.3,,,,,,,\nprocess_moisture_kg_h,Restaurant,,1.2,0.9,,,,,,,two audits\n"
    portfolio = read_portfolio(write(tmp_path, sites=sites({}), spreads=own))
    cop = portfolio.spreads.filter(figure="cooling_cop").row(0, named=True)
    assert (cop["width"], cop["median"], cop["width_given"]) == (0.3, 0.88, 0.08)
    assert cop["source"] == spreads.OWN_SOURCE
    water = portfolio.spreads.filter(figure="process_moisture_kg_h").to_dicts()
    assert [(row["building_type"], row["median"], row["width"]) for row in water] == [
        ("restaurant", 1.2, 0.9),
        (None, 1.0, 0.5),
    ]
    assert portfolio.faults.is_empty()


@pytest.mark.parametrize("row", BAD)
def test_bad_spreads_are_refused_in_words(tmp_path: Path, row: str) -> None:
    portfolio = read_portfolio(write(tmp_path, sites=sites({}), spreads=HEAD + row + "\n"))
    column, rule, message = BAD[row]
    found = portfolio.faults.filter(table="spreads").to_dicts()
    assert [(fault["column"], fault["rule"]) for fault in found] == [(column, rule)]
    assert message in found[0]["message"]
    assert portfolio.spreads.equals(spreads.resolved())


def test_two_rows_of_a_figure(tmp_path: Path) -> None:
    twice = HEAD + "cooling_cop,,,,0.3,,,,,,,\n" * 2
    portfolio = read_portfolio(write(tmp_path, sites=sites({}), spreads=twice))
    assert (
        portfolio.faults["message"].to_list()
        == ["rows 2, 3 give the same figure of the same type; keep one of them"] * 2
    )


def test_choices_share_the_chance() -> None:
    for text in spreads.shipped()["otherwise"].drop_nulls():
        assert sum(spreads.choices(text).values()) == pytest.approx(1.0)
