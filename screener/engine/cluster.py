"""Batches on the workers of a Dask cluster that is already there. Needs the optional extra `cluster`."""

import asyncio
from collections.abc import Callable, Iterator
from typing import Any, TypeVar

from screener import outputs
from screener.errors import UsageError

WAIT_S = 30.0
AHEAD = 2  # batches sent ahead for each worker, so that none waits for its next
SAME = "install the same packages there as here"
INSTALL = "--cluster needs the package distributed; install it with: pip install 'screener[cluster]'"


Task = TypeVar("Task")
Shared = TypeVar("Shared")
Made = TypeVar("Made")


def batches(
    address: str,
    tasks: Iterator[tuple[int, Task]],
    shared: Callable[[], Shared],
    function: Callable[[Task, Shared], Made],
) -> Iterator[tuple[int, Made]]:
    """Each numbered task with what the `function` made of it and of what is `shared`, on a worker, as they come.

    What is shared is made once, on a worker, and again when the worker that held it is lost.

    The batches of a worker that is lost are given to another; only when several workers in turn die of the same batch the
    run ends. Never more than `AHEAD` batches a worker are under way. UsageError where there is no cluster, its workers
    run another version, or they keep dying.
    """
    try:
        import distributed
    except ImportError:
        raise UsageError(INSTALL) from None
    try:
        asyncio.run(_require_scheduler(address))
        client = distributed.Client(address, timeout=WAIT_S, set_as_default=False)
    except Exception as error:  # whatever answers there, or what its answer is taken for
        reason = str(error) or f"no answer in {WAIT_S:g} s"
        raise UsageError(f"no Dask cluster at {address} ({reason}); give its scheduler, like tcp://host:8786") from None
    with client:
        _require_workers(client, address)
        there = client.submit(shared, pure=False)
        under_way: dict[Any, int] = {}
        finished = distributed.as_completed(loop=client.loop)
        try:
            for number, task in tasks:
                future = client.submit(function, task, there, pure=False)
                under_way[future] = number
                finished.add(future)
                if len(under_way) >= AHEAD * max(len(client.scheduler_info(n_workers=-1)["workers"]), 1):
                    yield _next(finished, under_way)
            while under_way:
                yield _next(finished, under_way)
        except distributed.KilledWorker as error:
            raise UsageError(f"the workers of {address} keep dying ({error}); give them more memory") from None


async def _require_scheduler(address: str) -> None:
    """TimeoutError, or what the library makes of it, unless a scheduler says who it is: a client waits without end for one
    that only listens."""
    from distributed.comm.core import connect

    async def identity() -> Any:
        comm = await connect(address, timeout=WAIT_S)
        try:
            await comm.write({"op": "identity", "reply": True})
            return await comm.read()
        finally:
            comm.abort()

    told = await asyncio.wait_for(identity(), WAIT_S)
    if not isinstance(told, dict) or told.get("type") != "Scheduler":
        raise ValueError("what answers there is no scheduler")


def _next(finished: Any, under_way: dict[Any, int]) -> tuple[int, Any]:
    future = next(finished)
    return under_way.pop(future), future.result()


def _require_workers(client: Any, address: str) -> None:
    """There are workers, and all would come to the same results as this process."""
    try:
        client.wait_for_workers(1, timeout=WAIT_S)
        found = client.run(outputs.fingerprint)
    except TimeoutError:
        raise UsageError(f"the cluster at {address} has no workers; start some") from None
    except Exception as error:  # whatever a worker without this program, or with another one, says
        raise UsageError(f"workers of {address} cannot run this program ({error}); {SAME}") from None
    own = outputs.fingerprint()
    if other := sorted(worker for worker, software in found.items() if software != own):
        raise UsageError(
            f"{', '.join(other)} at {address} run another version; install the same packages there as here"
        )
