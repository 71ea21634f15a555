"""Light that changes from picture to picture is taken out of a stack of small pictures. Pure.

Lamps on 50 or 60 Hz mains pulse at twice that; a camera sees the beat, and a rolling shutter sees it as bands of rows.
"""

from __future__ import annotations

import dataclasses

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from penult.model.arrays import Floats
from penult.model.shoe import ShoePatches

STEADY_SHARE = 0.02
"""Light that changes by less than this (one SD) is left as it is: no film without flicker is touched."""

DARK = 8.0
"""Grey levels added before a ratio is taken, so that noise in the dark does not look like light."""

BAND_ROWS = 7


def evened(patches: ShoePatches) -> ShoePatches:
    """Return the patches as they would look in steady light.

    Parameters
    ----------
    patches : ShoePatches
        Each row's light is the median, over its columns, of its ratio to the same row's usual picture: a shoe covers
        less than half of a row.

    Returns
    -------
    ShoePatches
        The same object where the light is steady.
    """
    if len(patches.images) < 3:
        return patches
    light = row_light(patches.images)
    if float(np.std(light)) < STEADY_SHARE:
        return patches
    steady = (patches.images + DARK) / light[:, :, None, None] - DARK
    return dataclasses.replace(patches, images=np.clip(steady.round(), 0, 255).astype(np.uint8))


def row_light(images: NDArray[np.uint8]) -> Floats:
    """Return the light (n, h) of every row of every picture of a stack (n, h, w, 3), 1 in the median over time."""
    grey = images.astype(np.float32).mean(axis=3) + DARK
    usual = np.median(grey, axis=0)
    ratio = np.median(grey / usual, axis=2)
    return np.asarray(uniform_filter1d(ratio, BAND_ROWS, axis=1, mode="nearest"), dtype=np.float64)
