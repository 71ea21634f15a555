"""What stands still in the patches of one contact: the picture without the shoe, the shoe in support, the noise.

Grey levels in, grey levels out; where the shoe is and when it moves is decided elsewhere.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from penult.model.arrays import Bools, Floats
from penult.model.shoe import RoughContact, ShoePatches

Pixels = NDArray[np.float32]

AWAY_S = 0.05
"""A foot is out of its place 50 ms before and after the contact: it comes and goes at 2 m/s and more, so by then it is
10 cm away, and the rough times may be off by half of that."""

CORE = (0.35, 0.70)
"""Part of the rough contact in which the forefoot surely bears, for contacts of 0.08 s and longer with ends off by 25 ms."""

DARK = 12.0
"""Grey levels added before ratios are taken, so that noise (1 to 4 levels in phone films) does not rule in the dark."""

LEAK = 0.15
"""Share of a background edge that may show as new: a picture off by 0.1 pixel, or a shadow sharpened by the codec."""

ALONG_EDGE_M = 0.015
"""Ratios are averaged over this length along an edge: noise falls, and a shoe's border is straight over it."""

NOT_WORTH_PX = 0.03
"""Smaller displacements are left: the interpolation would cost more sharpness than it mends."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """The part of all pictures in one box (n, h, w, 3), and of the background (h, w, 3)."""

    pictures: Pixels
    empty: Pixels


@dataclass(frozen=True, slots=True, kw_only=True)
class ShoePictures:
    """One contact's pictures (n, h, w, 3), medians without the shoe and in support, noise in grey levels, pixel size."""

    pictures: Pixels
    time_s: Floats
    x_m: Floats
    y_m: Floats
    background: Pixels
    support: Pixels
    noise: float
    pixel_m: float

    @property
    def interval_s(self) -> float:
        """The usual frame interval."""
        return float(np.median(np.diff(self.time_s)))

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

    def between(self, start_s: float, end_s: float) -> Pixels:
        """Median picture between two instants; the one nearest to their middle if there is none."""
        inside = (self.time_s >= start_s) & (self.time_s <= end_s)
        if not inside.any():
            inside[np.abs(self.time_s - (start_s + end_s) / 2.0).argmin()] = True
        return median(self.pictures, inside)


def look(patches: ShoePatches, rough: RoughContact, background: Pixels | None = None) -> ShoePictures | None:
    """Take medians over the pictures without the shoe and over those in mid-support.

    Returns
    -------
    ShoePictures or None
        None when fewer than two pictures show the place without the shoe, or none shows the support.
    """
    time = patches.time_s
    away = (time < rough.start_s - AWAY_S) | (time > rough.end_s + AWAY_S)
    lasts = rough.end_s - rough.start_s
    core = (time >= rough.start_s + CORE[0] * lasts) & (time <= rough.start_s + CORE[1] * lasts)
    if (background is None and away.sum() < 2) or not core.any():
        return None
    pictures = patches.images.astype(np.float32)
    empty = median(pictures, away) if background is None else background.astype(np.float32)
    pictures = steadied(pictures, empty)
    still = away if away.sum() > 2 else core
    spread = np.abs(pictures[still] - (empty if away.sum() > 2 else median(pictures, core)))
    return ShoePictures(
        pictures=pictures,
        time_s=time,
        x_m=patches.x_m,
        y_m=patches.y_m,
        background=empty,
        support=median(pictures, core),
        noise=float(max(1.4826 * np.median(spread), 0.3)),  # robust SD; at least the rounding of 8 bits
        pixel_m=float(patches.x_m[1] - patches.x_m[0]),
    )


def median(pictures: Pixels, chosen: Bools) -> Pixels:
    """Median of the chosen pictures (h, w, 3)."""
    return np.asarray(np.median(pictures[chosen], axis=0), dtype=np.float32)


def largest(colours: Pixels) -> Pixels:
    """The largest of the three colours (..., 3), which numpy's own maximum over a short axis takes ten times longer for."""
    return np.asarray(np.maximum(np.maximum(colours[..., 0], colours[..., 1]), colours[..., 2]))


def new_edges(scene: ShoePictures, support: Pixels) -> tuple[Pixels, Pixels]:
    """Edges that the shoe brings in: steps of the log ratio of support to background between neighbours.

    A shadow darkens all colours by one smooth factor, so it has no steps in the log ratio; a shoe has, and also where its
    own colour is that of the surface but the shadow around it is not. Source: own derivation from the Lambertian model.

    Returns
    -------
    along : (h, w - 1) float32
        Steps from column to column, the largest of the three colours.
    up : (h - 1, w) float32
        Steps from row to row.
    """
    empty = np.log(scene.background + DARK)
    ratio = np.log(support + DARK) - empty
    size = max(round(ALONG_EDGE_M / scene.pixel_m), 1)
    return _steps(uniform_filter1d(ratio, size, axis=0), empty, 1), _steps(
        uniform_filter1d(ratio, size, axis=1), empty, 0
    )


def _steps(ratio: Pixels, empty: Pixels, axis: int) -> Pixels:
    """Steps between neighbours, less what an unsteady picture of the background's own edges makes."""
    own = LEAK * largest(np.abs(np.diff(empty, axis=axis)))
    return np.asarray(np.clip(largest(np.abs(np.diff(ratio, axis=axis))) - own, 0.0, None))


def steadied(pictures: Pixels, empty: Pixels) -> Pixels:
    """Move every picture by the fraction of a pixel that lays its still parts on the background.

    One step of least squares on the background's gradients (Lucas and Kanade 1981), with the moving parts left out and a
    displacement of 1 pixel, one SD, as prior: a camera's path is known to some tenths of a pixel only.
    """
    gy, gx = np.gradient(empty, axis=(0, 1))
    rest = pictures - empty
    differs = largest(np.abs(rest))
    usual = float(np.median(differs)) + 0.5
    still = differs < 4.0 * usual + largest(
        np.abs(gx) + np.abs(gy)
    )  # a displacement of one pixel makes up to the slope
    rest *= still[..., None]
    xx, xy, yy = (np.einsum("nhw,hw->n", still.astype(np.float32), p.sum(-1)) for p in (gx * gx, gx * gy, gy * gy))
    by_x, by_y = (np.einsum("nk,k->n", rest.reshape(len(rest), -1), g.ravel()) for g in (gx, gy))
    prior = usual**2
    whole = (xx + prior) * (yy + prior) - xy**2
    dx = np.clip(((yy + prior) * by_x - xy * by_y) / whole, -1.0, 1.0)
    dy = np.clip(((xx + prior) * by_y - xy * by_x) / whole, -1.0, 1.0)
    steady = pictures.copy()
    for k in np.flatnonzero(np.maximum(np.abs(dx), np.abs(dy)) > NOT_WORTH_PX):
        steady[k] = _moved(pictures[k], float(dx[k]), float(dy[k]))
    return steady


def _moved(picture: Pixels, dx: float, dy: float) -> Pixels:
    """The picture displaced by less than a pixel (linear between neighbours; the border repeated)."""
    h, w = picture.shape[:2]
    wide = np.pad(picture, ((1, 1), (0, 0), (0, 0)), mode="edge")
    from_row = 2 if dy < 0.0 else 0
    moved = picture * np.float32(1.0 - abs(dy)) + wide[from_row : from_row + h] * np.float32(abs(dy))
    wide = np.pad(moved, ((0, 0), (1, 1), (0, 0)), mode="edge")
    from_column = 2 if dx < 0.0 else 0
    return np.asarray(moved * np.float32(1.0 - abs(dx)) + wide[:, from_column : from_column + w] * np.float32(abs(dx)))
