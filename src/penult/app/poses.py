"""The slow stage on every core: joints in athlete crops, by worker processes that each take a stretch of the clip."""

from __future__ import annotations

import multiprocessing
import os
import signal
from collections.abc import Callable, Sequence
from concurrent.futures import Future, ProcessPoolExecutor, wait
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np

from penult.adapters import video
from penult.adapters.pose import Crop, pose_model
from penult.model.arrays import Floats
from penult.model.clip import Clip
from penult.model.skeleton import JOINTS

FEWEST_FRAMES = 60
"""A worker costs a second or two to start; fewer frames than this are not worth it (40 ms a frame)."""

MOST_WORKERS = 8
"""Memory: a worker holds about 300 MB."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """Frames in a row with the crop of each, None where the athlete is not to be looked for."""

    first: int
    crops: tuple[Crop | None, ...]
    height_px: tuple[float, ...]


def worker_count() -> int:
    """How many processes one clip may use: $PENULT_WORKERS, else every core this process may run on."""
    said = os.environ.get("PENULT_WORKERS", "")
    if said.isdigit() and int(said) > 0:
        return min(int(said), MOST_WORKERS)
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    return min(cores, MOST_WORKERS)


class PosePool:
    """Worker processes that load the pose model while the clip is still being searched.

    Use as a context manager; with one worker everything runs in this process.
    """

    def __init__(self, workers: int | None = None) -> None:
        self._workers = worker_count() if workers is None else workers
        self._pool: ProcessPoolExecutor | None = None
        self._counter: Any = None

    def __enter__(self) -> PosePool:
        if self._workers > 1:
            context = multiprocessing.get_context("spawn")
            self._counter = context.Value("q", 0)
            self._pool = ProcessPoolExecutor(
                self._workers, mp_context=context, initializer=_begin, initargs=(self._counter,)
            )
            for _ in range(self._workers):
                self._pool.submit(_ready)
        return self

    def __exit__(self, *_: object) -> None:
        if self._pool is not None:
            self._pool.shutdown(wait=False, cancel_futures=True)

    def joints(self, path: Path, clip: Clip, stretch: Stretch, progress: Callable[[float], None]) -> Floats:
        """Return joints (t, k, 3: x, y, visibility) of every frame of a stretch, NaN where nobody was found."""
        count = len(stretch.crops)
        if self._pool is None or count < 2 * FEWEST_FRAMES:
            return _joints(path, clip, stretch, lambda done: progress(done / count))
        parts = _split(stretch, min(self._workers, count // FEWEST_FRAMES))
        self._counter.value = 0
        futures = [self._pool.submit(_joints_of_part, path, clip, part) for part in parts]
        self._follow(futures, count, progress)
        return np.concatenate([future.result() for future in futures])

    def _follow(self, futures: Sequence[Future[Floats]], count: int, progress: Callable[[float], None]) -> None:
        pending = set(futures)
        while pending:
            done, pending = wait(pending, timeout=0.2)
            for future in done:
                future.result()  # a worker's fault is ours at once, not after the others have finished
            progress(self._counter.value / count)


def _split(stretch: Stretch, parts: int) -> list[Stretch]:
    edges = np.linspace(0, len(stretch.crops), parts + 1).astype(int)
    return [
        Stretch(first=stretch.first + int(a), crops=stretch.crops[a:b], height_px=stretch.height_px[a:b])
        for a, b in pairwise(edges.tolist())
    ]


_counter: Any = None
_opened: list[Any] = []


def _begin(counter: Any) -> None:
    """Prepare a worker: Ctrl-C is the parent's; the model is loaded before the first frame comes."""
    global _counter  # noqa: PLW0603  # the pool hands shared memory to workers through their initialiser only
    _counter = counter
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    context = pose_model()
    _opened.extend((context, context.__enter__()))


def _ready() -> bool:
    return True


def _joints_of_part(path: Path, clip: Clip, stretch: Stretch) -> Floats:
    seen = [0]

    def count(done: int) -> None:
        with _counter.get_lock():
            _counter.value += done - seen[0]
        seen[0] = done

    return _run(_opened[1], path, clip, stretch, count, threads=1)


def _joints(path: Path, clip: Clip, stretch: Stretch, progress: Callable[[int], None]) -> Floats:
    with pose_model() as model:
        return _run(model, path, clip, stretch, progress, threads=0)


def _run(model: Any, path: Path, clip: Clip, stretch: Stretch, progress: Callable[[int], None], threads: int) -> Floats:
    out = np.full((len(stretch.crops), len(JOINTS), 3), np.nan)
    last = stretch.first + len(stretch.crops) - 1
    for frame in video.frames(path, clip, first=stretch.first, last=last, threads=threads):
        row = frame.index - stretch.first
        crop = stretch.crops[row]
        if crop is not None:
            found = model.joints(frame.image, crop, crop.centre_px, stretch.height_px[row])
            if found is not None:
                out[row] = found
        progress(row + 1)
    return out
