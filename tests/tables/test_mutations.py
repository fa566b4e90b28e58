"""2 100 tables spoilt at random, seven to a portfolio: never a traceback, and every row is either good or rejected."""

import random
import tempfile
from pathlib import Path

import polars as pl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from screener import pipeline
from screener.assumptions import weights
from screener.errors import ContractError, describe
from screener.tables import Portfolio, is_default
from tests.tables import mutations
from tests.tables.mutations import GOOD, Spoilt
from tests.tables.portfolios import SITE, TARIFFS, table
from tests.tables.portfolios import write as write_texts

PORTFOLIOS = 300  # of seven tables each


@settings(max_examples=PORTFOLIOS, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.fixed_dictionaries({name: mutations.tables(name) for name in GOOD}))
def test_rows_in_are_good_or_rejected_whatever_is_written(spoilt: dict[str, Spoilt]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        faults, checked = _checked(mutations.write(Path(folder), spoilt))
    assert describe(faults).replace("\n", "").isprintable()
    if checked is None:  # a table at fault as a whole, or no good site
        assert not faults.is_empty()
        return
    portfolio, sites = checked
    own = portfolio.tariffs.filter(~is_default(pl.col("tariff_id")))  # others stand in for sites without one
    for name, good in (("sites", sites), ("tariffs", own), ("equipment", portfolio.equipment)):
        rejected = portfolio.rejects.filter(pl.col("table") == name)
        assert good.height + rejected["row"].n_unique() == spoilt[name].rows, name
    assert not set(sites["row"]) & set(portfolio.rejects.filter(pl.col("table") == "sites")["row"])
    assert sites["assumed_share"].is_between(0, 1).all()
    assert weights.blanks(sites, 5)["share"].is_between(0, 1).all()


def _checked(folder: Path) -> tuple[pl.DataFrame, tuple[Portfolio, pl.DataFrame] | None]:
    """The faults of a portfolio and, unless they end it, what is left of it."""
    try:
        portfolio, sites = pipeline.check(folder)
    except ContractError as error:
        return error.faults, None
    return portfolio.faults, (portfolio, sites)


COLUMNS = [*SITE, "latitude", "longitude", "cooling_cop", "cooling_setpoint_c", "outdoor_air_l_s", "opens_hour"]


@pytest.mark.parametrize("seed", range(3))
def test_rows_in_are_ranked_or_rejected(seed: int, tmp_path: Path) -> None:
    draw = random.Random(seed)
    texts = [
        "",
        *mutations.NUMBERS,
        *mutations.WORDS,
        *mutations.HOSTILE,
        *(f"{10 ** draw.uniform(-2, 5):g}" for _ in range(99)),
    ]
    rows = [SITE | {"site_id": "the anchor"}]
    for number in range(200):
        changed = draw.sample(COLUMNS, draw.choice([0, 1, 1, 2]))
        rows.append({**SITE, "site_id": f"S{number}", **{column: draw.choice(texts) for column in changed}})
    pipeline.run(write_texts(tmp_path / "portfolio", sites=table(*rows), tariffs=TARIFFS), tmp_path / "run")
    ranking = pl.read_parquet(tmp_path / "run" / "ranking.parquet")
    rejects = pl.read_csv(tmp_path / "run" / "rejects.csv", infer_schema=False)
    assert ranking.height > 50
    assert ranking.height + rejects["left_out_row"].n_unique() == len(rows)
    assert ranking["net_savings"].is_finite().all()
