"""The slow stage on every core: joints in athlete crops, found by threads while the clip is decoded."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

import numpy as np

from penult.adapters import video
from penult.adapters.pose import Crop, PoseModel, pose_model
from penult.app.threads import in_order, worker_count
from penult.model.arrays import Floats
from penult.model.clip import Clip, Frame
from penult.model.skeleton import JOINTS

T = TypeVar("T")
R = TypeVar("R")


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """Frames in a row with the crop of each, None where the athlete is not to be looked for."""

    first: int
    crops: tuple[Crop | None, ...]
    height_px: tuple[float, ...]


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
        self.threads.shutdown(wait=True, cancel_futures=True)
        self._open.close()

    def warm_up(self) -> None:
        """Load the models while something else goes on."""
        for _ in range(self._workers):
            self.threads.submit(self._model)

    def in_order(self, items: Iterable[T], work: Callable[[T], R]) -> Iterator[R]:
        """Yield `work(item)` in the order of the items, computed by the threads a few items ahead."""
        return in_order(items, work, self.threads, self._workers)

    def look(self, frame: Frame, crop: Crop, height_px: float) -> Floats | None:
        """Return joints (k, 3: x, y, visibility) of the athlete in a frame; to be called by this pool's threads."""
        return self._model().joints(frame.image, crop, crop.centre_px, height_px)

    def joints(self, path: Path, clip: Clip, stretch: Stretch, progress: Callable[[float], None]) -> Floats:
        """Return joints (t, k, 3) of every frame of a stretch, NaN where nobody was looked for or found."""
        out = np.full((len(stretch.crops), len(JOINTS), 3), np.nan)

        def look(raw: video.Raw) -> tuple[int, Floats | None]:
            row = raw.index - stretch.first
            crop = stretch.crops[row]
            assert crop is not None
            return row, self.look(raw.frame(), crop, stretch.height_px[row])

        for row, found in self.in_order(_wanted(path, clip, stretch), look):
            if found is not None:
                out[row] = found
            progress((row + 1) / len(out))
        return out

    def _model(self) -> PoseModel:
        """Return the model of this thread, loaded when it is first asked for."""
        if not hasattr(self._own, "model"):
            opening = pose_model()
            self._own.model = opening.__enter__()
            with self._lock:
                self._open.push(opening)
        model: PoseModel = self._own.model
        return model


def _wanted(path: Path, clip: Clip, stretch: Stretch) -> Iterator[video.Raw]:
    """Frames with a crop; what lies before the first and behind the last of them is not decoded."""
    rows = [row for row, crop in enumerate(stretch.crops) if crop is not None]
    if not rows:
        return
    first, last = stretch.first + rows[0], stretch.first + rows[-1]
    for raw in video.raw_frames(path, clip, first=first, last=last):
        if stretch.crops[raw.index - stretch.first] is not None:
            yield raw
