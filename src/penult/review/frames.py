"""Frames of a clip as JPEG, by their index, decoded exactly; kept in bounded memory, neighbours ahead of need.

One thread reads the clip. It serves the frame asked for last, and in between walks on through the clip from where the
person looks, so that soon every step and every jump is answered from memory.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Iterator
from pathlib import Path

import cv2
import numpy as np

from penult.adapters.film import video
from penult.errors import ClipError
from penult.model.arrays import Image
from penult.model.clip import Clip, Frame

WIDEST_PX = 1920
"""Wider pictures are reduced: screens show no more, and a 4K frame would take four times as long."""

QUALITY = 85
BUDGET_BYTES = 300_000_000
"""More than a thousand frames of 1080 lines."""

WALK_ON = 40
"""A frame at most this far ahead is reached sooner by reading on than by starting at its keyframe."""

LEAD = 5
"""A jump lands this many frames ahead of its aim, so that the first steps back are there too."""

BEHIND = 24
"""Frames before the one looked at that are read with it: steps go both ways."""

PATIENCE_S = 20.0


class FrameStore:
    """The frames of one clip.

    Parameters
    ----------
    path : Path
    clip : Clip
        As read from the same file.
    focus : int
        Frame that will be looked at first.
    budget_bytes : int, optional
        Pictures are dropped, those not used for longest first, above this; None: BUDGET_BYTES.
    """

    def __init__(self, path: Path, clip: Clip, *, focus: int = 0, budget_bytes: int | None = None) -> None:
        self._path, self._clip = path, clip
        self._count = len(clip.time_s)
        self._budget = BUDGET_BYTES if budget_bytes is None else budget_bytes
        self._kept: OrderedDict[int, bytes] = OrderedDict()
        self._bytes = 0
        self._wanted: list[int] = [focus]
        self._focus = focus
        self._is_full = False
        self._fault: ClipError | None = None
        self._is_closed = False
        self._news = threading.Condition()
        self._thread = threading.Thread(target=self._work, name="frames", daemon=True)
        self._thread.start()

    def get(self, index: int) -> bytes:
        """Return a frame's JPEG, waiting for it if need be.

        Raises
        ------
        ClipError
            If the clip has no such frame or cannot be read any more.
        """
        if not 0 <= index < self._count:
            raise ClipError(f"the clip has no frame {index}", f"its frames are 0 to {self._count - 1}")
        with self._news:
            self._focus = index
            if index not in self._kept:
                self._wanted.append(index)
                self._is_full = False
                self._news.notify_all()
            there = self._news.wait_for(lambda: index in self._kept or self._fault or self._is_closed, PATIENCE_S)
            if index in self._kept:
                self._kept.move_to_end(index)
                return self._kept[index]
            raise self._fault or ClipError(
                f"frame {index} of {self._clip.file} cannot be shown", "" if there else "reading it takes too long"
            )

    def close(self) -> None:
        """Stop reading; the pictures are dropped."""
        with self._news:
            self._is_closed = True
            self._kept.clear()
            self._news.notify_all()
        self._thread.join(5.0)

    def _work(self) -> None:
        walk: Iterator[Frame] | None = None
        at = -1
        try:
            while True:
                start = self._next_start(at)
                if start is None:
                    return
                if walk is None or start != at:
                    walk, at = video.frames(self._path, self._clip, first=start), start
                frame = next(walk, None)
                if frame is None:
                    walk, at = None, -1
                    self._miss(start)
                    continue
                if frame.index not in self._kept:
                    self._keep(frame.index, to_jpeg(frame.image))
                at = frame.index + 1
        except (ClipError, OSError) as error:
            fault = (
                error if isinstance(error, ClipError) else ClipError(f"{self._path.name} cannot be read", str(error))
            )
            with self._news:
                self._fault = fault
                self._news.notify_all()

    def _next_start(self, at: int) -> int | None:
        """Where to read next, waiting as long as there is nothing to do; None when closed."""
        with self._news:
            while not self._is_closed:
                self._wanted = [i for i in self._wanted if i not in self._kept]
                if self._wanted:
                    latest = self._wanted[-1]
                    return at if 0 <= at <= latest <= at + WALK_ON else max(latest - LEAD, 0)
                missing = None if self._is_full else self._missing(at)
                if missing is not None:
                    return missing
                self._is_full = True
                self._news.wait()
        return None

    def _missing(self, at: int) -> int | None:
        """The next frame worth reading ahead: on from here, then from a little before the focus, then the rest."""
        if self._bytes > 0.9 * self._budget:
            near = range(max(self._focus - BEHIND, 0), min(self._focus + 2 * BEHIND, self._count))
            return next((i for i in near if i not in self._kept), None)
        starts = (at if 0 <= at < self._count else self._focus, max(self._focus - BEHIND, 0), 0)
        for start in starts:
            found = next((i for i in range(start, self._count) if i not in self._kept), None)
            if found is not None and (start != at or found - at <= WALK_ON):
                return at if start == at else found
        return next((i for i in range(self._count) if i not in self._kept), None)

    def _keep(self, index: int, picture: bytes) -> None:
        with self._news:
            if self._is_closed:
                return
            self._kept[index] = picture
            self._bytes += len(picture)
            while self._bytes > self._budget and len(self._kept) > 1:
                _, dropped = self._kept.popitem(last=False)
                self._bytes -= len(dropped)
            self._news.notify_all()

    def _miss(self, index: int) -> None:
        """A frame that does not come (the file has changed) must not be waited for for ever."""
        with self._news:
            self._fault = ClipError(f"{self._path.name} ends before frame {index}", next_step="analyse the clip again")
            self._news.notify_all()


def to_jpeg(image: Image) -> bytes:
    """Return a picture as JPEG, at most WIDEST_PX wide."""
    height, width = image.shape[:2]
    if width > WIDEST_PX:
        scale = WIDEST_PX / width
        image = np.asarray(
            cv2.resize(image, (WIDEST_PX, round(height * scale)), interpolation=cv2.INTER_AREA), dtype=np.uint8
        )
    done, data = cv2.imencode(".jpg", cv2.cvtColor(image, cv2.COLOR_RGB2BGR), [cv2.IMWRITE_JPEG_QUALITY, QUALITY])
    if not done:
        raise ClipError("a picture could not be turned into JPEG")
    return bytes(data.tobytes())
