"""Marks of the lane looked for in the clip itself: printed markers, and the edges of a rectangle on the ground (OpenCV)."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from penult.adapters.pictures.markers import find_markers
from penult.core.checks.camera_place import MarksSeen, Outline, marks_seen
from penult.core.lane.markers import CORNERS
from penult.errors import CalibrationError
from penult.model.arrays import Floats
from penult.model.calibration import LaneFile

Grey = NDArray[np.uint8]

PICTURES = 9
"""Pictures of a clip whose median shows the place without those who pass."""

REACH_PX = 44
"""As far as an outline is looked for, in a picture 1920 pixels wide: a zoom of 10 % near its middle, a knock of half a degree."""

BLUR_PX = 1.2
"""Grain of a picture is less wide than that, the edge of a painted line wider."""

_MARKER = re.compile(r"marker (\d+) (.+)")


def looked_for(pictures: Sequence[Grey], lane: LaneFile) -> MarksSeen | None:
    """Return where the lane's marks are seen in a clip whose camera stands; None where none of them can be found.

    Parameters
    ----------
    pictures : sequence of (h, w) uint8
        Some of the clip, spread over its length.
    lane : LaneFile
    """
    if not pictures:
        return None
    backdrop = np.median(np.stack(pictures), axis=0).astype(np.uint8)
    per_px = max(lane.image_size_px) / 1920.0
    off_px = _markers_off_px(backdrop, lane)
    if off_px is not None:
        return marks_seen("printed markers", off_px, per_px)
    outline = ground_outline(lane)
    return None if outline is None else marks_seen(outline.name, _map_of(backdrop, outline.corners_px, per_px), per_px)


def _markers_off_px(backdrop: Grey, lane: LaneFile) -> Floats | None:
    """Return by how much corners of printed markers are off (n, 2); None where none of the lane's is seen."""
    marks: dict[int, dict[str, tuple[float, float]]] = defaultdict(dict)
    for mark in lane.marks:
        named = _MARKER.fullmatch(mark.name)
        if named and named[2] in CORNERS:
            marks[int(named[1])][named[2]] = mark.pixel_px
    if not marks:
        return None
    try:
        seen = find_markers(np.dstack([backdrop] * 3))
    except CalibrationError:  # one is there twice: nobody can tell which is the lane's
        return None
    off = [
        seen[number].corners_px[i] - corners[name]
        for number, corners in marks.items()
        if number in seen
        for i, name in enumerate(CORNERS)
        if name in corners
    ]
    return np.array(off) if off else None


MOST_ALONG_M = 0.6
"""A rectangle that is longer along the run is no board but the corners of a lane, between which nothing is drawn."""


def ground_outline(lane: LaneFile) -> Outline | None:
    """Return four marks on the ground that are the corners of a small rectangle, as a take-off board is."""
    ground = [m for m in lane.marks if abs(m.runway_m[1]) < 1e-6 and not _MARKER.fullmatch(m.name)]
    by_place = {(round(m.runway_m[0], 3), round(m.runway_m[2], 3)): m for m in ground}
    for x0, z0 in sorted(by_place):
        for x1, z1 in sorted(by_place):
            places = [(x0, z0), (x1, z0), (x1, z1), (x0, z1)]
            if 0.05 <= x1 - x0 <= MOST_ALONG_M and z1 - z0 >= 0.5 and all(p in by_place for p in places):
                corners = np.array([by_place[p].pixel_px for p in places], dtype=np.float64)
                return Outline(name=by_place[x0, z0].name.split()[0].strip(",;:"), corners_px=corners)
    return None


def _map_of(backdrop: Grey, corners_px: Floats, per_px: float) -> Floats:
    """Return how clearly each side of an outline is seen at every shift: (4, 2r + 1, 2r + 1), rows down, columns right."""
    smooth = cv2.GaussianBlur(backdrop.astype(np.float32), (0, 0), BLUR_PX * per_px)
    slopes = [np.asarray(cv2.Sobel(smooth, cv2.CV_32F, *way, ksize=3)) for way in ((1, 0), (0, 1))]
    reach = round(REACH_PX * per_px)
    right, down = np.meshgrid(np.arange(-reach, reach + 1), np.arange(-reach, reach + 1))
    sides = []
    for start, end in zip(corners_px, np.roll(corners_px, -1, axis=0), strict=True):
        length = float(np.linalg.norm(end - start))
        normal = np.array([start[1] - end[1], end[0] - start[0]]) / max(length, 1e-6)
        count = max(int(length), 8)
        at = start + ((np.arange(count) + 0.5) / count)[:, None] * (end - start)
        x = (at[:, 0, None] + right.ravel()).astype(np.float32)
        y = (at[:, 1, None] + down.ravel()).astype(np.float32)
        across = sum(
            n * cv2.remap(slope, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
            for n, slope in zip(normal, slopes, strict=True)
        )
        sides.append(np.abs(np.mean(across, axis=0)).reshape(right.shape))
    return np.array(sides)
