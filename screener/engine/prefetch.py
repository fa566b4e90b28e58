"""Batches on this machine: what surrounds the engine takes one core, so the next is fetched while one is worked out."""

from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from itertools import islice
from typing import TypeVar

T = TypeVar("T")
AT_ONCE = 2


def ahead(made: Callable[[int], T], numbers: Sequence[int], alone: int = 1) -> Iterator[T]:
    """What `made` makes of each number, in order, at most AT_ONCE of them under way and as many waiting to be taken.

    The first, or so many as `alone` says, are worked out by themselves: what all share is made then, and once.
    """
    yield from map(made, numbers[:alone])
    rest = iter(numbers[alone:])
    with ThreadPoolExecutor(AT_ONCE) as pool:
        under_way: deque[Future[T]] = deque(pool.submit(made, number) for number in islice(rest, AT_ONCE))
        try:
            while under_way:
                done = under_way.popleft().result()
                under_way.extend(pool.submit(made, number) for number in islice(rest, 1))
                yield done
        finally:
            pool.shutdown(cancel_futures=True)
