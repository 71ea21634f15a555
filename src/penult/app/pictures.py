"""Everything that a result folder holds, written in one pass over the clip, by several threads."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from functools import partial
from pathlib import Path
from threading import Lock

import numpy as np

from penult.adapters.film.writer import write_film
from penult.app.film_size import film_size_of
from penult.app.footage import ROOM_PX, Footage, Shot, box_about
from penult.app.page import Files, files_here
from penult.app.progress import Progress
from penult.app.threads import in_order, worker_count
from penult.core.pipeline import Outcome
from penult.model.analysis import Analysis
from penult.model.arrays import Floats, Image
from penult.model.clip import Clip, Frame, Planes
from penult.model.showing import showing_of
from penult.model.track import Motion
from penult.outputs.folder.contents import FILM
from penult.outputs.folder.save import Building
from penult.outputs.pictures.film import Painter, cut_planes, playback_hz
from penult.outputs.pictures.stills import stills_of

Make = Callable[[Analysis, Motion, list[Frame]], Files]


def footage_of(clip_path: Path, clip: Clip, outcome: Outcome) -> Footage:
    """Return the pictures of a run that was seen at another time."""
    return Footage(clip_path, clip, outcome.motion.pixels.frame, film_size_of(clip, outcome.analysis.method))


def write_pictures(
    new: Building, footage: Footage, clip: Clip, outcome: Outcome, progress: Progress, make: Make = files_here
) -> None:
    """Write all files of the result into the folder under construction; `make` gives all but the film."""
    workers = worker_count()
    with ThreadPoolExecutor(workers + 1, thread_name_prefix="pictures") as threads:
        page = _Page(footage, outcome, threads, make)
        painter = Painter(outcome.analysis, outcome.motion, showing_of(outcome.analysis.method))
        film = _film(footage, clip, painter, page, (threads, workers), progress)
        rate_hz = playback_hz(outcome.analysis.clip.capture_rate_hz)
        write_film(new.path / FILM, painter.path.size_px, paced(film, rate_hz), playback_rate_hz=rate_hz)
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
    painter: Painter,
    page: _Page,
    threads: tuple[ThreadPoolExecutor, int],
    progress: Progress,
) -> Iterator[tuple[Planes, int]]:
    """Yield the drawn pictures in order and how often each is shown, cut out and drawn by one of the threads."""
    count = len(painter.path.scale)

    def drawn(shot: Shot) -> tuple[Planes, int]:
        page.pass_by(shot)
        picture = picture_of(shot, painter, clip.size_px)
        painter.draw_on(picture, shot.index, float(clip.time_s[shot.index]))
        return picture, painter.times(shot.index)

    passing = footage.passing(partial(in_order, threads=threads[0], workers=threads[1]), drawn)
    for row, shown in enumerate(passing):
        progress("drawing", row / count)
        yield shown


def picture_of(shot: Shot, painter: Painter, size_px: tuple[int, int]) -> Planes:
    """Return the film's picture of a frame, nothing drawn on it yet; `size_px` is the clip's."""
    if shot.film_size_px is not None:
        return shot.planes()
    view = painter.view(shot.index)
    box = box_about(view.box_px().reshape(2, 2), size_px, ROOM_PX)
    return cut_planes(*shot.planes_in(box, size_px), view)


def paced(film: Iterable[tuple[Image | Planes, int]], rate_hz: float) -> Iterator[tuple[Image | Planes, float]]:
    """Yield every picture as often as it is shown, with the time at which it is."""
    shown = 0
    for picture, times in film:
        for _ in range(times):
            yield picture, shown / rate_hz
            shown += 1
