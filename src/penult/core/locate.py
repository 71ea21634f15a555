"""Joints from the picture to the runway, each at its own depth."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from penult.core.camera import at_depth
from penult.model.arrays import Bools, Floats, locked
from penult.model.calibration import Camera
from penult.model.skeleton import JOINTS
from penult.model.track import PixelTrack, RunwayTrack

HALF_WIDTH_M = {
    "head": 0.0,
    "shoulder": 0.18,
    "elbow": 0.22,
    "wrist": 0.20,
    "hip": 0.085,
    "knee": 0.07,
    "ankle": 0.05,
    "heel": 0.05,
    "toe": 0.05,
}
"""Distance of each joint from the athlete's plane of symmetry, for a body of 1.75 m (common practice, no source: hip joint
centres about 17 cm and feet about 10 cm apart in running); its spread enters the uncertainty as DEPTH_SD_M."""

DEPTH_SD_M = 0.03
"""How well those depths and the athlete's line on the runway are known, one SD (common practice, no source)."""


def joint_depths(scale: float = 1.0) -> Floats:
    """Return z of every joint (k,) about the lane's centre line; left is negative (z points to the athlete's right)."""
    z = []
    for name in JOINTS:
        side, _, part = name.partition("_")
        width = HALF_WIDTH_M[part or name]
        z.append(-width if side == "left" else width if side == "right" else 0.0)
    return np.array(z) * scale


def to_runway(track: PixelTrack, cameras: Sequence[Camera], z_m: Floats) -> RunwayTrack:
    """Map every joint to x and y on the vertical plane at its own depth.

    Parameters
    ----------
    track : PixelTrack
        Joints in the upright picture.
    cameras : sequence of Camera
        One for a still camera, or one for every row.
    z_m : (k,) float64
        Depth of each joint.

    Returns
    -------
    RunwayTrack
        NaN where the track has none.
    """
    if len(cameras) == 1:
        xy_m = at_depth(cameras[0], track.xy_px, z_m)
    else:
        xy_m = np.stack([at_depth(c, row, z_m) for c, row in zip(cameras, track.xy_px, strict=True)])
    return RunwayTrack(frame=track.frame, time_s=track.time_s, xy_m=xy_m, z_m=locked(z_m), filled=track.filled)


def inside_picture(track: PixelTrack, size_px: tuple[int, int], margin_px: float) -> Bools:
    """Rows whose every joint is at least `margin_px` inside the picture; a row without a body is False."""
    low = np.nanmin(np.where(np.isfinite(track.xy_px), track.xy_px, np.inf), axis=1)
    high = np.nanmax(np.where(np.isfinite(track.xy_px), track.xy_px, -np.inf), axis=1)
    limit = np.array(size_px, dtype=float) - 1.0 - margin_px
    seen = np.isfinite(track.xy_px).all(axis=(1, 2))
    return np.asarray(seen & (low >= margin_px).all(axis=1) & (high <= limit).all(axis=1))
