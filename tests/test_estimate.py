"""The public function on Arrow tables, and its work spread over processes."""

import os
import pickle
import shutil
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from functools import partial
from pathlib import Path

import polars as pl
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from polars.testing import assert_frame_equal

from screener import engine, odds, outputs, pipeline
from screener.engine import cluster, estimate
from screener.errors import ContractError, UsageError
from tests.test_unfinished_runs import contents, portfolio_in

ROOT = Path(__file__).parents[1]
SITES = 10


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> outputs.RunFolder:
    folder = tmp_path_factory.mktemp("estimate")
    portfolio_in(folder / "portfolio", SITES)
    pipeline.run(folder / "portfolio", folder / "run", batch_sites=2)
    return outputs.open_run(folder / "run")


@pytest.fixture(scope="module")
def sites(run: outputs.RunFolder) -> pa.Table:
    return pq.read_table(run.path / "sites_used.parquet")


def frame(results: pa.Table) -> pl.DataFrame:
    return pl.DataFrame(pl.from_arrow(results)).sort("site_id", "strategy")


def test_sites_in_results_out_as_the_run_has_them(run: outputs.RunFolder, sites: pa.Table) -> None:
    """Sites are kept with nine figures, so results agree to nearly as many."""
    found = frame(estimate.estimate(sites, estimate.of_run(run)))
    assert_frame_equal(found, run.table("strategies").collect(), check_dtypes=False, rel_tol=1e-7, abs_tol=0.011)


def test_it_can_be_pickled_and_mapped_over_slices(run: outputs.RunFolder, sites: pa.Table) -> None:
    bound = pickle.loads(pickle.dumps(partial(estimate.estimate, basis=estimate.of_run(run))))
    whole = frame(bound(sites))
    slices = [bound(sites.slice(first, 4)) for first in range(0, SITES, 4)]
    assert len({part.schema for part in slices}) == 1
    assert_frame_equal(frame(pa.concat_tables(slices)), whole, rel_tol=2e-8)
    assert bound(sites.slice(0, 0)).schema == slices[0].schema


def test_without_a_basis_there_is_energy_and_no_money(run: outputs.RunFolder, sites: pa.Table) -> None:
    found, priced = frame(estimate.estimate(sites)), run.table("strategies").collect()
    energy = ["site_id", "strategy", "electricity_kwh", "fuel_kwh", "hours_above_limit"]
    assert_frame_equal(found.select(energy), priced.select(energy), rel_tol=1e-7)
    assert found["annual_cost"].null_count() == found["net_savings"].null_count() == found.height


def test_what_is_missing_is_named(run: outputs.RunFolder, sites: pa.Table) -> None:
    with pytest.raises(UsageError, match=r"lack a column .*floor_area_m2.*sites_used.parquet of a run"):
        estimate.estimate(sites.drop_columns(["floor_area_m2"]))
    elsewhere = pl.DataFrame(pl.from_arrow(sites)).with_columns(weather_id=pl.lit("file:own.csv")).to_arrow()
    with pytest.raises(UsageError, match=r"no hours of file:own.csv; hand them in with the weather of the basis"):
        estimate.estimate(elsewhere)
    other = pl.DataFrame(pl.from_arrow(sites)).with_columns(tariff_id=pl.lit("U")).to_arrow()
    with pytest.raises(ContractError, match="no tariff of this name"):
        estimate.estimate(other, estimate.of_run(run))


@pytest.fixture
def scheduler(tmp_path: Path) -> Iterator[str]:
    """A Dask scheduler and two workers, each a process of its own."""
    pytest.importorskip("distributed", reason="needs the extra cluster")
    commands = Path(sys.executable).parent
    file = tmp_path / "scheduler.json"
    options = ["--scheduler-file", str(file), "--no-dashboard"]
    processes = [subprocess.Popen([commands / "dask", "scheduler", *options, "--port", "0"], **quiet())]
    for name in ("one", "two"):
        command = [commands / "dask", "worker", *options, "--nthreads", "1", "--no-nanny", "--name", name]
        processes.append(subprocess.Popen(command, **quiet()))
    client = connected(file)
    client.wait_for_workers(2, timeout=60)
    yield client.scheduler.address
    client.close()
    for process in processes:
        process.kill()
        process.wait()


def quiet() -> dict:
    here = os.environ | {"PYTHONPATH": str(ROOT)}
    return {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, "env": here}


def connected(file: Path):
    import distributed

    until = time.monotonic() + 60
    while not file.exists() and time.monotonic() < until:
        time.sleep(0.1)
    return distributed.Client(scheduler_file=str(file), set_as_default=False, timeout=60)


def test_a_cluster_comes_to_the_same_bytes_though_a_worker_dies_in_the_middle(
    run: outputs.RunFolder, scheduler: str, tmp_path: Path
) -> None:
    """The worker is killed once the first batch is back, while it has others under way."""
    killed: list[int] = []

    def kill_one(told: str) -> None:
        if "sites" in told and not killed:
            import distributed

            with distributed.Client(scheduler, set_as_default=False) as client:
                killed.append(min(client.run(os.getpid).values()))
            os.kill(killed[0], signal.SIGKILL)

    out = tmp_path / "run"
    portfolio = run.path.parent / "portfolio"
    pipeline.run(portfolio, out, progress=engine.Progress(kill_one), batch_sites=2, cluster=scheduler)
    assert killed
    assert contents(out) == contents(run.path)
    alone = tmp_path / "alone"
    shutil.copytree(out, alone)
    odds.odds(alone, 5)
    odds.odds(out, 5, cluster=scheduler)
    for name in ("odds", "portfolio_odds", "odds_figures", "odds_changes", "odds_draws"):
        assert (out / f"{name}.parquet").read_bytes() == (alone / f"{name}.parquet").read_bytes(), name


def test_an_address_without_a_cluster_is_told_in_words(run: outputs.RunFolder, tmp_path: Path, monkeypatch) -> None:
    pytest.importorskip("distributed", reason="needs the extra cluster")
    monkeypatch.setattr(cluster, "WAIT_S", 0.5)
    with pytest.raises(UsageError, match=r"no Dask cluster at tcp://127.0.0.1:9"):
        pipeline.run(run.path.parent / "portfolio", tmp_path / "run", cluster="tcp://127.0.0.1:9")
    assert list(tmp_path.iterdir()) == []


def test_without_the_package_the_extra_is_named(run: outputs.RunFolder, tmp_path: Path, monkeypatch) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(UsageError, match=r"pip install 'screener\[cluster\]'"):
        pipeline.run(run.path.parent / "portfolio", tmp_path / "run", cluster="tcp://127.0.0.1:9")
