"""Background points of a calibration still: their lines of sight, and what is known of how far away they are. Pure.

A pixel gives a line of sight but no distance. Ground near the runway is known to lie at y = 0; what stands behind the
runway may be anywhere from there to where its line of sight meets the ground, or out to the horizon. Inverse distance
(nearness) carries that knowledge as a mean and an SD (Civera, Davison and Montiel 2008).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from penult.core.lane import pinhole
from penult.model.arrays import Bools, Floats, locked
from penult.model.calibration import Camera

GROUND_SD_SHARE = 0.02
"""Of the nearness of ground near the runway: 2 cm of unevenness under a lens 1.2 m up."""
BEHIND_SD_SHARE = 0.3
"""Of the span of nearness that is left to things behind the runway: nearly even over the whole of it."""
_GROUND_BEHIND_M = 1.5  # the runway's far edge, with what lies on it


@dataclass(frozen=True, slots=True, kw_only=True)
class BackgroundPoints:
    """Background points of the still.

    Parameters
    ----------
    camera : Camera
        Of the still.
    points_px : (n, 2) float64
        In the still.
    rays : (n, 3) float64
        Lines of sight in the still's camera axes, third component 1.
    nearness_per_m, nearness_sd_per_m : (n,) float64
        Inverse distance along the optical axis, and its SD.
    on_ground : (n,) bool
        Lies on the ground near the runway, if nothing stands there.
    """

    camera: Camera
    points_px: Floats
    rays: Floats
    nearness_per_m: Floats
    nearness_sd_per_m: Floats
    on_ground: Bools

    def __post_init__(self) -> None:
        for name in ("points_px", "rays", "nearness_per_m", "nearness_sd_per_m"):
            object.__setattr__(self, name, locked(getattr(self, name)))
        object.__setattr__(self, "on_ground", locked(self.on_ground, bool))


def scene_of(camera: Camera, points_px: Floats) -> BackgroundPoints:
    """Return what is known of background points (n, 2) in the picture of `camera`."""
    rays, nearness, spread, ground = sighted(camera.parameters, camera.centre_px, points_px)
    return BackgroundPoints(
        camera=camera,
        points_px=points_px,
        rays=rays,
        nearness_per_m=nearness,
        nearness_sd_per_m=spread,
        on_ground=ground,
    )


def sighted(
    parameters: Floats, centre_px: tuple[float, float], points_px: Floats
) -> tuple[Floats, Floats, Floats, Bools]:
    """Return rays (n, 3), nearness (n,), its SD (n,) and 'on the ground' (n,) of points in the still."""
    flat = pinhole.straight(parameters, centre_px, points_px)
    rays = np.column_stack([flat, np.ones(len(flat))])
    level = pinhole.rotation(parameters)
    along, lens_m = rays @ level, pinhole.centre_m(parameters)
    run_m = abs(float(lens_m[2])) / max(abs(float(level[2, 2])), 0.3)
    ground = np.maximum(-along[:, 1] / max(float(lens_m[1]), 0.1), 0.0)  # 0 above the horizon
    behind_m = -np.sign(lens_m[2]) * (lens_m[2] + along[:, 2] / np.maximum(ground, 1e-9))
    near = np.asarray((ground > 0.0) & (behind_m < _GROUND_BEHIND_M))
    nearest = np.maximum(1.0 / run_m, ground)
    middle = np.where(near, ground, 0.5 * (ground + nearest))
    apart = np.maximum(BEHIND_SD_SHARE * (nearest - ground), GROUND_SD_SHARE * nearest)
    return rays, middle, np.where(near, GROUND_SD_SHARE * ground, apart), near
