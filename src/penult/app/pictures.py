"""Everything that a result folder holds, written in one pass over the clip, by several threads."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path

import numpy as np

from penult.adapters import video
from penult.adapters.video_writer import write_film
from penult.app.progress import Progress
from penult.app.threads import in_order, worker_count
from penult.core.pipeline import Outcome
from penult.model.clip import Clip, Frame, Planes
from penult.outputs.film import Painter, film_size_px
from penult.outputs.save import Building
from penult.outputs.stills import frames_wanted, stills_of

FILM_RATE_HZ = 30.0
"""Playback of the annotated film: every captured frame is shown, so that a 240 Hz clip plays eight times slowed."""


def write_pictures(new: Building, clip_path: Path, clip: Clip, outcome: Outcome, progress: Progress) -> None:
    """Write all files of the result into the folder under construction."""
    workers = worker_count()
    with ThreadPoolExecutor(workers + 1, thread_name_prefix="pictures") as threads:
        page = _Page(outcome, threads)
        film = _film(clip_path, clip, outcome, page, (threads, workers), progress)
        times = (np.arange(len(outcome.motion.pixels.frame)) / FILM_RATE_HZ).tolist()
        write_film(new.path / "overlay.mp4", film_size_px(clip.size_px), zip(film, times, strict=False))
        for name, content in page.files():
            new.write(name, content)


class _Page:
    """Stills, tables and page: made by a thread as soon as the last frame that they need has passed."""

    def __init__(self, outcome: Outcome, threads: ThreadPoolExecutor) -> None:
        self._outcome, self._threads = outcome, threads
        self._need = set(frames_wanted(stills_of(outcome.analysis, outcome.motion)))
        self._kept: list[Frame] = []
        self._made: Future[list[tuple[str, bytes]]] | None = None

    def pass_by(self, raw: video.Raw) -> None:
        """Keep a frame that a still is drawn of."""
        if raw.index in self._need:
            self._kept.append(raw.frame())
        if self._made is None and len(self._kept) == len(self._need):
            self._made = self._threads.submit(self._make)

    def files(self) -> list[tuple[str, bytes]]:
        """Return the files, made now if a frame never came."""
        return self._make() if self._made is None else self._made.result()

    def _make(self) -> list[tuple[str, bytes]]:
        from penult.outputs.folder import result_files  # tables and charts take a second to load: beside the film

        return list(result_files(self._outcome.analysis, self._outcome.motion, self._kept))


def _film(
    clip_path: Path,
    clip: Clip,
    outcome: Outcome,
    page: _Page,
    threads: tuple[ThreadPoolExecutor, int],
    progress: Progress,
) -> Iterator[Planes]:
    """Yield the drawn pictures in order, each reduced and drawn by one of the threads."""
    rows, size_px = outcome.motion.pixels.frame, film_size_px(clip.size_px)
    painter = Painter(outcome.analysis, outcome.motion)

    def passing() -> Iterator[video.Raw]:
        for raw in video.raw_frames(clip_path, clip, first=int(rows[0]), last=int(rows[-1])):
            progress("drawing", (raw.index - rows[0]) / len(rows))
            page.pass_by(raw)
            yield raw

    def drawn(raw: video.Raw) -> Planes:
        picture = raw.planes(size_px)
        painter.draw_on(picture, raw.index, raw.time_s)
        return picture

    return in_order(passing(), drawn, *threads)
