"""The runway in a film: a thin line with distances along it."""

from __future__ import annotations

import numpy as np

from penult.model.arrays import Floats
from penult.model.calibration import Camera
from penult.outputs.pictures import ink
from penult.outputs.pictures.figure import View, on_plane
from penult.outputs.texts.tongue import INCH_M, Tongue

_TEXT_PX = 13
_SHORT_PX, _LONG_PX = 9.0, 15.0
_STEPS = {"metres": 1.0, "feet": 60.0 * INCH_M}
"""Distance between ticks: a metre, or five feet."""


def draw_ground_line(
    image: ink.Picture, view: View, camera: Camera, reach_m: tuple[float, float], tongue: Tongue, *, has_line: bool
) -> None:
    """Draw the runway's surface on the lane's centre line, with a tick and its distance to the take-off line or first mark."""
    x_m = np.linspace(*reach_m, 25)
    line = view.project(camera, on_plane(np.stack([x_m, 0.0 * x_m], axis=1)))
    ink.stroke(image, line, ink.RUNWAY, 2.0, outline=ink.WHITE)
    step = _STEPS[tongue.units]
    places = np.arange(np.ceil(x_m[0] / step), np.floor(x_m[-1] / step) + 1.0) * step
    ends = view.project(camera, on_plane(np.stack([places, 0.0 * places], axis=1)))
    seen = np.isfinite(ends).all(axis=1) & (ends[:, 0] > -40.0) & (ends[:, 0] < view.size_px[0] + 40.0)
    is_line = np.abs(places) < 0.01 if has_line else np.zeros(len(places), dtype=bool)
    _ticks(image, ends[seen & ~is_line], _SHORT_PX, ink.RUNWAY, 2.0)
    _ticks(image, ends[seen & is_line], _LONG_PX, ink.BLACK, 5.0)
    for place, at, line_here in zip(places[seen].tolist(), ends[seen], is_line[seen].tolist(), strict=True):
        text = tongue.say("line") if line_here else tongue.length(place)
        _under(image, text, at + np.array([0.0, (_LONG_PX if line_here else _SHORT_PX) + 1.0]))


def _ticks(image: ink.Picture, at_px: Floats, long_px: float, colour: ink.Colour, width: float) -> None:
    """Draw all ticks in one go, a NaN between two."""
    gap = np.full(2, np.nan)
    points = [p for at in at_px for p in (at, at + np.array([0.0, long_px]), gap)]
    if points:
        ink.stroke(image, np.array(points), colour, width, outline=ink.WHITE)


def _under(image: ink.Picture, label: str, top_px: Floats) -> None:
    width, height = ink.text_size(label, _TEXT_PX)
    x, y = float(top_px[0]) - width / 2.0, float(top_px[1])
    ink.plate(image, (x - 2, y, x + width + 2, y + height), ink.WHITE, 0.65)
    ink.write(image, label, (x, y), _TEXT_PX, ink.BLACK)
