"""Whatever is typed into a table: no traceback, and every row is either good or rejected, with a reason."""

import json
import tempfile
from pathlib import Path

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from screener.contracts import load
from screener.contracts.rejects import KINDS
from screener.errors import FAULT_SCHEMA, ContractError
from screener.tables import read_portfolio
from tests.tables.portfolios import SITE, sites, table, write

COLUMNS = [name for field in load("sites").fields for name in field.names]
TEXT = st.text(st.characters(exclude_categories=["Cs", "Cc"]), max_size=6)
CELLS = st.one_of(
    st.sampled_from(
        ["", " ", "abc", "-5", "0", "1e9", "1,234.5", "nan", "inf", "A", "B", "office", "T1", "4A", "true"]
    ),
    st.floats(allow_nan=False).map(str),
    st.integers(-10, 120).map(str),
    TEXT,
)
MUTATIONS = st.dictionaries(st.sampled_from(COLUMNS), CELLS, max_size=6)


@settings(max_examples=80, deadline=None)
@given(st.lists(MUTATIONS, min_size=1, max_size=8))
def test_rows_in_are_good_or_rejected(mutations: list[dict[str, str]]) -> None:
    rows = [SITE | {"site_id": "the anchor"}]
    rows += [SITE | {"site_id": f"S{i}"} | mutation for i, mutation in enumerate(mutations)]
    with tempfile.TemporaryDirectory() as folder:
        portfolio = read_portfolio(write(Path(folder), sites=table(*rows)))
    good, bad = portfolio.sites["row"].to_list(), portfolio.rejects["row"].to_list()
    assert sorted(good + bad) == list(range(2, len(rows) + 2))
    aside = portfolio.rejects.filter(pl.col("rules").is_in(list(KINDS)))["row"]  # the same row again
    assert set(portfolio.faults["row"]) == set(bad) - set(aside)
    assert portfolio.sites_given["site_id"].to_list() == portfolio.sites["site_id"].to_list()
    assert all(len(reason) > 10 for reason in portfolio.rejects["reasons"])
    for row, record in zip(bad, portfolio.rejects["record"], strict=True):
        typed = {name: text.strip() or None for name, text in rows[row - 2].items()}
        kept = json.loads(record)
        assert {name: kept[name] for name in typed} == typed


HEADER = table(SITE).encode().split(b"\n")[0] + b"\n"


@settings(max_examples=80, deadline=None)
@given(st.one_of(st.binary(max_size=60), st.text('ab,"\n\r; \t1', max_size=60).map(str.encode)), st.booleans())
def test_any_bytes_in_a_file_are_told_as_faults(content: bytes, after_a_header: bool) -> None:
    with tempfile.TemporaryDirectory() as folder, pytest.raises(ContractError) as caught:
        read_portfolio(write(Path(folder), sites=HEADER + content if after_a_header else content))
    assert "sites" in str(caught.value)


def test_sites_at_fault_in_a_later_stage_join_the_rejects(tmp_path: Path) -> None:
    portfolio = read_portfolio(write(tmp_path, sites=sites({"postal_code": "00000"}, {}, {"floor_area_m2": "big"})))
    later = {"table": "sites", "row": 3, "site_id": "B", "column": "postal_code", "rule": "no place", "value": "00000"}
    of_site = {"message": "no such postal code; correct it"}
    of_file = {"table": "weather/roof.csv", "row": 3, "site_id": None, "message": "hour 25; hours run from 0 to 23"}
    faults = pl.DataFrame(
        [later | of_site, later | {"column": "climate_zone"} | of_site, later | of_file], FAULT_SCHEMA
    )
    left = portfolio.without(faults)
    assert left.sites["site_id"].to_list() == left.sites_given["site_id"].to_list() == ["A", "C"]
    assert left.faults.height == portfolio.faults.height + 3 == 4
    assert left.rejects["site_id"].to_list() == ["D", "B"]
    rejected = left.rejects.row(1, named=True)
    assert (rejected["row"], rejected["columns"]) == (3, "postal_code, climate_zone")
    assert rejected["reasons"] == " | ".join([of_site["message"]] * 2)
    assert json.loads(rejected["record"])["postal_code"] == "00000"
    assert portfolio.without(faults.clear()).sites.equals(portfolio.sites)


def test_files_are_those_of_the_good_sites(tmp_path: Path) -> None:
    folder = write(tmp_path, sites=sites({"weather_file": "roof.csv"}, {"weather_file": "gone.csv"}), unused="a\n1\n")
    (folder / "portfolio.toml").write_text("study_years = 20\n")
    (folder / "weather").mkdir()
    for name in ("roof.csv", "other.csv"):
        (folder / "weather" / name).write_text("hour\n")
    files = [file.relative_to(folder).as_posix() for file in read_portfolio(folder).files]
    assert files == ["portfolio.toml", "sites.csv", "tariffs.csv", "weather/roof.csv"]
