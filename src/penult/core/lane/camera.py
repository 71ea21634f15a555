"""From runway metres to pixels and back with a fitted camera, and how far that camera can be trusted.

The inverse maps need a plane to land on: `at_depth` a plane along the run, `at_height` a level one. Fitting lives in
`core.lane.fit`, which takes long to load: those who only draw do without. No pictures, no files.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from penult.core.lane import pinhole
from penult.errors import HorizonError, ViewError
from penult.model.analysis import Notice
from penult.model.arrays import Floats
from penult.model.calibration import Camera, LaneFit

__all__ = [
    "at_depth",
    "at_height",
    "check_view",
    "metres_per_px",
    "position_m",
    "project",
    "to_matrix",
    "view_angle_deg",
]

WARN_VIEW_DEG = 10.0
NO_ANGLES_VIEW_DEG = 20.0
"""Beyond, depth moves a joint along the run by a third of itself and more: places and times stay, angles do not."""

REFUSE_VIEW_DEG = 60.0
"""Beyond, 5 cm of depth are 9 cm along the run and more (tangent)."""

_MOST_TIMES_AWAY = 1e3  # a point a thousand times farther than the lens stands from the plane is on the horizon


def project(camera: Camera, xyz_m: ArrayLike) -> Floats:
    """Return where runway points appear in the picture (Hartley and Zisserman 2004, chapter 6).

    Parameters
    ----------
    camera : Camera
    xyz_m : (..., 3) float64
        Runway points in metres; NaN stays NaN.

    Returns
    -------
    (..., 2) float64
        Pixels; NaN for points behind the lens or wider than its model reaches.
    """
    return pinhole.seen_px(camera.parameters, camera.centre_px, np.asarray(xyz_m, dtype=np.float64))


def at_depth(camera: Camera, xy_px: ArrayLike, z_m: ArrayLike = 0.0) -> Floats:
    """Return the points that pixels show on the upright plane(s) z = `z_m` along the run.

    Parameters
    ----------
    camera : Camera
    xy_px : (..., 2) float64
        Pixels; NaN stays NaN.
    z_m : float or array
        Depth in metres, broadcast against `xy_px[..., 0]`.

    Returns
    -------
    (..., 2) float64
        x and y on the runway, metres.

    Raises
    ------
    HorizonError
        If a pixel's line of sight does not meet the plane in front of the lens.
    """
    return _meet(camera, xy_px, z_m, axis=2)[..., [0, 1]]


def at_height(camera: Camera, xy_px: ArrayLike, y_m: ArrayLike = 0.0) -> Floats:
    """Return the points that pixels show on the level plane(s) y = `y_m`: x and z, metres (..., 2).

    Raises
    ------
    HorizonError
        If a pixel's line of sight does not meet the plane in front of the lens.
    """
    return _meet(camera, xy_px, y_m, axis=1)[..., [0, 2]]


def _meet(camera: Camera, xy_px: ArrayLike, place_m: ArrayLike, *, axis: int) -> Floats:
    """Return where lines of sight meet the plane(s) on which runway coordinate `axis` equals `place_m`."""
    flat = pinhole.straight(camera.parameters, camera.centre_px, np.asarray(xy_px, dtype=np.float64))
    with np.errstate(divide="ignore", invalid="ignore"):
        along = np.concatenate([flat, np.ones_like(flat[..., :1])], axis=-1) @ pinhole.rotation(camera.parameters)
        lens_m = position_m(camera)
        reach = (np.asarray(place_m, dtype=np.float64) - lens_m[axis]) / along[..., axis]
    lost = np.isinf(flat).any(axis=-1) | (reach <= 0.0) | (np.abs(reach) > _MOST_TIMES_AWAY * _scale(lens_m, axis))
    if lost.any():
        plane = "level plane" if axis == 1 else "plane along the run"
        raise HorizonError(
            f"{int(lost.sum())} of {lost.size} points lie on or past the vanishing line of the {plane}",
            next_step="point the camera at the runway, and keep what is measured inside the calibrated part",
        )
    return np.asarray(lens_m + reach[..., None] * along)


def _scale(lens_m: Floats, axis: int) -> float:
    return max(abs(float(lens_m[axis])), 1.0)


def position_m(camera: Camera) -> Floats:
    """Return the (3,) place of the lens on the runway: x, y, z in metres."""
    return pinhole.centre_m(camera.parameters)


def view_angle_deg(camera: Camera) -> float:
    """Return how far, in the level plane, the camera is turned from square to the run: 0 square on, 90 along it."""
    along, _, across = pinhole.rotation(camera.parameters)[2]
    return float(np.degrees(np.arctan2(abs(along), abs(across))))


def check_view(fit: LaneFit) -> Notice | None:
    """Return a warning where the camera is turned by more than 10 degrees.

    Raises
    ------
    ViewError
        If it is turned by more than 60 degrees.
    """
    angle_deg = fit.view_angle_deg
    if angle_deg > REFUSE_VIEW_DEG:
        raise ViewError(
            "the camera does not look across the runway",
            f"it is turned by {angle_deg:.0f} degrees from square to the run; {REFUSE_VIEW_DEG:.0f} are the most",
            next_step="film from the side, the camera square to the runway, and calibrate again",
        )
    if angle_deg <= WARN_VIEW_DEG:
        return None
    text = f"The camera is turned by {angle_deg:.0f} degrees from square to the run; lengths and angles lose accuracy."
    if angle_deg > NO_ANGLES_VIEW_DEG:
        text = (
            f"The camera is turned by {angle_deg:.0f} degrees from square to the run: places and times only, no angles."
        )
    return Notice(code="view-turned", text=text)


def metres_per_px(camera: Camera, x_m: ArrayLike, y_m: ArrayLike, z_m: ArrayLike = 0.0) -> Floats:
    """Return how many metres one pixel spans at runway points, in the plane along the run (broadcast shape)."""
    x_m, y_m, z_m = np.broadcast_arrays(*(np.asarray(v, dtype=np.float64) for v in (x_m, y_m, z_m)))
    here = np.stack([x_m, y_m, z_m], axis=-1)
    half_m = 0.01
    columns = [
        (project(camera, here + half_m * np.eye(3)[i]) - project(camera, here - half_m * np.eye(3)[i])) / (2.0 * half_m)
        for i in (0, 1)
    ]
    area_px2 = np.abs(columns[0][..., 0] * columns[1][..., 1] - columns[0][..., 1] * columns[1][..., 0])
    return np.asarray(1.0 / np.sqrt(area_px2))


def to_matrix(camera: Camera) -> tuple[Floats, Floats, Floats, Floats]:
    """Return K (3, 3), distortion (5,), R (3, 3) and t (3,) in OpenCV's convention."""
    focal_px = float(np.exp(camera.parameters[pinhole.LOG_FOCAL]))
    matrix: Any = np.array(
        [[focal_px, 0.0, camera.centre_px[0]], [0.0, focal_px, camera.centre_px[1]], [0.0, 0.0, 1.0]]
    )
    lens = np.array([camera.parameters[pinhole.K1], camera.parameters[pinhole.K2], 0.0, 0.0, 0.0])
    return matrix, lens, pinhole.rotation(camera.parameters), camera.parameters[3:6].copy()
