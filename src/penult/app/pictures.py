"""Everything that a result folder holds, written in one pass over the clip, by several threads."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from functools import partial
from pathlib import Path
from threading import Lock

import numpy as np

from penult.adapters.film.writer import write_film
from penult.app.footage import ROOM_PX, Footage, Shot, box_about
from penult.app.page import Files, files_here
from penult.app.progress import Progress
from penult.app.threads import in_order, worker_count
from penult.core.pipeline import Outcome
from penult.model.analysis import Analysis
from penult.model.arrays import Floats
from penult.model.clip import Clip, Frame, Planes
from penult.model.track import Motion
from penult.outputs.folder.save import Building
from penult.outputs.pictures.film import Painter, film_size_px
from penult.outputs.pictures.stills import stills_of

Make = Callable[[Analysis, Motion, list[Frame]], Files]

FILM_RATE_HZ = 30.0
"""Playback of the annotated film: every captured frame is shown, so that a 240 Hz clip plays eight times slowed."""


def footage_of(clip_path: Path, clip: Clip, outcome: Outcome) -> Footage:
    """Return the pictures of a run that was seen at another time."""
    return Footage(clip_path, clip, outcome.motion.pixels.frame, film_size_px(clip.size_px))


def write_pictures(
    new: Building, footage: Footage, clip: Clip, outcome: Outcome, progress: Progress, make: Make = files_here
) -> None:
    """Write all files of the result into the folder under construction; `make` gives all but the film."""
    workers = worker_count()
    with ThreadPoolExecutor(workers + 1, thread_name_prefix="pictures") as threads:
        page = _Page(footage, outcome, threads, make)
        film = _film(footage, clip, outcome, page, (threads, workers), progress)
        times = (np.arange(len(outcome.motion.pixels.frame)) / FILM_RATE_HZ).tolist()
        write_film(new.path / "overlay.mp4", film_size_px(clip.size_px), zip(film, times, strict=False))
        for name, content in page.files():
            new.write(name, content)


class _Page:
    """Stills, tables and page: made by a thread as soon as the last frame that they need has passed, at once if all are kept."""

    def __init__(self, footage: Footage, outcome: Outcome, threads: ThreadPoolExecutor, make: Make) -> None:
        self._footage, self._outcome, self._threads, self._with = footage, outcome, threads, make
        corners: dict[int, list[Floats]] = {}
        for still in stills_of(outcome.analysis, outcome.motion):
            corners.setdefault(still.moment.frame, []).append(still.view.box_px().reshape(2, 2))
        size_px = outcome.motion.cameras[0].image_size_px
        self._need = {frame: box_about(np.concatenate(c), size_px, ROOM_PX) for frame, c in corners.items()}
        self._kept: list[Frame] = []
        self._lock = Lock()
        self._made: Future[Files] | None = None
        for shot in [footage.kept(index) for index in self._need]:
            if shot is not None:
                self._keep(shot)

    def pass_by(self, shot: Shot) -> None:
        """Keep a frame that a still is drawn of; called by several threads."""
        if self._made is None and shot.index in self._need:
            self._keep(shot)

    def _keep(self, shot: Shot) -> None:
        box = self._need[shot.index]
        frame = shot.around(box) if shot.shows(box) else self._footage.whole(shot.index)
        with self._lock:
            self._kept.append(frame)
            if self._made is None and len(self._kept) == len(self._need):
                self._made = self._threads.submit(self._make)

    def files(self) -> Files:
        """Return the files, made now if a frame never came."""
        return self._make() if self._made is None else self._made.result()

    def _make(self) -> Files:
        return self._with(self._outcome.analysis, self._outcome.motion, self._kept)


def _film(
    footage: Footage,
    clip: Clip,
    outcome: Outcome,
    page: _Page,
    threads: tuple[ThreadPoolExecutor, int],
    progress: Progress,
) -> Iterator[Planes]:
    """Yield the drawn pictures in order, each reduced and drawn by one of the threads."""
    painter = Painter(outcome.analysis, outcome.motion)

    def drawn(shot: Shot) -> Planes:
        page.pass_by(shot)
        picture = shot.planes()
        painter.draw_on(picture, shot.index, float(clip.time_s[shot.index]))
        return picture

    passing = footage.passing(partial(in_order, threads=threads[0], workers=threads[1]), drawn)
    for row, picture in enumerate(passing):
        progress("drawing", row / len(outcome.motion.pixels.frame))
        yield picture
