"""Joints of the farther side while the body hides them: a knee behind the nearer leg, an elbow behind the trunk."""

from __future__ import annotations

import dataclasses

import numpy as np

from penult.core.joints.body import middle
from penult.model.analysis import Foot
from penult.model.arrays import Bools, Floats
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
    far, near = _far_and_near(lens_z_m)
    hip, knee, ankle = (track.xy_m[:, joint(near, part)] for part in ("hip", "knee", "ankle"))
    hidden = track.xy_m[:, joint(far, "knee")]
    away_m = np.fmin(_distance_m(hidden, hip, knee), _distance_m(hidden, knee, ankle))
    worth = np.clip(away_m / FREE_M, LEAST_WORTH, 1.0)
    return joint(far, "knee"), np.where(np.isfinite(worth), worth, 1.0)


BEHIND_M = 0.12
"""A far elbow this near to the trunk's axis is behind the trunk: half its depth from back to front (0.105 m, `trunk.HALF_WIDTH`)
and the pose model's noise. There it is seen up to 15 cm too far forward, beside the trunk 1 to 3 cm (seven films of 240 Hz with
known truth, on which 0.10 to 0.14 m do alike)."""

LONGEST_BEHIND_S = 0.2
"""An arm that swings past the trunk does so within a step (0.2 to 0.25 s); one that stays behind it longer is left as seen."""


def with_far_elbow(track: RunwayTrack, lens_z_m: float, sure: Bools | None = None) -> RunwayTrack:
    """Return the track with the far elbow, while it passes behind the trunk, on an arc between where it is seen.

    The arc is one about the shoulders. What the pose model makes of a hidden elbow moves the mass centre by up to
    0.02 m/s over a flight, always forward.

    Parameters
    ----------
    track : RunwayTrack
        Arms under their right names.
    lens_z_m : float
        Where the camera stands across the lane.
    sure : (t, k) bool, optional
        Samples that a person put where they are stay there.
    """
    elbow = joint(_far_and_near(lens_z_m)[0], "elbow")
    shoulder, hip = middle(track.xy_m, "shoulder"), middle(track.xy_m, "hip")
    away = track.xy_m[:, elbow] - shoulder
    axis = (hip - shoulder) / np.linalg.norm(hip - shoulder, axis=1, keepdims=True)
    across_m = np.abs(away[:, 1] * axis[:, 0] - away[:, 0] * axis[:, 1])
    behind: Bools = across_m < BEHIND_M  # NaN is not
    if sure is not None:
        behind &= ~sure[:, elbow]
    seen = np.flatnonzero(np.isfinite(across_m) & ~behind)
    xy_m = np.array(track.xy_m)
    for row in np.flatnonzero(behind):
        after = int(np.searchsorted(seen, row))
        if not 0 < after < len(seen):
            continue
        ends = seen[after - 1 : after + 1]
        start_s, end_s = track.time_s[ends]
        if end_s - start_s <= LONGEST_BEHIND_S:
            share = (track.time_s[row] - start_s) / (end_s - start_s)
            xy_m[row, elbow] = shoulder[row] + _swung(away[ends[0]], away[ends[1]], share)
    return dataclasses.replace(track, xy_m=xy_m)


def _swung(start_m: Floats, end_m: Floats, share: float) -> Floats:
    """Place (2,) of an arm that has swung this share of the way from one place to another, at an even rate of angle and reach."""
    a, b = complex(*start_m), complex(*end_m)
    now = a * (abs(b) / abs(a)) ** share * np.exp(1j * share * np.angle(b / a))
    return np.array([now.real, now.imag])


def _far_and_near(lens_z_m: float) -> tuple[Foot, Foot]:
    return ("left", "right") if lens_z_m > 0.0 else ("right", "left")


def _distance_m(place_m: Floats, start_m: Floats, end_m: Floats) -> Floats:
    """Distance of places (t, 2) from the line between two points each."""
    line = end_m - start_m
    share = ((place_m - start_m) * line).sum(axis=1) / np.maximum((line**2).sum(axis=1), 1e-9)
    return np.asarray(np.linalg.norm(place_m - start_m - np.clip(share, 0.0, 1.0)[:, None] * line, axis=1))
