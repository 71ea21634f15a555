"""Where the trunk's pictures of a flight or a stride are to be cut, and which of them are enough."""

from __future__ import annotations

import numpy as np

from penult.core.joints.body import middle
from penult.core.numeric.fits import GRAVITY_M_PER_S2
from penult.model.arrays import Bools, Floats, Ints
from penult.model.track import RunwayTrack
from penult.model.trunk import TrunkWindow

SURFACE = 0.22
"""Depth of the surface on average over the pixels used, over the length shoulder to hip (from the ellipse)."""

MOST_PICTURES, STRIDE_PICTURES = 32, 24
"""Of a longer flight, and of a stride, pictures evenly spaced; the motion between them is smooth. Hip drop from 32, 24 and 20
pictures of a stride: 1.7, 1.9 and 2.2 mm RMS (twelve films with known truth)."""

LEAST_PICTURES = 5
"""Fewer pictures of a flight tell no motion from noise."""


def trunk_window(track: RunwayTrack, inside: Bools, start_s: float, end_s: float, lens_m: Floats) -> TrunkWindow | None:
    """Return where the trunk's pictures of one flight are to be cut, or None if too little of it is in the picture."""
    good = inside & np.isfinite(track.xy_m).all(axis=(1, 2))
    rows = np.flatnonzero((track.time_s >= start_s) & (track.time_s <= end_s) & good)
    breaks = np.flatnonzero(np.diff(rows) > 2)
    rows = rows[: breaks[0] + 1] if len(breaks) else rows
    if len(rows) < LEAST_PICTURES:
        return None
    shoulder, hip = middle(track.xy_m[rows], "shoulder"), middle(track.xy_m[rows], "hip")
    t = track.time_s[rows] - track.time_s[rows].mean()
    fall = np.stack([np.zeros_like(t), GRAVITY_M_PER_S2 * t**2 / 2.0], axis=1)
    path = np.vander(t, 2) @ np.polyfit(t, (shoulder + hip) / 2.0 + fall, 1) - fall
    return _window(track, rows, path, lens_m)


def _window(track: RunwayTrack, rows: Ints, path_m: Floats, lens_m: Floats, *, is_stride: bool = False) -> TrunkWindow:
    length = float(
        np.median(np.linalg.norm(middle(track.xy_m[rows], "shoulder") - middle(track.xy_m[rows], "hip"), axis=1))
    )
    side = 1.0 if lens_m[2] > 0 else -1.0
    centre = float(track.z_m.mean())
    return TrunkWindow(
        rows=rows,
        time_s=track.time_s[rows],
        path_m=path_m,
        z_m=centre + side * SURFACE * length,
        centre_z_m=centre,
        lens_m=lens_m,
        length_m=length,
        is_stride=is_stride,
    )


STRIDE_AROUND_S = 0.025
"""A stride is followed from so long before its first support until so long after its second: instants are fitted over it."""

STRIDE_BENDS = 5
"""Degree of the polynomial in time along which a stride's pictures are cut: support, flight, support."""


def stride_window(
    track: RunwayTrack, inside: Bools, start_s: float, end_s: float, lens_m: Floats
) -> TrunkWindow | None:
    """Return where the trunk's pictures from one support into the next are to be cut, or None if not all of it is in the picture.

    Parameters
    ----------
    track, inside
        Joints, and rows (t,) with the whole body in the picture.
    start_s, end_s : float
        The beginning of the first support and the end of the second.
    lens_m : (3,) float64
        Where the camera is.
    """
    good = inside & np.isfinite(track.xy_m).all(axis=(1, 2))
    rows = np.flatnonzero(
        (track.time_s >= start_s - STRIDE_AROUND_S) & (track.time_s <= end_s + STRIDE_AROUND_S) & good
    )
    if len(rows) < 2 * (STRIDE_BENDS + 1):
        return None
    interval_s = float(np.median(np.diff(track.time_s)))
    t = track.time_s[rows]
    if t[0] > start_s + 2.0 * interval_s or t[-1] < end_s - 2.0 * interval_s or np.diff(t).max() > STRIDE_AROUND_S:
        return None
    trunk = (middle(track.xy_m[rows], "shoulder") + middle(track.xy_m[rows], "hip")) / 2.0
    share = 2.0 * (t - t[0]) / (t[-1] - t[0]) - 1.0
    powers = np.polynomial.legendre.legvander(share, STRIDE_BENDS)
    path = powers @ np.linalg.lstsq(powers, trunk, rcond=None)[0]
    return _window(track, rows, path, lens_m, is_stride=True)


def chosen(window: TrunkWindow) -> Ints:
    """Return which of the window's rows are to be looked at, not too many, both ends among them."""
    count = min(len(window.rows), STRIDE_PICTURES if window.is_stride else MOST_PICTURES)
    return np.asarray(np.unique(np.linspace(0, len(window.rows) - 1, count).round().astype(int)))
