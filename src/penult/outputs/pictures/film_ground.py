"""The runway in a film: a thin line with distances along it."""

from __future__ import annotations

import numpy as np

from penult.model.arrays import Floats
from penult.model.calibration import Camera
from penult.outputs.pictures import ink
from penult.outputs.pictures.figure import View, on_plane
from penult.outputs.texts.tongue import INCH_M, Tongue

_TEXT_PX = 13
_REACH_M = 4.0
_STEPS = {"metres": 1.0, "feet": 60.0 * INCH_M}
"""Distance between ticks: a metre, or five feet."""


def draw_ground_line(
    image: ink.Picture, view: View, camera: Camera, hip_m: Floats, tongue: Tongue, *, has_line: bool
) -> None:
    """Draw the runway's surface on the lane's centre line, with a tick and its distance to the take-off line or first mark."""
    middle = float(hip_m[0]) if np.isfinite(hip_m[0]) else 0.0
    x_m = np.linspace(middle - _REACH_M, middle + _REACH_M, 9)
    line = view.project(camera, on_plane(np.stack([x_m, 0.0 * x_m], axis=1)))
    ink.stroke(image, line, ink.RUNWAY, 2.0, outline=ink.WHITE)
    step = _STEPS[tongue.units]
    places = np.arange(np.ceil(x_m[0] / step), np.floor(x_m[-1] / step) + 1.0) * step
    ends = view.project(camera, on_plane(np.stack([places, 0.0 * places], axis=1)))
    for place, at in zip(places.tolist(), ends, strict=True):
        if not (np.isfinite(at).all() and -40.0 < at[0] < view.size_px[0] + 40.0):
            continue
        is_line = has_line and abs(place) < 0.01
        long = 15.0 if is_line else 9.0
        tick = np.array([at, at + np.array([0.0, long])])
        ink.stroke(image, tick, ink.BLACK if is_line else ink.RUNWAY, 5.0 if is_line else 2.0, outline=ink.WHITE)
        _under(image, tongue.say("line") if is_line else tongue.length(place), at + np.array([0.0, long + 1.0]))


def _under(image: ink.Picture, label: str, top_px: Floats) -> None:
    width, height = ink.text_size(label, _TEXT_PX)
    x, y = float(top_px[0]) - width / 2.0, float(top_px[1])
    ink.plate(image, (x - 2, y, x + width + 2, y + height), ink.WHITE, 0.65)
    ink.write(image, label, (x, y), _TEXT_PX, ink.BLACK)
