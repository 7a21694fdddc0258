"""Where work runs: the cores of this machine. Knows nothing of plants."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from typing import TypeVar

Item = TypeVar("Item")
Result = TypeVar("Result")


def usable_cores() -> int:
    """Return how many cores this process may use [-]."""
    affinity = getattr(os, "sched_getaffinity", None)
    return len(affinity(0)) if affinity else (os.cpu_count() or 1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Engine:
    """Threads on this machine.

    Results come back in the order of the items, so a sum over them has the same bits on one worker
    and on many, provided that the caller cuts its work independently of `workers`.
    """

    workers: int = field(default_factory=usable_cores)

    def map(
        self,
        function: Callable[[Item], Result],
        items: Iterable[Item],
        finished: Callable[[int], None] | None = None,
    ) -> list[Result]:
        """Apply `function` to every item and return the results in the order of the items.

        `finished` is called in the caller's own thread with the number of items done, in their order.
        """
        work = list(items)
        if self.workers <= 1 or len(work) <= 1:
            return _collected(map(function, work), finished)
        with ThreadPoolExecutor(max_workers=self.workers) as pool:
            try:
                return _collected(pool.map(function, work), finished)
            except BaseException:
                pool.shutdown(wait=False, cancel_futures=True)
                raise


def _collected(results: Iterable[Result], finished: Callable[[int], None] | None) -> list[Result]:
    """Return results as a list, and tell of each as it comes."""
    found: list[Result] = []
    for result in results:
        found.append(result)
        if finished is not None:
            finished(len(found))
    return found
