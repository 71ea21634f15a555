"""What stands still in the patches of one contact: the picture without the shoe, the shoe in support, the noise.

Grey levels in, grey levels out; where the shoe is and when it moves is decided elsewhere.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from penult.model.arrays import Bools, Floats
from penult.model.shoe import RoughContact, ShoePatches

Pixels = NDArray[np.float32]

AWAY_S = 0.05
"""A foot is out of its place 50 ms before and after the contact: it comes and goes at 2 m/s and more, so by then it is 10 cm
away, and the rough times may be off by half of that."""

CORE = (0.35, 0.70)
"""Part of the rough contact in which the forefoot surely bears, for contacts of 0.08 s and longer whose ends are off by 25 ms."""

DARK = 12.0
"""Grey levels added before ratios are taken, so that noise (1 to 4 levels in phone films) does not rule in the dark."""


LEAK = 0.15
"""Share of a background edge that may show as new: a picture displaced by 0.1 pixel, or a shadow sharpened by the codec."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """The part of all pictures in one box (n, h, w, 3), and of the background (h, w, 3)."""

    pictures: Pixels
    empty: Pixels


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """Float pictures (n, h, w, 3), the median without the shoe and in support (h, w, 3), noise in grey levels, pixel size."""

    pictures: Pixels
    time_s: Floats
    x_m: Floats
    y_m: Floats
    background: Pixels
    support: Pixels
    noise: float
    pixel_m: float

    def columns(self, low_m: float, high_m: float) -> slice:
        """Columns whose place lies between two places along the run."""
        return slice(int(np.searchsorted(self.x_m, low_m)), int(np.searchsorted(self.x_m, high_m)))

    def rows(self, low_m: float, high_m: float) -> slice:
        """Rows whose height lies between two heights (rows fall)."""
        return slice(int(np.searchsorted(-self.y_m, -high_m)), int(np.searchsorted(-self.y_m, -low_m)))

    def box(self, x_m: float, height_m: float, reach_m: tuple[float, float, float, float]) -> Box:
        """The pictures of a box about a place: reach behind, ahead, below and above it."""
        rows = self.rows(height_m + reach_m[2], height_m + reach_m[3])
        columns = self.columns(x_m + reach_m[0], x_m + reach_m[1])
        return Box(pictures=self.pictures[:, rows, columns], empty=self.background[rows, columns])

    def during(self, start_s: float, end_s: float) -> Bools:
        """Pictures taken between two instants; the one nearest to their middle if there is none."""
        inside = (self.time_s >= start_s) & (self.time_s <= end_s)
        if not inside.any():
            inside[np.abs(self.time_s - (start_s + end_s) / 2.0).argmin()] = True
        return inside


def look(patches: ShoePatches, rough: RoughContact, background: Pixels | None = None) -> Scene | None:
    """Take medians over the pictures without the shoe and over those in mid-support.

    Returns
    -------
    Scene or None
        None when fewer than two pictures show the place without the shoe, or none shows the support.
    """
    time = patches.time_s
    away = (time < rough.start_s - AWAY_S) | (time > rough.end_s + AWAY_S)
    lasts = rough.end_s - rough.start_s
    core = (time >= rough.start_s + CORE[0] * lasts) & (time <= rough.start_s + CORE[1] * lasts)
    if (background is None and away.sum() < 2) or not core.any():
        return None
    pictures = patches.images.astype(np.float32)
    empty = np.median(pictures[away], axis=0) if background is None else background.astype(np.float32)
    support = np.median(pictures[core], axis=0)
    return Scene(
        pictures=pictures,
        time_s=time,
        x_m=patches.x_m,
        y_m=patches.y_m,
        background=empty,
        support=support,
        noise=_noise(pictures[core], pictures[away], empty),
        pixel_m=float(patches.x_m[1] - patches.x_m[0]),
    )


def new_edges(scene: Scene, support: Pixels) -> tuple[Pixels, Pixels]:
    """Edges that the shoe brings into the picture: steps of the log ratio of support to background between neighbours.

    A shadow darkens all colours by one smooth factor, so it has no steps in the log ratio; a shoe has, and also where its own
    colour is that of the surface but the shadow around it is not. Source: own derivation from the Lambertian model.

    Returns
    -------
    along : (h, w - 1) float32
        Steps from column to column, the largest of the three colours.
    up : (h - 1, w) float32
        Steps from row to row.
    """
    empty = np.log(scene.background + DARK)
    ratio = np.log(support + DARK) - empty
    return _steps(ratio, empty, 1), _steps(ratio, empty, 0)


def _steps(ratio: Pixels, empty: Pixels, axis: int) -> Pixels:
    """Steps between neighbours, less what an unsteady picture of the background's own edges makes."""
    own = LEAK * np.abs(np.diff(empty, axis=axis)).max(axis=-1)
    steps: Pixels = np.clip(np.abs(np.diff(ratio, axis=axis)).max(axis=-1) - own, 0.0, None)
    return steps


def _noise(core: Pixels, away: Pixels, empty: Pixels) -> float:
    """Robust SD of a pixel from picture to picture (median absolute deviation x 1.4826), at least the rounding of 8 bits."""
    frames = away if len(away) > 2 else core
    spread = np.abs(frames - (empty if len(away) > 2 else np.median(core, axis=0)))
    return float(max(1.4826 * np.median(spread), 0.3))
