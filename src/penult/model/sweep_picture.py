"""One picture of a sweep, and what it is found again by."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from penult.model.arrays import Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Key:
    """One picture of a sweep, all in pixels of the small picture.

    Parameters
    ----------
    frame : int
        Of the sweep.
    small : (h, w) uint8
        Reduced, evened grey picture.
    at_px : (2,) float64
        How far the camera had moved on since the first picture, roughly.
    corners_px : (n, 2) float64
        Points that optical flow can follow.
    key_points_px : (m, 2) float64
        Features.
    words : (m, 128) float32
        Their descriptions.
    """

    frame: int
    small: NDArray[np.uint8]
    at_px: Floats
    corners_px: Floats
    key_points_px: Floats
    words: NDArray[np.float32]
