"""How much the knee of the leg farther from the camera is worth: little while the nearer leg passes before it."""

from __future__ import annotations

import numpy as np

from penult.model.analysis import Foot
from penult.model.arrays import Floats
from penult.model.skeleton import joint
from penult.model.track import RunwayTrack

FREE_M, LEAST_WORTH = 0.15, 0.15
"""A far knee this far from the line of the nearer leg is seen freely: half a thigh (8 cm) and the pose model's own error. In
supports of the seven films of 240 Hz with known truth it is seen too straight by 8 deg where the lines cross, 6 at 3 to 6 cm,
5 at 6 to 10, 3 beyond 15: by the squares of bias and scatter it is worth 0.16, 0.25, 0.44 and 0.6 to 1."""


def knee_worth(track: RunwayTrack, lens_z_m: float) -> tuple[int, Floats]:
    """Return the far knee's joint and the weight of each of its samples (t,), 1 where it is seen freely.

    Parameters
    ----------
    track : RunwayTrack
        Legs under their right names.
    lens_z_m : float
        Where the camera stands across the lane.
    """
    sides: tuple[Foot, Foot] = ("left", "right")
    far, near = sides if lens_z_m > 0.0 else sides[::-1]
    hip, knee, ankle = (track.xy_m[:, joint(near, part)] for part in ("hip", "knee", "ankle"))
    hidden = track.xy_m[:, joint(far, "knee")]
    away_m = np.fmin(_distance_m(hidden, hip, knee), _distance_m(hidden, knee, ankle))
    worth = np.clip(away_m / FREE_M, LEAST_WORTH, 1.0)
    return joint(far, "knee"), np.where(np.isfinite(worth), worth, 1.0)


def _distance_m(place_m: Floats, start_m: Floats, end_m: Floats) -> Floats:
    """Distance of places (t, 2) from the line between two points each."""
    line = end_m - start_m
    share = ((place_m - start_m) * line).sum(axis=1) / np.maximum((line**2).sum(axis=1), 1e-9)
    return np.asarray(np.linalg.norm(place_m - start_m - np.clip(share, 0.0, 1.0)[:, None] * line, axis=1))
