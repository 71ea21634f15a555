"""How much of the picture changes from frame to frame: what tells repeated, blended and missing pictures (OpenCV)."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from penult.model.arrays import Floats

WIDTH_PX = 480
"""Pictures are compared at about this width: an athlete of 1.8 m is still 70 pixels tall, noise is averaged."""

LEVELS = 8
"""Grey levels of change that count: the noise of sixteen pixels averaged stays below in good light (0.5 to 2 levels)."""

LEAST_PX = 20
"""Fewer changed pixels tell nothing of a blend."""


def _changed(over: NDArray[Any]) -> float:
    """How many pixels changed by more than LEVELS."""
    return float(cv2.countNonZero(cv2.compare(over, LEVELS, cv2.CMP_GT)))


class Changes:
    """Gathers, picture by picture, what changed since the last and the one before, and how far the middle one is their mean."""

    def __init__(self) -> None:
        self._before: list[NDArray[np.uint8]] = []
        self._rows: list[tuple[float, float, float]] = []

    def add(self, grey: NDArray[np.uint8]) -> None:
        """Take the next picture (h, w), in full size."""
        factor = max(grey.shape[1] // WIDTH_PX, 1)
        size = (grey.shape[1] // factor, grey.shape[0] // factor)
        small = np.asarray(cv2.resize(grey, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)
        one = _changed(cv2.absdiff(small, self._before[-1])) if self._before else np.nan
        two, bend = np.nan, np.nan
        if len(self._before) == 2:
            first, middle = self._before
            over = cv2.absdiff(small, first)
            two = _changed(over)
            strong = np.flatnonzero(cv2.compare(over, 2 * LEVELS, cv2.CMP_GT))
            if len(strong) >= LEAST_PX:
                a, b, c = (picture.reshape(-1)[strong].astype(np.int16) for picture in (first, middle, small))
                bend = float(np.abs(2 * b - a - c).sum() / np.abs(c - a).sum())
        self._rows.append((one, two, np.nan))
        if len(self._rows) > 1:
            self._rows[-2] = (*self._rows[-2][:2], bend)
        self._before = [*self._before[-1:], small]

    def result(self) -> Floats:
        """Return (t, 3): pixels changed since the picture before, since the one before that, and how far this one is from the
        mean of its neighbours, as a share of their difference; NaN where there are none."""
        return np.array(self._rows, dtype=np.float64).reshape(-1, 3)
