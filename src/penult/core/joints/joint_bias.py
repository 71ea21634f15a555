"""Where a pose model puts the joint centres, on average, and how far bodies, clothes and cameras differ from that average.

Measured against the true joint centres of twenty films of both generations: flat and rolling feet, tight and loose clothes,
sun, floodlights and hall, bodies from 1.56 to 1.90 m, both directions of run, 60 to 240 Hz. Seven films were used for
choosing, thirteen for testing: their means agree within 3 mm in every joint but the toe (5 mm). The mean is taken out before
measuring; what differs from film to film stays in as uncertainty (`draws`), widened for bodies that no film shows. Metres on
a body of 1.75 m.
"""

from __future__ import annotations

import dataclasses

import numpy as np

from penult.core.joints.body import knee_angle_deg
from penult.model.analysis import Foot
from penult.model.arrays import Floats
from penult.model.skeleton import JOINTS, joint
from penult.model.track import RunwayTrack

BODY_M = 1.75
"""The height that the biases below are given for; they grow with the body, as its joints do in the picture."""

MEAN_M = {
    "head": (0.034, 0.037),
    "shoulder": (-0.001, 0.022),
    "elbow": (0.009, 0.009),
    "wrist": (0.003, 0.001),
    "hip": (0.012, -0.015),
    "knee": (-0.006, 0.013),
    "ankle": (0.012, 0.009),
    "heel": (0.005, -0.017),
    "toe": (-0.006, 0.003),
}
"""Forward and up, means over all frames with the whole body in the picture of the seven films (from film to film:
`draws.BOTH_SD_M`). The hips' height is the mean of the kinds of film rather than of the films (clean ones -1.1, rolling feet
-1.4, loose clothes and captured motion -2.0 cm): how low they are seen depends on posture and clothes."""

STANDING_M = {
    "hip": ((0.009, -0.005), (0.003, -0.001), (-0.003, 0.004)),
    "knee": ((0.003, -0.005), (0.000, 0.009), (0.016, -0.005)),
    "ankle": ((-0.020, 0.019), (0.006, 0.013), (-0.004, 0.013)),
}
"""What the leg that stands has beyond `MEAN_M` at touchdown, in the middle of the support, and at toe-off, in the posture of
`USUAL` (66 contacts of running and take-offs at 240 Hz, where the truth at an instant is known to half a degree; the knee in
mid-support is hidden too often to tell its place along the run)."""

BY_OTHER_KNEE = {"hip": (-0.016, 0.0), "knee": (-0.128, -0.055), "ankle": (-0.017, -0.031)}
BY_SHANK_DEG = {"hip": (0.0007, 0.0), "knee": (-0.0002, -0.0001), "ankle": (0.0007, -0.0003)}
BY_KNEE_DEG = {"hip": (-0.0002, 0.0002), "knee": (0.0004, 0.0002), "ankle": (-0.0008, 0.0004)}
"""How these change with the posture: at touchdown with how far the other knee is ahead (m/m: the pose model draws the standing knee
away from one that is just behind it) and how far the shank leans forward (m/deg), at toe-off with the knee angle (m/deg). The
same 66 contacts; on 21 of bounds, hops and a triple jump, of which none was used, knee at touchdown 7.5 (6.5 too small) -> 3.1 deg
(1.6), at toe-off 4.2 -> 3.3, leg at toe-off 2.0 -> 1.6."""

LEAST_AHEAD_M, MOST_AHEAD_M = -0.30, 0.05
"""Knees farther apart than the running films show hide each other no less than those."""

UNSEEN_M, UNSEEN_FROM_M = 0.04, 0.10
"""How far the standing knee may be off along the run at touchdown, one SD, where the other one is this much farther ahead than
`MOST_AHEAD_M`, as in the short step of a skip: no film used for choosing shows it, on two contacts of another it is 4 cm."""

MOST_LEANING_DEG = 20.0
"""Shanks of the films used lean by up to so much at touchdown, backwards at a take-off."""


@dataclasses.dataclass(frozen=True, slots=True, kw_only=True)
class Posture:
    """What the bias of the standing leg goes with: at touchdown how far the other knee is ahead and how far the shank leans
    forward, at toe-off the knee angle."""

    other_knee_ahead_m: float
    shank_lean_deg: float
    knee_toe_off_deg: float


USUAL = Posture(other_knee_ahead_m=-0.15, shank_lean_deg=0.0, knee_toe_off_deg=150.0)
"""Running, as the pose model sees it (means over 86 contacts of films with known truth: -0.16 m, 0 and 147 deg)."""


TURNED, TURNED_SD = 0.14, 0.04
"""How far the middle of the shoulders is put towards the farther one, as a share of how far that is ahead of the nearer, and
what one clip differs by from another. The farther shoulder is hidden behind the trunk: the pose model lets it go with its arm, and
turned shoulders then seem to lean and to hurry. Within each of 37 films the error goes with that lead, by 0.06 to 0.25 of it
(fourteen films used for choosing: 0.148; thirteen others 0.120, six of other movements 0.130, six of other bodies 0.149). Without
it the trunk's lean at toe-off is 1.2 for 2.2 deg off, its speed in a running flight 0.05 for 0.10 m/s."""


def far_lead_m(xy_m: Floats, lens_z_m: float) -> Floats:
    """How far the shoulder away from the camera is ahead of the nearer one (...,), joints (..., k, 2)."""
    near, far = ("right", "left") if lens_z_m > 0 else ("left", "right")
    return np.asarray(xy_m[..., joint(far, "shoulder"), 0] - xy_m[..., joint(near, "shoulder"), 0])


def mean_m(scale: float = 1.0) -> Floats:
    """Mean bias (k, 2) of every joint for a body of `scale` x 1.75 m."""
    return scale * np.array([MEAN_M[name.split("_")[-1]] for name in JOINTS])


def without_mean(
    track: RunwayTrack, scale: float = 1.0, hand: Floats | None = None, lens_z_m: float | None = None
) -> RunwayTrack:
    """Return the track with the mean bias taken out of every joint, but for what a person placed.

    Parameters
    ----------
    track : RunwayTrack
        As the pose model sees it.
    scale : float
        Body height over 1.75 m.
    hand : (t, k) float64, optional
        How far each sample was put where it is by a person, 0 to 1.
    lens_z_m : float, optional
        On which side of the lane the lens is: what turned shoulders do to the pose model is then taken out too.
    """
    share = 1.0 if hand is None else 1.0 - hand[..., None]
    off = np.broadcast_to(mean_m(scale), track.xy_m.shape).copy()
    if lens_z_m is not None:
        lead_m = far_lead_m(track.xy_m, lens_z_m)
        for side in ("left", "right"):
            off[:, joint(side, "shoulder"), 0] += TURNED * lead_m
    return dataclasses.replace(track, xy_m=track.xy_m - share * off)


def posture_of(touchdown_m: Floats, toe_off_m: Floats, foot: Foot, scale: float = 1.0) -> Posture:
    """Return the posture that joints (k, 2) at touchdown and toe-off show; where one of them is missing, the usual one."""
    other: Foot = "left" if foot == "right" else "right"
    knee, ankle = touchdown_m[joint(foot, "knee")], touchdown_m[joint(foot, "ankle")]
    seen = (
        float(touchdown_m[joint(other, "knee"), 0] - knee[0]) / (scale or 1.0),
        float(np.degrees(np.arctan2(*(knee - ankle)))),
        float(knee_angle_deg(toe_off_m, foot)),
    )
    usual = (USUAL.other_knee_ahead_m, USUAL.shank_lean_deg, USUAL.knee_toe_off_deg)
    ahead, lean, bend = (value if np.isfinite(value) else default for value, default in zip(seen, usual, strict=True))
    return Posture(other_knee_ahead_m=ahead, shank_lean_deg=lean, knee_toe_off_deg=bend)


def unseen_m(posture: Posture, scale: float = 1.0) -> float:
    """How much less sure the standing knee's place along the run is at touchdown, in a posture beyond the measured ones."""
    beyond_m = posture.other_knee_ahead_m - MOST_AHEAD_M
    return scale * UNSEEN_M * float(np.clip(beyond_m / UNSEEN_FROM_M, 0.0, 1.0))


def standing_m(foot: Foot, share: Floats | float, scale: float = 1.0, posture: Posture = USUAL) -> Floats:
    """Bias (..., k, 2) beyond the mean that the standing leg has when this share (...) of its support is over; 0 for other joints.

    A parabola through `STANDING_M`, its ends as the posture has them; before touchdown and after toe-off as at those.
    """
    at = np.clip(np.asarray(share, dtype=float), 0.0, 1.0)
    weights = np.stack([(1.0 - at) * (1.0 - 2.0 * at), 4.0 * at * (1.0 - at), at * (2.0 * at - 1.0)], axis=-1)
    ahead_m = np.clip(posture.other_knee_ahead_m, LEAST_AHEAD_M, MOST_AHEAD_M) - USUAL.other_knee_ahead_m
    lean_deg = np.clip(posture.shank_lean_deg, -MOST_LEANING_DEG, MOST_LEANING_DEG) - USUAL.shank_lean_deg
    straighter_deg = posture.knee_toe_off_deg - USUAL.knee_toe_off_deg
    out = np.zeros((*at.shape, len(JOINTS), 2))
    for part, usual in STANDING_M.items():
        values = np.array(usual)
        values[0] += ahead_m * np.array(BY_OTHER_KNEE[part]) + lean_deg * np.array(BY_SHANK_DEG[part])
        values[2] += straighter_deg * np.array(BY_KNEE_DEG[part])
        out[..., joint(foot, part), :] = weights @ (scale * values)
    return out
