"""Find the athlete in a clip and follow their joints: movers over the lane, then crops for the pose model."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from penult.adapters.pose import Crop
from penult.app.plan import CROP_BODIES
from penult.core.joints.runs import Path as AthletePath
from penult.core.joints.runs import find_runs, position_at
from penult.core.lane.camera import at_depth, project
from penult.errors import InputError
from penult.model.calibration import Camera
from penult.model.clip import Clip
from penult.model.lane_profile import LaneProfile
from penult.model.settings import Settings

BODY_M = 1.8

HIP_M = 1.0
"""Height of the crop's centre above the runway."""


def find_athlete(profile: LaneProfile, clip: Clip, cameras: Sequence[Camera], settings: Settings) -> AthletePath:
    """Find the run that was asked for.

    Raises
    ------
    NoAthleteError
        If nobody runs along the lane.
    InputError
        If there are fewer runs than the one asked for.
    """
    at = None
    if settings.at is not None:
        x_px, y_px, seconds = settings.at
        camera = camera_of(cameras, int(np.abs(clip.time_s - seconds).argmin()))
        at = (seconds, float(at_depth(camera, np.array([x_px, y_px]), 0.0)[0]))
    runs = find_runs(profile, at)
    if settings.run > len(runs):
        raise InputError(
            f"there is no run {settings.run} in {clip.file}",
            f"{len(runs)} found, beginning at {', '.join(f'{r.time_s[0]:.2f} s' for r in runs)}",
            next_step="choose one of them with --run",
        )
    return runs[settings.run - 1]


def camera_of(cameras: Sequence[Camera], frame: int) -> Camera:
    """Return a frame's camera: the one camera of a clip that stands, or its own."""
    return cameras[0] if len(cameras) == 1 else cameras[frame]


def rows_of(path: AthletePath, clip: Clip) -> tuple[int, int]:
    """First and last frame index in which the athlete is to be looked at."""
    rows = np.flatnonzero(np.isfinite(position_at(path, clip.time_s)))
    return int(rows[0]), int(rows[-1])


def crop_at(camera: Camera, x_m: float) -> tuple[Crop | None, float]:
    """Return the square to be looked at when the athlete is at x, and how tall a standing athlete would be there."""
    if not np.isfinite(x_m):
        return None, 0.0
    feet, hips = project(camera, np.array([[x_m, 0.0, 0.0], [x_m, HIP_M, 0.0]]))
    metre_px = float(np.linalg.norm(feet - hips)) / HIP_M
    return on_grid((float(hips[0]), float(hips[1])), BODY_M * metre_px)


GRID_BODIES = 1.0 / 64.0
"""Crops stand on a grid of this many body heights, so that a lane file that differs by a part of a pixel has most of them in common
with an earlier one, and what was seen through them need not be looked at again."""

GRID_SIZES = 32
"""... and have so many sizes from one height to twice that."""


def on_grid(centre_px: tuple[float, float], height_px: float) -> tuple[Crop, float]:
    """Return the crop of the grid about the body nearest to a place and height, and the height that goes with it."""
    height = 2.0 ** (round(GRID_SIZES * math.log2(height_px)) / GRID_SIZES)
    step = GRID_BODIES * height
    centre = (step * round(centre_px[0] / step), step * round(centre_px[1] / step))
    return Crop(centre_px=centre, side_px=CROP_BODIES * height), height
