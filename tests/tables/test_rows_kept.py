"""Whatever is typed into a table: no traceback, and every row is either good or rejected, with a reason."""

import json
import tempfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from screener.contracts import load
from screener.errors import ContractError
from screener.tables import read_portfolio
from tests.tables.portfolios import SITE, table, write

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


@settings(max_examples=150, deadline=None)
@given(st.lists(MUTATIONS, min_size=1, max_size=8))
def test_rows_in_are_good_or_rejected(mutations: list[dict[str, str]]) -> None:
    rows = [SITE | {"site_id": "the anchor"}]
    rows += [SITE | {"site_id": f"S{i}"} | mutation for i, mutation in enumerate(mutations)]
    with tempfile.TemporaryDirectory() as folder:
        portfolio = read_portfolio(write(Path(folder), sites=table(*rows)))
    good, bad = portfolio.sites["row"].to_list(), portfolio.rejects["row"].to_list()
    assert sorted(good + bad) == list(range(2, len(rows) + 2))
    assert set(portfolio.faults["row"]) == set(bad)
    assert portfolio.sites_given["site_id"].to_list() == portfolio.sites["site_id"].to_list()
    assert all(len(reason) > 10 for reason in portfolio.rejects["reasons"])
    for row, record in zip(bad, portfolio.rejects["record"], strict=True):
        typed = {name: text.strip() or None for name, text in rows[row - 2].items()}
        kept = json.loads(record)
        assert {name: kept[name] for name in typed} == typed


HEADER = table(SITE).encode().split(b"\n")[0] + b"\n"


@settings(max_examples=150, deadline=None)
@given(st.one_of(st.binary(max_size=60), st.text('ab,"\n\r; \t1', max_size=60).map(str.encode)), st.booleans())
def test_any_bytes_in_a_file_are_told_as_faults(content: bytes, after_a_header: bool) -> None:
    with tempfile.TemporaryDirectory() as folder, pytest.raises(ContractError) as caught:
        read_portfolio(write(Path(folder), sites=HEADER + content if after_a_header else content))
    assert "sites" in str(caught.value)
