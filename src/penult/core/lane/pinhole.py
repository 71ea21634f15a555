"""The camera equations on bare parameters: pinhole, square pixels, radial distortion (OpenCV's convention).

Only formulas live here; `core.lane.camera` speaks in records, `core.lane.fit` fits. A parameter vector is a `Camera.parameters`:
rotation vector (3), translation in metres (3), natural log of the focal length in pixels, k1, k2. A point X on the
runway is R X + t in camera axes (x right, y down, z ahead).
"""

from __future__ import annotations

import numpy as np

from penult.model.arrays import Floats

SIZE = 9
LOG_FOCAL, K1, K2 = 6, 7, 8
_NEAREST_M = 0.05  # nothing that is measured is nearer to the lens
_NEWTON_STEPS = 30


def turned(rotvec: Floats) -> Floats:
    """Return the (3, 3) rotation of a rotation vector (Rodrigues; written out, for fits call it by the ten thousand)."""
    angle = float(np.sqrt(rotvec @ rotvec))
    x, y, z = rotvec.tolist()
    cross = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    sine = np.sin(angle) / angle if angle > 1e-8 else 1.0
    versine = (1.0 - np.cos(angle)) / angle**2 if angle > 1e-4 else 0.5
    return np.asarray(np.eye(3) + sine * cross + versine * (cross @ cross))


def nearer_turn(rotvec: Floats, like: Floats) -> Floats:
    """Return rotation vectors (..., 3) of the same rotations that lie near others (..., 3).

    A rotation by more than half a turn is also one by less about the opposite axis. A level camera is half a turn from the
    runway's axes, where libraries jump from one vector to the other, and every slope over that jump is wrong by kilometres.
    """
    length = np.linalg.norm(rotvec, axis=-1, keepdims=True)
    other = rotvec * (1.0 - 2.0 * np.pi / np.maximum(length, 1e-9))
    is_nearer = np.linalg.norm(other - like, axis=-1) < np.linalg.norm(rotvec - like, axis=-1)
    return np.where(is_nearer[..., None], other, rotvec)


def rotation(parameters: Floats) -> Floats:
    """Return the (3, 3) rotation from runway axes to camera axes."""
    return turned(parameters[:3])


def centre_m(parameters: Floats) -> Floats:
    """Return the (3,) place of the lens on the runway, in metres."""
    return np.asarray(-rotation(parameters).T @ parameters[3:6])


def stretch(radius2: Floats, k1: float, k2: float) -> Floats:
    """Return by how much radial distortion stretches a point at squared normalised radius `radius2`."""
    return np.asarray(1.0 + radius2 * (k1 + radius2 * k2))


def turning_radius(k1: float, k2: float) -> float:
    """Return the normalised radius past which the lens polynomial turns back on itself (inf where it never does)."""
    roots = np.roots([5.0 * k2, 3.0 * k1, 1.0]) if k2 else np.array([-1.0 / (3.0 * k1)] if k1 else [])
    real = roots[np.isreal(roots)].real
    return float(np.sqrt(real[real > 0.0].min())) if (real > 0.0).any() else np.inf


def to_camera_m(parameters: Floats, xyz_m: Floats) -> Floats:
    """Return runway points (..., 3) in camera axes."""
    return np.asarray(xyz_m @ rotation(parameters).T + parameters[3:6])


def bent_px(parameters: Floats, centre_px: tuple[float, float], xy: Floats) -> Floats:
    """Return the pixels (..., 2) of normalised image points, bent by the lens."""
    bent = xy * stretch((xy**2).sum(axis=-1, keepdims=True), parameters[K1], parameters[K2])
    return np.asarray(np.exp(parameters[LOG_FOCAL]) * bent + np.asarray(centre_px))


def seen_px(parameters: Floats, centre_px: tuple[float, float], xyz_m: Floats) -> Floats:
    """Return the pixels (..., 2) of runway points; points that the lens cannot show are NaN."""
    in_camera = to_camera_m(parameters, np.asarray(xyz_m, dtype=np.float64))
    ahead_m = in_camera[..., 2:]
    xy = in_camera[..., :2] / np.where(ahead_m > _NEAREST_M, ahead_m, np.nan)
    radius = np.hypot(xy[..., :1], xy[..., 1:])
    past = radius >= turning_radius(parameters[K1], parameters[K2])
    return bent_px(parameters, centre_px, np.where(past, np.nan, xy))


def clamped_px(parameters: Floats, centre_px: tuple[float, float], xyz_m: Floats) -> Floats:
    """Return `seen_px` with points behind the lens pulled just before it, so that a fit can find its way out."""
    in_camera = to_camera_m(parameters, xyz_m)
    return bent_px(parameters, centre_px, in_camera[..., :2] / np.maximum(in_camera[..., 2:], _NEAREST_M))


def straight(parameters: Floats, centre_px: tuple[float, float], xy_px: Floats) -> Floats:
    """Return the normalised image points (..., 2) of pixels, lens distortion undone by Newton's method on the radius.

    Pixels that no point can reach (past the turning radius of the lens polynomial) come back as inf.
    """
    k1, k2 = parameters[K1], parameters[K2]
    bent = (xy_px - np.asarray(centre_px)) / np.exp(parameters[LOG_FOCAL])
    if k1 == 0.0 and k2 == 0.0:
        return np.asarray(bent)
    target = np.hypot(bent[..., 0], bent[..., 1])
    radius = target.copy()
    limit = turning_radius(k1, k2)
    for _ in range(_NEWTON_STEPS):
        slope = 1.0 + radius**2 * (3.0 * k1 + 5.0 * radius**2 * k2)
        step = (radius * stretch(radius**2, k1, k2) - target) / np.maximum(slope, 1e-3)
        radius = np.clip(radius - step, 0.0, limit)
        if not (np.abs(step) > 1e-12).any():
            break
    missed = np.abs(radius * stretch(radius**2, k1, k2) - target) > 1e-9
    unbent = bent / stretch(radius**2, k1, k2)[..., None]
    return np.where(missed[..., None], np.inf, unbent)
