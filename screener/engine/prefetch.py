"""Batches on this machine, two abreast: what surrounds the engine takes one core, so another batch has the others."""

import threading
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from itertools import islice
from typing import TypeVar

T = TypeVar("T")
ABREAST = 2


class Progress:
    """How many sites are worked out, of batches that finish in their order and tell of themselves from several threads."""

    def __init__(self, tell: Callable[[int], None]) -> None:
        self._tell, self._lock = tell, threading.Lock()
        self._done: dict[int, int] = {}

    def of(self, batch: int) -> Callable[[int], None]:
        """What the batch of this number is to call with how many of its sites are done."""

        def done(sites: int) -> None:
            with self._lock:
                self._done[batch] = sites
                self._tell(sum(self._done.values()))

        return done


def in_order(work: Callable[[int], T], numbers: Sequence[int], alone: int = 1) -> Iterator[T]:
    """What `work` makes of each number, in order, at most ABREAST of them under way and as many waiting to be taken.

    The first, or so many as `alone` says, are worked out by themselves: what all share is made then, and once.
    """
    yield from map(work, numbers[:alone])
    rest = iter(numbers[alone:])
    with ThreadPoolExecutor(ABREAST) as pool:
        under_way: deque[Future[T]] = deque(pool.submit(work, number) for number in islice(rest, ABREAST))
        try:
            while under_way:
                done = under_way.popleft().result()
                under_way.extend(pool.submit(work, number) for number in islice(rest, 1))
                yield done
        finally:
            pool.shutdown(cancel_futures=True)
