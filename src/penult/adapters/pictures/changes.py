"""How much of the picture changes from frame to frame: what tells repeated, blended and missing pictures (OpenCV)."""

from __future__ import annotations

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


class Changes:
    """Gathers, picture by picture, what changed since the last and the one before, and how far the middle one is their mean."""

    def __init__(self) -> None:
        self._before: list[NDArray[np.int16]] = []
        self._rows: list[tuple[float, float, float]] = []

    def add(self, grey: NDArray[np.uint8]) -> None:
        """Take the next picture (h, w), in full size."""
        factor = max(grey.shape[1] // WIDTH_PX, 1)
        size = (grey.shape[1] // factor, grey.shape[0] // factor)
        small = np.asarray(cv2.resize(grey, size, interpolation=cv2.INTER_AREA), dtype=np.int16)
        one = float(np.count_nonzero(np.abs(small - self._before[-1]) > LEVELS)) if self._before else np.nan
        two, bend = np.nan, np.nan
        if len(self._before) == 2:
            first, middle = self._before
            over = np.abs(small - first)
            two = float(np.count_nonzero(over > LEVELS))
            strong = over > 2 * LEVELS
            if np.count_nonzero(strong) >= LEAST_PX:
                bend = float(np.abs(2 * middle[strong] - first[strong] - small[strong]).sum() / over[strong].sum())
        self._rows.append((one, two, np.nan))
        if len(self._rows) > 1:
            self._rows[-2] = (*self._rows[-2][:2], bend)
        self._before = [*self._before[-1:], small]

    def result(self) -> Floats:
        """Return (t, 3): pixels changed since the picture before, since the one before that, and how far this one is from the
        mean of its neighbours, as a share of their difference; NaN where there are none."""
        return np.array(self._rows, dtype=np.float64).reshape(-1, 3)
