"""Where a camera fit starts: a grid of view directions and focal lengths, each with its best translation.

For a known rotation and focal length the translation follows from linear equations, so a coarse grid over the rest
finds the right valley without trusting any single mark pair; the marks of a lane may lie in one plane or many.
"""

from __future__ import annotations

import numpy as np
from scipy.spatial.transform import Rotation

from penult.core.lane import pinhole
from penult.model.arrays import Floats

_YAWS_DEG = (-75.0, -45.0, -20.0, 0.0, 20.0, 45.0, 75.0)
_PITCHES_DEG = (-8.0, 8.0)
_ROLLS_DEG = (0.0, 90.0, 180.0, 270.0)
_FOCAL_SHARES = (0.55, 1.0, 1.8)
_LEVEL_FROM_RIGHT = np.diag([1.0, -1.0, -1.0])
"""Camera axes of a level camera on the athlete's right (z > 0) that looks square at the run."""
_LEVEL_FROM_LEFT = np.diag([-1.0, -1.0, 1.0])
_STARTS = 5


def starts(
    xyz_m: Floats, xy_px: Floats, centre_px: tuple[float, float], base: Floats, log_focal: float | None
) -> list[Floats]:
    """Return the most promising parameter vectors, best first.

    Parameters
    ----------
    xyz_m, xy_px : (m, 3), (m, 2) float64
        Marks.
    centre_px : (float, float)
        Principal point.
    base : (9,) float64
        Values of k1 and k2.
    log_focal : float, optional
        Known log focal length; None tries several.
    """
    longer_px = 2.0 * max(centre_px)
    focals_px = [float(np.exp(log_focal))] if log_focal is not None else [s * longer_px for s in _FOCAL_SHARES]
    seen = (xy_px - np.asarray(centre_px))[None] / np.array(focals_px)[:, None, None]
    turns = _turns()
    ranked: list[tuple[float, Floats]] = []
    for focal_px, flat in zip(focals_px, seen, strict=True):
        shift_m, cost = _translations(turns, xyz_m, flat)
        for i in np.argsort(cost)[:_STARTS]:
            parameters = base.copy()
            parameters[:3] = Rotation.from_matrix(turns[i]).as_rotvec()
            parameters[3:6] = shift_m[i]
            parameters[pinhole.LOG_FOCAL] = np.log(focal_px)
            ranked.append((float(cost[i]) * focal_px, parameters))
    ranked.sort(key=lambda pair: pair[0])
    return [parameters for _, parameters in ranked[:_STARTS]]


def _turns() -> Floats:
    """Return the (n, 3, 3) rotations that are tried: both sides of the run, turned, tilted and rolled."""
    angles = [(roll, pitch, yaw) for roll in _ROLLS_DEG for pitch in _PITCHES_DEG for yaw in _YAWS_DEG]
    extra = Rotation.from_euler("zxy", angles, degrees=True).as_matrix()
    return np.concatenate([extra @ level for level in (_LEVEL_FROM_RIGHT, _LEVEL_FROM_LEFT)])


def _translations(turns: Floats, xyz_m: Floats, flat: Floats) -> tuple[Floats, Floats]:
    """Return each rotation's best translation (n, 3) and its cost: the median miss, in focal lengths."""
    turned = np.einsum("nij,mj->nmi", turns, xyz_m)
    gap = flat * turned[..., 2:] - turned[..., :2]  # (R X + t)_xy = flat (R X + t)_z, linear in t
    one, zero = np.ones(len(flat)), np.zeros(len(flat))
    rows = np.concatenate([np.stack([one, zero, -flat[:, 0]], 1), np.stack([zero, one, -flat[:, 1]], 1)])
    right = np.concatenate([gap[..., 0], gap[..., 1]], axis=1)
    shift_m = right @ np.linalg.pinv(rows).T
    in_camera = turned + shift_m[:, None]
    ahead = in_camera[..., 2]
    miss = np.linalg.norm(in_camera[..., :2] / np.where(ahead > 0.1, ahead, np.nan)[..., None] - flat, axis=-1)
    return shift_m, np.median(np.where(np.isfinite(miss), miss, 10.0), axis=1)
