"""What is going on and how long each part of it took: one class for whoever waits and for what `run.json` tells."""

import threading
import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from typing import TypeVar

from screener import text

T = TypeVar("T")
LONG_S = 2.0  # a stage that takes longer says how much longer


class Progress:
    """Tells a function in words what is going on, from several threads too, and keeps `timings` [s] by stage.

    Stages follow one another (`stage`); parts of them may come again and again and overlap (`of`, `each`, `add`).
    """

    def __init__(self, tell: Callable[[str], None] = lambda _: None) -> None:
        self.timings: dict[str, float] = {}
        self._tell, self._lock = tell, threading.Lock()
        self._stage, self._since = "", 0.0
        self._total, self._what, self._before = 0, "", 0
        self._done: dict[int, int] = {}

    def stage(self, name: str) -> None:
        """The stage that begins now."""
        self.stop()
        self._stage, self._since = name, time.perf_counter()
        self._tell(name)

    def stop(self) -> None:
        """The last stage is over."""
        if self._stage:
            self.timings[self._stage] = time.perf_counter() - self._since
        self._stage = ""

    def count(self, total: int, what: str, before: int = 0) -> None:
        """The stage goes through so many of something; `before` were done when it began."""
        self._total, self._what, self._before, self._done = total, what, before, {}

    def done(self, number: int, part: int = 0) -> None:
        """So many are done, of a part of the whole that may be under way beside others.

        Tells how far the stage has come, and how long the rest will take when it has gone on for a while.
        """
        with self._lock:
            self._done[part] = number
            new = sum(self._done.values())
            spent = time.perf_counter() - self._since
            so_far, rest = self._before + new, self._total - self._before - new
            left = f", {text.duration(spent / new * rest)} left" if new and rest > 0 and spent > LONG_S else ""
            self._tell(f"{self._stage}: {so_far:,} of {self._total:,} {self._what}{left}")

    @contextmanager
    def of(self, part: str) -> Iterator[None]:
        """Count the time until the block ends for a part of the work."""
        began = time.perf_counter()
        yield
        self.add({part: time.perf_counter() - began})

    def each(self, part: str, items: Iterable[T]) -> Iterator[T]:
        """The items, the time counted that each takes to come."""
        waiting = iter(items)
        while True:
            with self.of(part):
                try:
                    item = next(waiting)
                except StopIteration:
                    return
            yield item

    def add(self, timings: Mapping[str, float], prefix: str = "") -> None:
        """Add what parts took, here or elsewhere."""
        with self._lock:
            for part, seconds in timings.items():
                self.timings[f"{prefix}{part}"] = self.timings.get(f"{prefix}{part}", 0.0) + seconds
