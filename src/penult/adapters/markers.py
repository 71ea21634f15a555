"""Printed ArUco markers: found in a picture to sub-pixel, and turned into marks by what a coach typed (OpenCV).

Names of the marks (`marker 3 top left`) let the fit try a marker as a whole when it looks for a mistyped place.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import cv2
import numpy as np

from penult.errors import CalibrationError
from penult.model.arrays import Floats, Image
from penult.model.calibration import Mark

DICTIONARY = "DICT_4X4_50"
MOST_MARKERS = 50
CORNERS = ("top left", "top right", "bottom right", "bottom left")
TAPE_SD_M = 0.005
"""How well a marker's place is taken with a tape."""

Facing = Literal["camera", "up"]
_LEAST_SIDE_PX = 12.0
_SUBPIXEL_SHARE = 0.12
_CORNER_PLACES = np.array([(-0.5, 0.5), (0.5, 0.5), (0.5, -0.5), (-0.5, -0.5)])
"""Right and up, in marker sides, as the camera sees it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkerSeen:
    """A marker in a picture.

    Parameters
    ----------
    id : int
    corners_px : (4, 2) float64
        Top left, top right, bottom right, bottom left of the black square, as it was printed upright.
    """

    id: int
    corners_px: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkerPlace:
    """Where a marker was put: its centre, or the lower left corner of the black square as the camera sees it."""

    id: int
    runway_m: tuple[float, float, float]
    size_m: float
    facing: Facing = "camera"
    is_corner: bool = False


def find_markers(image: Image) -> tuple[MarkerSeen, ...]:
    """Return the markers in a picture, ordered by id.

    Parameters
    ----------
    image : (h, w, 3) uint8
        Upright, RGB.

    Raises
    ------
    CalibrationError
        If a marker is there twice.
    """
    grey = cv2.cvtColor(np.ascontiguousarray(image), cv2.COLOR_RGB2GRAY)
    corners, ids, _ = _detector().detectMarkers(grey)
    if ids is None:
        return ()
    found = [
        MarkerSeen(id=int(i), corners_px=_refined(grey, c.reshape(4, 2).astype(np.float64)))
        for i, c in zip(np.asarray(ids).ravel(), corners, strict=True)
    ]
    found = sorted((f for f in found if _side_px(f.corners_px) >= _LEAST_SIDE_PX), key=lambda f: f.id)
    twice = sorted({a.id for a, b in pairwise(found) if a.id == b.id})
    if twice:
        raise CalibrationError(
            f"marker {', '.join(map(str, twice))} is in the picture twice",
            next_step="print each id once (page numbers of 'penult markers'), or cover one of the two",
        )
    return tuple(found)


def _detector() -> cv2.aruco.ArucoDetector:
    settings = cv2.aruco.DetectorParameters()
    settings.minMarkerPerimeterRate = 0.02
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_NONE
    return cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, DICTIONARY)), settings)


def _side_px(corners_px: Floats) -> float:
    return float(np.linalg.norm(corners_px - np.roll(corners_px, 1, axis=0), axis=1).mean())


def _refined(grey: Image, corners_px: Floats) -> Floats:
    """Return where the four edges of the black square cross, each edge a line through its steepest points.

    A blurred corner is rounded, and what looks for the corner itself finds it too far inside; edges are not moved.
    """
    reach_px = max(_SUBPIXEL_SHARE * _side_px(corners_px), 2.0)
    for _ in range(2):
        lines = [_edge(grey, corners_px[i], corners_px[(i + 1) % 4], reach_px) for i in range(4)]
        if any(line is None for line in lines):
            return corners_px
        # the line before corner i ends there, the line after it starts there
        crossings = np.array([np.cross(lines[i - 1], lines[i]) for i in range(4)])  # type: ignore[arg-type]
        refined = crossings[:, :2] / crossings[:, 2:]
        if np.abs(refined - corners_px).max() > 2.0 * reach_px:
            return corners_px
        corners_px = refined
    return corners_px


def _edge(grey: Image, start_px: Floats, end_px: Floats, reach_px: float) -> Floats | None:
    """Return the homogeneous line (3,) through the steepest points of profiles across an edge, or None."""
    along = (end_px - start_px) / np.linalg.norm(end_px - start_px)
    across = np.array([along[1], -along[0]])
    length_px = float(np.linalg.norm(end_px - start_px))
    stations = np.linspace(0.12, 0.88, max(int(length_px / 1.5), 6)) * length_px
    offsets = np.arange(-reach_px, reach_px + 0.125, 0.25)
    at = start_px + stations[:, None, None] * along + offsets[None, :, None] * across
    at32 = at.astype(np.float32)
    levels = cv2.remap(grey, at32[..., 0], at32[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    slope = np.maximum(np.diff(levels.astype(np.float64), axis=1), 0.0)  # dark inside, light outside
    slope[slope < 0.2 * slope.max(axis=1, keepdims=True)] = 0.0
    weight = slope.sum(axis=1)
    good = weight > 0.3 * np.median(weight)
    if weight.max() < 20.0 or good.sum() < 4:
        return None
    middle = 0.5 * (offsets[:-1] + offsets[1:])
    crossing = (slope[good] * middle).sum(axis=1) / weight[good]
    keep = np.abs(crossing - np.median(crossing)) < 1.0
    if keep.sum() < 4:
        return None
    tilt, shift = np.polyfit(stations[good][keep], crossing[keep], 1)
    first = start_px + shift * across
    second = start_px + length_px * along + (shift + tilt * length_px) * across
    return np.asarray(np.cross([*first, 1.0], [*second, 1.0]))


def marks_from(seen: Iterable[MarkerSeen], places: Sequence[MarkerPlace]) -> tuple[Mark, ...]:
    """Return four marks for every marker that was found and whose place is known.

    Which side of the runway the camera stands on shows in the markers' order in the picture.

    Raises
    ------
    CalibrationError
        If no marker has a place, or their order in the picture contradicts what was typed.
    """
    by_id = {place.id: place for place in places}
    pairs = [(marker, by_id[marker.id]) for marker in seen if marker.id in by_id]
    if not pairs:
        raise CalibrationError(
            "none of the markers in the picture has a place",
            next_step="type where each stands: one line of the CSV, or one --marker ID=X,Y,Z, for each",
        )
    side = _camera_side(pairs)
    return tuple(mark for marker, place in pairs for mark in _corner_marks(marker, place, side))


def _camera_side(pairs: Sequence[tuple[MarkerSeen, MarkerPlace]]) -> float:
    """Return +1 for a camera on the athlete's right (x grows to the right of the picture), -1 for one on the left."""
    x_m = np.array([place.runway_m[0] for _, place in pairs])
    x_px = np.array([marker.corners_px[:, 0].mean() for marker, _ in pairs])
    if np.ptp(x_m) < 0.5:
        raise CalibrationError(
            "all markers stand at the same distance along the runway",
            *(f"marker {marker.id}: x = {place.runway_m[0]:g} m" for marker, place in pairs),
            next_step="put markers at two or more distances from the board, several metres apart",
        )
    return 1.0 if float(np.cov(x_m, x_px)[0, 1]) > 0.0 else -1.0


def _corner_marks(marker: MarkerSeen, place: MarkerPlace, side: float) -> list[Mark]:
    right = np.array([side, 0.0, 0.0])
    up = np.array([0.0, 1.0, 0.0]) if place.facing == "camera" else np.array([0.0, 0.0, -side])
    shares = _CORNER_PLACES + (0.5 if place.is_corner else 0.0)
    corners_m = np.array(place.runway_m) + place.size_m * (shares[:, :1] * right + shares[:, 1:] * up)
    return [
        Mark(
            name=f"marker {marker.id} {name}",
            pixel_px=(float(pixel[0]), float(pixel[1])),
            runway_m=(float(m[0]), float(m[1]), float(m[2])),
        )
        for name, pixel, m in zip(CORNERS, marker.corners_px, corners_m, strict=True)
    ]


def marker_sd_px(seen: Iterable[MarkerSeen], sizes_m: Mapping[int, float]) -> float:
    """Return the pixel SD that stands for the tape: its four corners share a marker's error, hence twice it."""
    px_per_m = [_side_px(m.corners_px) / sizes_m[m.id] for m in seen if m.id in sizes_m]
    return float(max(2.0 * TAPE_SD_M * np.median(px_per_m), 0.3)) if px_per_m else 1.0


def marker_picture(marker_id: int, cells_px: int = 10) -> Image:
    """Return a marker as a grey picture, black border included, `cells_px` pixels for each of its six cells."""
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, DICTIONARY))
    return np.asarray(cv2.aruco.generateImageMarker(dictionary, marker_id, 6 * cells_px, borderBits=1))
