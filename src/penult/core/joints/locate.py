"""Joints from the picture to the runway, each at its own depth."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence

import numpy as np
from scipy.ndimage import binary_closing

from penult.core.joints.clean import GAP_S
from penult.core.lane.aside import FOOT_FROM_LINE_M, FOOT_SD_M
from penult.core.lane.camera import at_depth, project
from penult.model.arrays import Bools, Floats, Ints, locked
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
    "ankle": 0.03,
    "heel": 0.03,
    "toe": FOOT_FROM_LINE_M,
}
"""Distance of each joint from the athlete's plane of symmetry, for a body of 1.75 m (common practice, no source: hip joint
centres about 17 cm apart; ankles as a compromise of 5.5 cm in films of feet set straight and -1 cm in those of feet near the line);
its spread enters the uncertainty as `depth_sd_m`."""

DEPTH_SD_M = {"wrist": 0.08, "ankle": 0.035, "heel": 0.035, "toe": FOOT_SD_M, "other": 0.02}
"""How well those depths are known, one SD. On the films with known truth they are off by 1 to 2 cm at legs and trunk and pass
within another 1 cm in a stride (1.8 cm RMS), by 2.5 to 4 cm at the ankles (see `HALF_WIDTH_M`), and by 6 to 9 cm at the
wrists, which running people carry before the chest."""


def depth_sd_m() -> Floats:
    """SD (k,) of every joint's depth about the athlete's."""
    return np.array([DEPTH_SD_M.get(name.split("_")[-1], DEPTH_SD_M["other"]) for name in JOINTS])


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


def to_picture(runway: RunwayTrack, pixels: PixelTrack, cameras: Sequence[Camera]) -> PixelTrack:
    """Put the joints that were filled in on the runway into the picture too, for drawing.

    Parameters
    ----------
    runway : RunwayTrack
        With its gaps filled and marked.
    pixels : PixelTrack
        The same rows as they were seen.
    cameras : sequence of Camera
        One for a still camera, or one for every row.

    Returns
    -------
    PixelTrack
        Joints that were not filled are left as they are.
    """
    xy_px = np.array(pixels.xy_px)
    for row in np.flatnonzero(runway.filled.any(axis=1)).tolist():
        k = runway.filled[row]
        place = np.concatenate([runway.xy_m[row, k], runway.z_m[k, None]], axis=1)
        xy_px[row, k] = project(cameras[0] if len(cameras) == 1 else cameras[row], place)
    return dataclasses.replace(pixels, xy_px=xy_px, filled=pixels.filled | runway.filled)


def inside_picture(track: PixelTrack, weight: Floats, size_px: tuple[int, int], margin_px: float) -> Bools:
    """Rows in which the whole body is in the picture.

    Parameters
    ----------
    track : PixelTrack
        t rows of k joints.
    weight : (t, k) float64
        Joints with weight 0 are not asked: a misplaced foot must not put the athlete out of the picture.
    size_px : (int, int)
        Of the picture.
    margin_px : float
        Joints nearer to the edge than this may be cut off.

    Returns
    -------
    (t,) bool
        False without a body; one or two odd looks of the pose model between others go with them, and so do rows that it did
        not look at. From the first touch of the edge that the body runs towards, no row counts any more, and none before the last
        touch of the edge that it came from: of a body that is partly gone, the pose model squeezes what is missing back into
        the picture.
    """
    limit = np.array(size_px, dtype=float) - 1.0 - margin_px
    with np.errstate(invalid="ignore"):
        beyond = np.asarray((track.xy_px < margin_px) | (track.xy_px > limit), dtype=bool)
    out: Bools = np.asarray(np.asarray(np.any(beyond, axis=2)) & (weight > 0))
    whole: Bools = np.asarray(np.isfinite(track.xy_px).all(axis=2))
    seen = np.flatnonzero(whole.any(axis=1))
    if not len(seen):
        return np.zeros(len(whole), dtype=bool)
    inside: Bools = np.asarray(~out[seen].any(axis=1))
    longest_s = max(GAP_S, 3.0 * float(np.median(np.diff(track.time_s)))) * (1.0 + 1e-6) if len(seen) > 1 else 0.0
    together = np.zeros(len(whole), dtype=bool)
    for looks in np.split(np.arange(len(seen)), np.flatnonzero(np.diff(track.time_s[seen]) > longest_s) + 1):
        closed = binary_closing(np.pad(inside[looks], 2, mode="edge"), np.ones(3, dtype=bool))[2:-2]
        together |= _from_look_to_look(len(whole), seen[looks], closed)
    return np.asarray(together & _between_edges(track, weight, (margin_px, float(limit[0]))))


def _from_look_to_look(count: int, seen: Ints, good: Bools) -> Bools:
    """Rows (count,) that are good, or lie between two that are: the pose model may not have looked at all of them."""
    out = np.zeros(count, dtype=bool)
    out[seen] = good
    bridged = good[:-1] & good[1:]
    for first, last in zip(seen[:-1][bridged].tolist(), seen[1:][bridged].tolist(), strict=True):
        out[first:last] = True
    return out


def _between_edges(track: PixelTrack, weight: Floats, edges_px: tuple[float, float]) -> Bools:
    """Rows (t,) after the body has wholly come in at one side and before any of it leaves at the other."""
    rows = np.arange(len(track.xy_px))
    x_px = np.where(weight > 0, track.xy_px[..., 0], np.nan)
    seen = np.flatnonzero(np.isfinite(x_px).any(axis=1))
    if len(seen) < 2:
        return np.ones(len(rows), dtype=bool)
    middle = np.nanmedian(x_px[seen], axis=1)
    with np.errstate(invalid="ignore"):
        low, high = ((x_px < edges_px[0]).any(axis=1), (x_px > edges_px[1]).any(axis=1))
    came, left = (low, high) if middle[-1] > middle[0] else (high, low)
    first_left = rows[left].min(initial=len(rows))
    last_came = rows[came & (rows < first_left)].max(initial=-1)
    return np.asarray((rows > last_came) & (rows < first_left))
