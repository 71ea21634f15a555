"""Several threads on one clip: decoder, pose model, scaler and coder all compute outside Python's own lock."""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Executor, Future
from typing import TypeVar

T = TypeVar("T")
R = TypeVar("R")

MOST_WORKERS = 8
"""Memory: a thread that runs the pose model holds about 150 MB."""

AHEAD = 3
"""Items handed out per thread before the oldest is waited for: enough that none is idle, few enough for 4K pictures."""


def worker_count() -> int:
    """How many threads one clip may use: $PENULT_WORKERS, else every core this process may run on."""
    said = os.environ.get("PENULT_WORKERS", "")
    if said.isdigit() and int(said) > 0:
        return min(int(said), MOST_WORKERS)
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    return min(cores, MOST_WORKERS)


def in_order(items: Iterable[T], work: Callable[[T], R], threads: Executor, workers: int) -> Iterator[R]:
    """Yield `work(item)` in the order of the items, computed by threads a few items ahead.

    A bounded number of items and results is alive at any time, whatever the length of the clip.
    """
    under_way: deque[Future[R]] = deque()
    try:
        for item in items:
            if len(under_way) >= AHEAD * workers:
                yield under_way.popleft().result()
            under_way.append(threads.submit(work, item))
        while under_way:
            yield under_way.popleft().result()
    finally:
        for future in under_way:
            future.cancel()
