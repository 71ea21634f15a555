"""The calibration still with the fitted 1 m grid and the marks drawn over it."""

from __future__ import annotations

import cv2
import numpy as np

from penult.core.camera import project
from penult.core.expected import visible_m
from penult.model.arrays import Floats, Image
from penult.model.calibration import Camera, LaneFit

_HALF_WIDTH_M = 0.61
_TOP_M = 2
_PLANE, _GROUND, _ZERO = (40, 140, 255), (255, 200, 40), (255, 60, 60)
_MARK, _BAD = (60, 220, 90), (255, 40, 160)
_SHIFT = 4  # OpenCV draws at 1/16 pixel


def grid_picture(fit: LaneFit, still: Image) -> Image:
    """Return the still with the grid of the run plane (every metre, 0 to 2 m up) and of the runway, and the marks.

    Parameters
    ----------
    fit : LaneFit
    still : (h, w, 3) uint8
        RGB, of the lane's picture size.
    """
    drawn = np.ascontiguousarray(still.copy())
    width = max(1, round(max(drawn.shape) / 1300))
    low_m, high_m = visible_m(fit.camera)
    if np.isfinite(low_m):
        first, last = int(np.floor(low_m)), int(np.ceil(high_m))
        for x in range(first, last + 1):
            colour = _ZERO if x == 0 else _PLANE
            _line(drawn, fit.camera, (x, 0.0, 0.0), (x, float(_TOP_M), 0.0), colour, width)
            across = _ZERO if x == 0 else _GROUND
            _line(drawn, fit.camera, (x, 0.0, -_HALF_WIDTH_M), (x, 0.0, _HALF_WIDTH_M), across, width)
            _number(drawn, fit.camera, x)
        for y in range(_TOP_M + 1):
            _line(drawn, fit.camera, (first, float(y), 0.0), (last, float(y), 0.0), _PLANE, width)
        for z in (-_HALF_WIDTH_M, _HALF_WIDTH_M):
            _line(drawn, fit.camera, (first, 0.0, z), (last, 0.0, z), _GROUND, width)
    _draw_marks(drawn, fit, width)
    return drawn


def _line(
    drawn: Image,
    camera: Camera,
    start_m: tuple[float, float, float],
    end_m: tuple[float, float, float],
    colour: tuple[int, int, int],
    width: int,
) -> None:
    """Draw a straight line of the runway, bent as the lens bends it."""
    share = np.linspace(0.0, 1.0, 25)[:, None]
    points = project(camera, np.array(start_m) + share * (np.array(end_m) - np.array(start_m)))
    points = points[np.isfinite(points).all(axis=1) & (np.abs(points) < 1e5).all(axis=1)]
    fixed = np.round(points * (1 << _SHIFT)).astype(np.int32).reshape(-1, 1, 2)
    cv2.polylines(drawn, [fixed], isClosed=False, color=colour, thickness=width, lineType=cv2.LINE_AA, shift=_SHIFT)


def _number(drawn: Image, camera: Camera, x_m: int) -> None:
    place: Floats = project(camera, np.array([float(x_m), _TOP_M + 0.06, 0.0]))
    if not (np.isfinite(place).all() and (np.abs(place) < 1e5).all()):
        return
    size = max(drawn.shape) / 2400.0
    at = (int(place[0] - 14 * size), int(place[1]))
    for colour, extra in (((0, 0, 0), 3), ((255, 255, 255), 0)):
        thick = max(1, round(1.6 * size)) + extra
        cv2.putText(drawn, f"{x_m:d}", at, cv2.FONT_HERSHEY_SIMPLEX, size, colour, thick, cv2.LINE_AA)


def _draw_marks(drawn: Image, fit: LaneFit, width: int) -> None:
    bad = {r.name for r in fit.residuals if r.disagrees}
    for mark in fit.lane.marks:
        at = (round(mark.pixel_px[0]), round(mark.pixel_px[1]))
        colour = _BAD if mark.name in bad else _MARK
        cv2.circle(drawn, at, 5 * width, colour, width, cv2.LINE_AA)
