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
    "hip": ((0.005, -0.007), (0.003, -0.001), (-0.005, 0.002)),
    "knee": ((0.002, -0.005), (0.000, 0.009), (0.014, -0.005)),
    "ankle": ((-0.021, 0.018), (0.006, 0.013), (0.000, 0.009)),
}
"""What the leg that stands has beyond `MEAN_M` at touchdown, in the middle of the support, and at toe-off (films as above,
the same on those for testing within 4 mm; the knee in mid-support is hidden too often to tell its place along the run)."""


TURNED, TURNED_SD = 0.14, 0.04
"""How far the middle of the shoulders is put towards the farther one, as a share of how far that is ahead of the nearer, and what
one clip differs by from another. The farther shoulder is hidden behind the trunk: the pose model lets it go with its arm, and turned
shoulders then seem to lean and to hurry. Within each of 37 films the error goes with that lead, by 0.06 to 0.21 of it (fourteen
films used for choosing: 0.148; thirteen others 0.120, six of other movements 0.130, six of other bodies 0.149). Taken out, the trunk's
lean at toe-off is 1.2 for 2.2 deg off, its speed in a running flight 0.05 for 0.10 m/s."""


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


def standing_m(foot: Foot, share: Floats | float, scale: float = 1.0) -> Floats:
    """Bias (..., k, 2) beyond the mean that the standing leg has when this share (...) of its support is over; 0 for other joints.

    A parabola through `STANDING_M`; before touchdown and after toe-off as at those.
    """
    at = np.clip(np.asarray(share, dtype=float), 0.0, 1.0)
    weights = np.stack([(1.0 - at) * (1.0 - 2.0 * at), 4.0 * at * (1.0 - at), at * (2.0 * at - 1.0)], axis=-1)
    out = np.zeros((*at.shape, len(JOINTS), 2))
    for part, values in STANDING_M.items():
        out[..., joint(foot, part), :] = weights @ (scale * np.array(values))
    return out
