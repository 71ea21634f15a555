"""The slow stage on every core: joints in athlete crops, found by threads while the clip is decoded."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from typing import TypeVar

from penult.adapters.pose import Crop, PoseModel, pose_model
from penult.app.threads import in_order, worker_count
from penult.model.arrays import Floats, Image

T = TypeVar("T")
R = TypeVar("R")


class PosePool:
    """Threads, each with a pose model of its own; what comes out does not depend on how many there are.

    Use as a context manager. A model computes outside Python's lock, so that threads use every core at a third of the
    start-up time and memory of processes.
    """

    def __init__(self, workers: int | None = None) -> None:
        self._workers = worker_count() if workers is None else workers
        self._own = threading.local()
        self._lock = threading.Lock()
        self._open = ExitStack()

    def __enter__(self) -> PosePool:
        self.threads = ThreadPoolExecutor(self._workers, thread_name_prefix="pose")
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the models and their memory; once and for all."""
        self.threads.shutdown(wait=True, cancel_futures=True)
        self._open.close()

    def warm_up(self) -> None:
        """Load the models while something else goes on."""
        for _ in range(self._workers):
            self.threads.submit(self._model)

    def in_order(self, items: Iterable[T], work: Callable[[T], R]) -> Iterator[R]:
        """Yield `work(item)` in the order of the items, computed by the threads a few items ahead."""
        return in_order(items, work, self.threads, self._workers)

    def look(self, square: Image, crop: Crop, height_px: float) -> Floats | None:
        """Return joints (k, 3: x, y, visibility) of the athlete in a crop's square; to be called by this pool's threads."""
        return self._model().joints_in(square, crop, crop.centre_px, height_px)

    def _model(self) -> PoseModel:
        """Return the model of this thread, loaded when it is first asked for."""
        if not hasattr(self._own, "model"):
            opening = pose_model()
            self._own.model = opening.__enter__()
            with self._lock:
                self._open.push(opening)
        model: PoseModel = self._own.model
        return model
