"""The pictures of one run, decoded once: what later passes need of every frame is kept, where all of it fits into memory.

Of each frame that is the surroundings of the athlete in full resolution (shoes, trunk, stills; where the pose model may want
another look, as much as its crop shows), and the whole picture in the film's size. A run of 1.4 s at 240 Hz takes about 0.5 GB;
longer ones, larger pictures and unusual pixel formats are decoded anew for every pass, to the same pixels.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TypeVar

import numpy as np

from penult.adapters.film import video
from penult.adapters.film.colour import Box
from penult.adapters.film.raw import Part, Raw
from penult.adapters.pose import Crop, square_of
from penult.core.lane.camera import project
from penult.model.arrays import Floats, Image, Ints
from penult.model.calibration import Camera
from penult.model.clip import Clip, Frame, Planes

T = TypeVar("T")
R = TypeVar("R")
Threads = Callable[[Iterable[T], Callable[[T], R]], Iterator[R]]
"""`threads(items, work)` yields `work(item)` in the order of the items."""

MOST_KEPT_BYTES = 640_000_000
"""With it an analysis stays below 1.5 GB."""

AROUND_M, BELOW_M, ABOVE_M = 3.2, 0.8, 3.0
"""Reach of the surroundings, about the middle of the body along the lane and from its surface. A shoe is looked at to 0.75 m
from its toe and to 0.09 s from its contact: at 11 m/s up to 2.3 m from the body's middle, whose place is good to 0.3 m. A film
that follows shows 2.7 m to either side and 0.6 m below the ground."""


ROOM_PX = 4.0
"""Room about what is cut out of a picture, whose pixels are interpolated from two to either side."""


@dataclass(slots=True, kw_only=True)
class Shot:
    """A frame as it passes by: just decoded, or as much of it as was kept."""

    index: int
    film_size_px: tuple[int, int] | None = None
    raw: Raw | None = None
    part: Part | None = None
    small: Planes | None = None

    def frame(self) -> Frame:
        """Return the upright RGB picture in full size; of a kept frame, black but for the athlete's surroundings."""
        shown = self.part or self.raw
        assert shown is not None
        return shown.frame()

    def around(self, box: Box) -> Frame:
        """Return at least a box of the picture, as far as that lies in what was kept of it."""
        part = self.part
        if part is None and self.raw is not None:
            part = self.raw.part(box)
        return self.frame() if part is None else part.shown(box)

    def shows(self, box: Box) -> bool:
        """Whether that part of the picture is in `around`, as far as the picture goes."""
        return self.part is None or self.part.shows(box)

    def planes(self) -> Planes:
        """Return the whole picture in the film's size, to be drawn on: it is handed out once."""
        if self.small is None:
            assert self.raw is not None
            assert self.film_size_px is not None
            return self.raw.planes(self.film_size_px)
        planes, self.small = self.small, None
        return planes

    def planes_in(self, box: Box, size_px: tuple[int, int]) -> tuple[Planes, tuple[int, int]]:
        """Return what is at hand of a box of the picture, in full size, and its corner; the whole where nothing can be cut out."""
        part = self.part
        if part is None and self.raw is not None:
            part = self.raw.part(box)
        shown = None if part is None else part.planes(box)
        if shown is not None:
            return shown
        if self.raw is not None:
            return self.raw.planes(size_px), (0, 0)
        black = Planes(luma=np.full((2, 2), 16, np.uint8), chroma=np.full((1, 1, 2), 128, np.uint8))
        return black, (box[0], box[1])

    def square(self, crop: Crop) -> Image:
        """Return the square that the pose model is to look at."""
        if self.raw is not None:
            box = box_of(crop, self.raw.way.size_px(self.raw.colour.size_px))
            part = self.raw.part(box)
            frame = self.raw.frame() if part is None else part.shown(box)
        else:
            assert self.part is not None
            frame = self.part.shown(box_of(crop, self.part.size_px))
        return square_of(frame.image, crop, frame.corner_px)


class Footage:
    """The frames of a run in a row.

    Parameters
    ----------
    path, clip
        The film.
    frames : (t,) int64
        Frames of the run, one after the other.
    film_size_px : (int, int), optional
        Size of an annotated film that shows the whole picture; None where it follows the athlete.
    boxes : sequence of Box, optional
        The athlete's surroundings in each frame; nothing is kept without them.
    crops : sequence of (Crop or None), optional
        What the pose model may want to look at later in each frame.
    """

    def __init__(
        self,
        path: Path,
        clip: Clip,
        frames: Ints,
        film_size_px: tuple[int, int] | None,
        boxes: Sequence[Box] = (),
        crops: Sequence[Crop | None] = (),
    ) -> None:
        self._path, self._clip, self._film_size_px = path, clip, film_size_px
        self._first, self._last = int(frames[0]), int(frames[-1])
        whole = [_both(box, box_of(crop, clip.size_px)) for box, crop in zip(boxes, crops, strict=bool(crops))]
        self._boxes = whole or boxes
        self._kept: dict[int, Shot] = {}
        self._keeps = 0 < self._bytes() <= MOST_KEPT_BYTES

    def _bytes(self) -> int:
        parts = sum(3 * (x1 - x0) * (y1 - y0) // 2 for x0, y0, x1, y1 in self._boxes)
        width, height = self._film_size_px or (0, 0)
        return parts + len(self._boxes) * 3 * width * height // 2

    def passing(
        self, threads: Threads[object, R | None], work: Callable[[Shot], R], wanted: Callable[[int], bool] | None = None
    ) -> Iterator[R]:
        """Yield what `work` gives for every frame, or every one `wanted`, in order; `work` is called by the threads.

        Parameters
        ----------
        threads : callable
            `threads(items, work)` yields `work(item)` in the order of the items.
        work : callable
            From a Shot.
        wanted : callable, optional
            Whether a frame of this index is to be shown to `work`.
        """
        if self._is_whole():
            yield from self._again(threads, work, wanted)
            return

        def taken(raw: object) -> R | None:
            assert isinstance(raw, Raw)
            shot = (self._keep(raw) if self._keeps else None) or Shot(index=raw.index, film_size_px=self._film_size_px)
            if wanted is not None and not wanted(raw.index):
                return None
            return work(replace(shot, raw=raw))  # whatever is not kept of it is there as long as it passes by

        for done in threads(self._decoded(wanted), taken):
            if done is not None:
                yield done

    def whole(self, index: int) -> Frame:
        """Return the whole picture of a frame, decoded for it alone."""
        return next(video.frames(self._path, self._clip, first=index, last=index))

    def kept(self, index: int) -> Shot | None:
        """Return a frame that is in memory, None if it has to pass by first."""
        return self._kept.get(index) if self._is_whole() else None

    def _is_whole(self) -> bool:
        return len(self._kept) == self._last - self._first + 1

    def _again(
        self, threads: Threads[object, R | None], work: Callable[[Shot], R], wanted: Callable[[int], bool] | None
    ) -> Iterator[R]:
        def shown(shot: object) -> R | None:
            assert isinstance(shot, Shot)
            return work(shot)

        items = (self._kept[i] for i in range(self._first, self._last + 1) if wanted is None or wanted(i))
        for done in threads(items, shown):
            if done is not None:
                yield done

    def _decoded(self, wanted: Callable[[int], bool] | None) -> Iterator[Raw]:
        first, last = self._first, self._last
        if not self._keeps and wanted is not None:
            asked = [i for i in range(first, last + 1) if wanted(i)]
            if not asked:
                return
            first, last = asked[0], asked[-1]
        for raw in video.raw_frames(self._path, self._clip, first=first, last=last):
            if self._keeps or wanted is None or wanted(raw.index):
                yield raw

    def _keep(self, raw: Raw) -> Shot | None:
        row = raw.index - self._first
        part = raw.part(self._boxes[row])
        if part is None:  # of a kind that cannot be cut
            self._keeps = False
            self._kept = {}
            return None
        small = None if self._film_size_px is None else raw.planes(self._film_size_px)
        shot = Shot(index=raw.index, part=part, small=small, film_size_px=self._film_size_px)
        self._kept[raw.index] = shot
        return shot


def surroundings(camera: Camera, x_m: float) -> Box:
    """Return the box about a body at a place of the lane, cut to the picture, its corners even; empty where x is NaN.

    What is cut off at one side is added at the other: a film that follows stands still at the picture's edges.
    """
    if not np.isfinite(x_m):
        return 0, 0, 0, 0
    corners = [[x_m + along, y, 0.0] for along in (-AROUND_M, AROUND_M) for y in (-BELOW_M, ABOVE_M)]
    px = project(camera, np.array(corners))
    if not np.isfinite(px).all():
        return box_about(px, camera.image_size_px)
    width, height = camera.image_size_px
    (x0, y0), (x1, y1) = px.min(axis=0), px.max(axis=0)
    if x1 <= 0 or y1 <= 0 or x0 >= width or y0 >= height:
        return 0, 0, 0, 0
    beyond = np.array([[x0 - max(0.0, x1 - width), y0 - max(0.0, y1 - height)], [x1 - min(0.0, x0), y1 - min(0.0, y0)]])
    return box_about(beyond, camera.image_size_px)


def box_of(crop: Crop | None, size_px: tuple[int, int]) -> Box:
    """Return the box that holds what a crop shows, cut to the picture; empty without a crop."""
    if crop is None:
        return 0, 0, 0, 0
    half = np.array([crop.side_px, crop.side_px]) / 2.0
    return box_about(np.array([crop.centre_px - half, crop.centre_px + half]), size_px, ROOM_PX)


def _both(one: Box, other: Box) -> Box:
    """Return the box that holds two, of which one or both may be empty."""
    if one[2] <= one[0] or other[2] <= other[0]:
        return other if one[2] <= one[0] else one
    return min(one[0], other[0]), min(one[1], other[1]), max(one[2], other[2]), max(one[3], other[3])


def box_about(places_px: Floats, size_px: tuple[int, int], room_px: float = 0.0) -> Box:
    """Return the box that holds pixels (n, 2) with room about them, cut to the picture, its corners even; empty without any."""
    seen = places_px[np.isfinite(places_px).all(axis=1)]
    if not len(seen):
        return 0, 0, 0, 0
    size = np.array(size_px)
    low = np.clip(np.floor(seen.min(axis=0) - room_px), 0, size).astype(int) // 2 * 2
    high = np.clip(np.ceil(seen.max(axis=0) + room_px), 0, size).astype(int) // 2 * 2
    return int(low[0]), int(low[1]), int(high[0]), int(high[1])
