"""Printed ArUco markers, drawn and found in a picture to sub-pixel (OpenCV)."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from penult.errors import CalibrationError
from penult.model.arrays import Floats, Image
from penult.model.marker import SeenMarker

DICTIONARY = "DICT_4X4_50"
MOST_MARKERS = 50
_CELLS = 6
_LEAST_SIDE_PX = 12.0
_SUBPIXEL_SHARE = 0.12


def find_markers(image: Image) -> dict[int, SeenMarker]:
    """Return the markers in a picture by number, in order.

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
    corners, numbers, _ = _detector().detectMarkers(grey)
    if numbers is None:
        return {}
    found = sorted(
        ((int(n), c.reshape(4, 2).astype(np.float64)) for n, c in zip(np.ravel(numbers), corners, strict=True)),
        key=lambda pair: pair[0],
    )
    large = [(number, c) for number, c in found if _side_px(c) >= _LEAST_SIDE_PX]
    _refuse_twice([number for number, _ in large])
    return {number: SeenMarker(number=number, corners_px=_refined(grey, c)) for number, c in large}


def _refuse_twice(numbers: list[int]) -> None:
    twice = sorted({n for n in numbers if numbers.count(n) > 1})
    if twice:
        raise CalibrationError(
            f"marker {', '.join(map(str, twice))} is in the picture twice",
            next_step="print each number once, or cover one of the two",
        )


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


def marker_cells(number: int) -> NDArray[np.uint8]:
    """Return the six by six cells of a marker, its black border included: 0 black, 255 white."""
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, DICTIONARY))
    return np.asarray(cv2.aruco.generateImageMarker(dictionary, number, _CELLS, borderBits=1))
