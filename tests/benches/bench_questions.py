"""Questions to a large run: the `rank` and `choose` commands as processes of their own, and the economics before them.

`SITES=10000 pytest -m bench -s tests/benches/bench_questions.py`. Speed and gaps are printed, never asserted.
"""

import json
import os
import resource
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np
import polars as pl
import pytest

from screener import contracts, outputs
from screener.economics import Terms, economics, investments, with_cases
from screener.ranking import rank
from screener.strategies import REGISTRY
from screener.tables import shipped
from tests.money_cases import NO_OFFERS, TOTALS, equipment, ledger, sites

SITES = int(os.environ.get("SITES", "10000"))
REPEATS = 5


def results() -> tuple[pl.DataFrame, pl.DataFrame, float]:
    """Sites of many sizes with every strategy, costs drawn by lot; the strategy results, and how long these took [s]."""
    draw = np.random.default_rng(6)
    area = draw.uniform(200, 8_000, SITES)
    where = sites({"site_id": ""}).drop(
        "site_id", "floor_area_m2", "cooling_capacity_kw", "outdoor_air_l_s", "climate_zone"
    )
    where = pl.DataFrame({"site_id": [f"S{i:06}" for i in range(SITES)], "floor_area_m2": area}).join(
        where, how="cross"
    )
    where = where.with_columns(
        cooling_capacity_kw=pl.col("floor_area_m2") * 0.12,
        outdoor_air_l_s=pl.col("floor_area_m2") * 0.5,
        climate_zone=pl.Series(draw.choice(["1A", "2A", "3A", "4A", "5A"], SITES)),
    )
    rows = where.select("site_id", "floor_area_m2").join(pl.DataFrame({"strategy": list(REGISTRY)}), how="cross")
    cost = rows["floor_area_m2"].to_numpy() * draw.gamma(4.0, 5.0, rows.height)
    rows = rows.drop("floor_area_m2").with_columns(
        unavailable=pl.lit(None, pl.String), **{n: pl.lit(v) for n, v in TOTALS.items()}
    )
    rows = rows.with_columns(
        energy_cost=pl.Series(cost), annual_cost=pl.Series(cost), device_capacity_l_day=pl.Series(cost / 40)
    )
    began = time.perf_counter()
    invested = investments(rows, where, shipped.strategies(), equipment(), NO_OFFERS)
    worked = economics(with_cases(invested, False), Terms(0.03, 15, electricity_escalation=0.01))
    return worked, where, time.perf_counter() - began


def write(folder: Path, worked: pl.DataFrame, where: pl.DataFrame) -> None:
    ranking = rank.ranking(worked, where, "USD")
    empty = {name: pl.DataFrame(schema=contracts.load(name).polars_schema()) for name in ("rejects",)}
    inputs = {o.table: pl.DataFrame(schema=contracts.load(o.contract).polars_schema()) for o in outputs.INPUTS}
    tables = {
        "ranking": ranking,
        "strategies": worked,
        "ledger": ledger(REGISTRY, *()),
        "groups": rank.groups(ranking),
        "sites_used": where,
        **empty,
    }
    settings = {"currency": "USD", "discount_rate": 0.03, "study_years": 15, "rates": "real"}
    outputs.write_run(folder, tables, outputs.provenance([], settings, {}), inputs=inputs)


def asked(*arguments: str) -> tuple[str, Any]:
    """How long the fastest of several processes took, in words, and what it printed."""
    command = [sys.executable, "-m", "screener", *arguments]
    took = []
    for _ in range(REPEATS):
        began, used = time.perf_counter(), processor_s()
        done = subprocess.run(command, check=True, capture_output=True, text=True)
        took.append((time.perf_counter() - began, processor_s() - used))
    wall, processor = (min(each) for each in zip(*took, strict=True))
    words = f"{' '.join(part for part in arguments if '/' not in part)}: {wall:.2f} s (processor {processor:.2f} s)"
    return words, json.loads(done.stdout) if "--json" in arguments else done.stdout


def processor_s() -> float:
    """Processor time of the processes that ended so far [s]; on a busy machine it says more than the clock."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


@pytest.mark.bench
def test_questions_to_a_large_run(tmp_path: Path) -> None:
    worked, where, seconds = results()
    print(f"\n{SITES} sites, {len(REGISTRY)} strategies: economics {seconds:.2f} s")
    run = str(tmp_path / "run")
    write(tmp_path / "run", worked, where)
    print(f"  {asked('--version')[0]}")
    for arguments in (
        ["--by", "savings_to_investment", "--top", "20"],
        ["--by", "cost_saved", "--where", "climate_zone=2A", "--where", "floor_area_m2>1000", "--top", "20"],
        ["--group-by", "climate_zone", "--group-by", "best_strategy"],
    ):
        print(f"  {asked('rank', run, *arguments)[0]}")
    everything = float(worked.filter(pl.col("net_savings") > 0)["investment"].sum()) / len(REGISTRY)
    for share, more in ((0.01, []), (0.1, []), (0.5, []), (0.03, ["--phases", "3"]), (0.01, ["--max-sites", "100"])):
        budget = round(everything * share)
        words, answer = asked("choose", run, "--budget", f"{budget}", *more, "--json", "-q")
        print(f"  {words}; {answer['sites']} sites, gap {answer['gap']} of {answer['net_savings']:,.0f}")
        assert answer["investment"] <= budget * answer["phases"]
