"""Cameras drawn from a fitted camera's uncertainty, for Monte Carlo."""

from __future__ import annotations

import numpy as np

from penult.core.lane import pinhole
from penult.model.arrays import Floats
from penult.model.calibration import Camera

_BENDS_ABOVE = 0.02
"""SD of ln(focal length) above which focal length and distance no longer trade off in a straight line."""
_GRID_SHARES = np.array([(x, y) for y in (0.15, 0.5, 0.85) for x in (0.05, 0.35, 0.65, 0.95)])


def sample_cameras(camera: Camera, n: int, rng: np.random.Generator) -> tuple[Camera, ...]:
    """Return `n` cameras drawn from the camera's covariance; each carries a zero covariance.

    Marks in one plane leave focal length and distance nearly free together. A straight-line draw of both would tear
    the run plane, which those marks fix well; so the pose is then re-solved for each drawn focal length against the
    drawn places of a grid of pixels.
    """
    values, axes = np.linalg.eigh(camera.covariance)
    spread = axes * np.sqrt(np.maximum(values, 0.0))
    offsets = rng.standard_normal((n, pinhole.SIZE)) @ spread.T
    free = np.sqrt(camera.covariance[pinhole.LOG_FOCAL, pinhole.LOG_FOCAL]) > _BENDS_ABOVE
    drawn = _resolved(camera, offsets) if free else camera.parameters + offsets
    still = np.zeros((pinhole.SIZE, pinhole.SIZE))
    return tuple(
        Camera(parameters=p, covariance=still, image_size_px=camera.image_size_px, centre_px=camera.centre_px)
        for p in drawn
    )


def _resolved(camera: Camera, offsets: Floats) -> Floats:
    """Return parameters whose picture of the run plane moves as `offsets` say to first order, at their focal length."""
    points_m = _plane_points_m(camera)
    base_px = pinhole.clamped_px(camera.parameters, camera.centre_px, points_m).ravel()
    slopes = _slopes(camera.parameters, camera.centre_px, points_m, range(pinhole.SIZE))
    drawn = np.empty((len(offsets), pinhole.SIZE))
    for row, offset in enumerate(offsets):
        wanted_px = base_px + slopes @ offset
        drawn[row] = _posed(camera, points_m, wanted_px, offset)
    return drawn


def _posed(camera: Camera, points_m: Floats, wanted_px: Floats, offset: Floats) -> Floats:
    start = camera.parameters + offset
    # distance goes with focal length: start there, or Gauss-Newton has far to walk
    start[5] = camera.parameters[5] * np.exp(offset[5] / camera.parameters[5])
    for _ in range(4):
        gap = wanted_px - pinhole.clamped_px(start, camera.centre_px, points_m).ravel()
        slopes = _slopes(start, camera.centre_px, points_m, range(6))
        start[:6] += np.linalg.lstsq(slopes, gap, rcond=1e-10)[0]
    return start


def _plane_points_m(camera: Camera) -> Floats:
    """Return the run-plane points of a grid of pixels."""
    pixels = _GRID_SHARES * np.asarray(camera.image_size_px, dtype=np.float64)
    flat = pinhole.straight(camera.parameters, camera.centre_px, pixels)
    along = np.column_stack([flat, np.ones(len(flat))]) @ pinhole.rotation(camera.parameters)
    lens_m = pinhole.centre_m(camera.parameters)
    reach = -lens_m[2] / along[:, 2]
    good = np.isfinite(reach) & (reach > 0.0) & (reach < 10.0 * np.abs(lens_m[2]))
    return np.asarray((lens_m + reach[:, None] * along)[good])


def _slopes(parameters: Floats, centre_px: tuple[float, float], points_m: Floats, which: range) -> Floats:
    columns = []
    for i in which:
        nudge = np.zeros(pinhole.SIZE)
        nudge[i] = 1e-6
        ahead = pinhole.clamped_px(parameters + nudge, centre_px, points_m)
        behind = pinhole.clamped_px(parameters - nudge, centre_px, points_m)
        columns.append((ahead - behind).ravel() / 2e-6)
    return np.stack(columns, axis=1)
