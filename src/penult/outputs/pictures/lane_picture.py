"""The calibration still with the fitted 1 m grid and the marks drawn over it."""

from __future__ import annotations

import numpy as np

from penult.core.lane.camera import project
from penult.core.lane.trust_map import visible_m
from penult.model.arrays import Floats, Image
from penult.model.calibration import Camera, LaneFit
from penult.outputs.pictures.ink import (
    BLACK,
    OTHER,
    RUNWAY,
    SUPPORT,
    WHITE,
    Colour,
    plate,
    ring,
    stroke,
    text_size,
    write,
)

_HALF_WIDTH_M = 0.61
_TOP_M = 2
_LINE_POINTS = 25
_LEGEND: tuple[tuple[Colour, str], ...] = (
    (WHITE, "every metre over the middle line, 0 to 2 m up"),
    (RUNWAY, f"runway, {2 * _HALF_WIDTH_M:.2f} m wide"),
    (SUPPORT, "line: x = 0; square: a mark that disagrees"),
    (OTHER, "marks"),
)

Place = tuple[float, float, float]


def grid_picture(fit: LaneFit, still: Image) -> Image:
    """Return the still with the grid of the run plane (every metre, 0 to 2 m up) and of the runway, and the marks.

    Parameters
    ----------
    fit : LaneFit
    still : (h, w, 3) uint8
        RGB, of the lane's picture size.
    """
    drawn = np.ascontiguousarray(still.copy())
    width = max(1.0, round(max(drawn.shape) / 1000))
    low_m, high_m = visible_m(fit.camera)
    if np.isfinite(low_m):
        lines = _grid(int(np.floor(low_m)), int(np.ceil(high_m)))
        for ends_m, colour in lines:
            stroke(drawn, _line(fit.camera, ends_m), colour, width, outline=BLACK)
        _numbers(drawn, fit.camera, low_m, high_m)
    _marks(drawn, fit, width)
    _legend(drawn)
    return drawn


def _grid(first: int, last: int) -> list[tuple[tuple[Place, Place], Colour]]:
    lines: list[tuple[tuple[Place, Place], Colour]] = [
        (((first, 0.0, z), (last, 0.0, z)), RUNWAY) for z in (-_HALF_WIDTH_M, _HALF_WIDTH_M)
    ]
    lines += [(((first, float(y), 0.0), (last, float(y), 0.0)), WHITE) for y in range(_TOP_M + 1)]
    for x in sorted(range(first, last + 1), key=lambda x: x == 0):  # the line at 0 lies over the others
        lines.append((((x, 0.0, -_HALF_WIDTH_M), (x, 0.0, _HALF_WIDTH_M)), RUNWAY if x else SUPPORT))
        lines.append((((x, 0.0, 0.0), (x, float(_TOP_M), 0.0)), WHITE if x else SUPPORT))
    return lines


def _line(camera: Camera, ends_m: tuple[Place, Place]) -> Floats:
    """Return the pixels of a straight line of the runway, bent as the lens bends it."""
    share = np.linspace(0.0, 1.0, _LINE_POINTS)[:, None]
    return project(camera, np.array(ends_m[0]) + share * (np.array(ends_m[1]) - np.array(ends_m[0])))


def _numbers(drawn: Image, camera: Camera, low_m: float, high_m: float) -> None:
    """Write the metres over the grid, and the heights beside an upright line in the middle."""
    size = _size(drawn)
    for x in range(int(np.ceil(low_m - 0.05)), int(np.floor(high_m + 0.05)) + 1):
        words = f"{x:d} m".replace("-", "−")
        _say(
            drawn, words, project(camera, [float(x), float(_TOP_M), 0.0]) - (text_size(words, size)[0] / 2, 1.6 * size)
        )
    middle = float(round((low_m + high_m) / 2.0))
    for y in range(1, _TOP_M + 1):
        _say(drawn, f"{y:d} m up", project(camera, [middle, float(y), 0.0]) + size * np.array([0.5, 0.3]))


def _say(drawn: Image, words: str, corner_px: Floats) -> None:
    """Write on a dark plate; what does not fit into the picture is moved into it."""
    if not (np.abs(corner_px) < 1e5).all():
        return
    size = _size(drawn)
    wide, high = text_size(words, size)
    x = float(np.clip(corner_px[0], 2.0, max(drawn.shape[1] - wide - 2.0, 2.0)))
    y = float(corner_px[1])
    plate(drawn, (x - 2.0, y, x + wide + 2.0, y + high), BLACK, 0.6)
    write(drawn, words, (x, y), size, WHITE)


def _size(drawn: Image) -> int:
    return int(max(9, round(max(drawn.shape) / 100.0)))


def _marks(drawn: Image, fit: LaneFit, width: float) -> None:
    bad = {r.name for r in fit.residuals if r.disagrees}
    for mark in fit.lane.marks:
        at = np.array(mark.pixel_px)
        ring(drawn, at, 4.0 * width + 2.0, BLACK, fill=None)
        ring(drawn, at, 4.0 * width, SUPPORT if mark.name in bad else OTHER, fill=None)
        if mark.name in bad:
            box = 8.0 * width * np.array([(-1, -1), (1, -1), (1, 1), (-1, 1), (-1, -1)])
            stroke(drawn, at + box, SUPPORT, width, outline=BLACK)


def _legend(drawn: Image) -> None:
    """Write at the foot what is what."""
    size = _size(drawn)
    row = 1.5 * size
    wide = 4.5 * size + max(text_size(words, size)[0] for _, words in _LEGEND)
    top = drawn.shape[0] - row * (len(_LEGEND) + 0.8)
    plate(drawn, (0.0, top, wide, drawn.shape[0]), BLACK, 0.6)
    for i, (colour, words) in enumerate(_LEGEND):
        y = top + row * (i + 0.4)
        stroke(drawn, np.array([(0.8 * size, y + 0.65 * size), (2.8 * size, y + 0.65 * size)]), colour, size / 6.0)
        write(drawn, words, (3.5 * size, y), size, WHITE)
