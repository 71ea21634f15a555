"""Joints in flight: hips and shoulders carried by the trunk that its pixels show, limbs drifting as pose models let them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from penult.core.joints.body import middle
from penult.core.numeric.fits import SAG_M_PER_S2, polynomial
from penult.core.numeric.seeds import Stream, generator
from penult.core.uncertainty.draws import COUNT, Draws, drift_sd_m, wandering
from penult.model.analysis import Foot
from penult.model.arrays import Floats, Ints
from penult.model.skeleton import JOINTS, joint
from penult.model.track import RunwayTrack
from penult.model.trunk import TrunkMotion

TRUNK = np.array([joint(side, part) for side in ("left", "right") for part in ("shoulder", "hip")])

WANDER_M = (0.0045, 0.0015)
"""How far the trunk's middle wanders in x and y from what its pixels say, one SD with the drift time of the joints. From the
slopes of its error over 26 running flights and 7 take-offs of films with known truth: in x 0.044 and 0.027 m/s (the turn
about the long axis is only partly told from the shift), in y 0.021 and 0.007 m/s."""

WANDER_RAD = 0.019
"""The same of its lean, which comes from the joints: 0.24 rad/s over 34 running flights, 0.16 after take-off. The pixels' own lean
(0.27 and 0.10 rad/s), which they do not tell well from the turn about the long axis, made the approach speed 0.037 instead of
0.027 m/s off (RMS over nine films with known truth)."""


FLIGHT_DRIFT_M = {
    "head": (0.006, 0.005),
    "shoulder": (0.010, 0.012),
    "elbow": (0.024, 0.018),
    "wrist": (0.025, 0.016),
    "hip": (0.011, 0.012),
    "knee": (0.015, 0.016),
    "ankle": (0.015, 0.011),
    "heel": (0.018, 0.016),
    "toe": (0.023, 0.016),
}
"""Drift of each joint in x and y while the legs swing, one SD: such that its slope and curvature over a flight are as measured
(RMS over 47 flights of eleven films with known truth; shoulders and hips along the run over 71 of 33 films, with what their turn
does taken out: 0.053 and 0.080 m/s). In a support the leg that stands is seen better: draws.DRIFT_SD_M."""

ALIKE = 0.35
"""Share of that drift's variance that running flights have in common, left and right exchanged: postures repeat from step to
step, and what they do to the pose model repeats with them (the same films: 0.41 of the slopes, 0.31 of the curvatures)."""

PIXELS_OFF, JOINTS_OFF = (0.048, 0.019), (0.05, 0.066)
"""How far the trunk's speed along the run and upwards is off in a running flight, by its pixels and by its joints, m/s (RMS over 71
flights of films with known truth, tight clothes): the two err independently and are weighed by their squares. Loose clothes, which
swing, make the pixels worse by the square of `Draws.cloth` (0.17 and 0.08 m/s where that is 1.5 to 3, mostly too fast) and the
joints hardly (0.074 and 0.060)."""

APART_SDS = 3.0
"""Joints and pixels that disagree by more than so many SD of their difference are not of one trunk: the pixels are then refused,
as a dim, blurred or plain shirt lets the background lead them (three SD: common practice)."""

HIP_TURNED = 0.08
"""In a running flight the hips' middle hurries with the turn of the trunk too, by this share of what the farther shoulder gains on
the nearer one (0.07 under tight clothes, 0.10 under loose ones; the same flights, half of them used for choosing: 0.08 m/s for
0.09 and 0.13 for 0.18 are left)."""


SIDEWAYS_M_PER_S, TO_LEAP_M_PER_S = 0.1, 0.3
"""How fast the body goes sideways in a running flight, one SD, and in the one before a leap, when it is brought over the foot that
takes off. Seen aslant, at the picture's edge, that looks like speed along the run. Mass centres of 33 films: 0.03 to 0.15 m/s (RMS
0.10), before bounds, a box, a triple jump and skips 0.09 to 0.43 (RMS 0.27, of seven; another 0.02)."""


DISAGREE = "the pictures of the trunk do not agree"
"""Why the trunk's pixels of a flight are refused where what is seen of it changes in no way that a body could move."""

DISAGREEING = 2.0
"""How many times more joints drift in such a flight: what spoils the pixels (blur, people behind, a flapping shirt) does not spare
the joints. Of four such flights on films with known truth two gave a velocity 1.3 and 1.7 u95 off without this."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Flight:
    """One flight: rows of the track, the foot that pushed off, whether it is a running step's, and whether it leads to a leap."""

    rows: Ints
    foot: Foot
    running: bool
    to_leap: bool = False


def airborne(draws: Draws, track: RunwayTrack, flights: Sequence[Flight], motions: Sequence[TrunkMotion]) -> Floats:
    """Return the draws (s, t, k, 2) with the drift of flight, and the trunk rigid wherever its pixels were followed."""
    out = np.array(draws.xy_m)
    flights = [flight for flight in flights if len(flight.rows)]
    if not flights:
        return out
    longest = max(len(flight.rows) for flight in flights)
    shape = (len(JOINTS), 2)
    step_s = float(np.median(np.diff(track.time_s)))
    alike = wandering(np.arange(longest, dtype=np.float64) * step_s, shape, draws.generator)
    extra = draws.noise_factor * _extra_sd_m()
    extra[TRUNK] *= draws.cloth
    for flight in flights:
        own = wandering(np.arange(len(flight.rows), dtype=np.float64) * step_s, shape, draws.generator)
        if flight.running:
            shared = alike[:, : len(flight.rows)]
            shared = shared if flight.foot == "left" else shared[:, :, _MIRROR]
            own = np.sqrt(ALIKE) * shared + np.sqrt(1.0 - ALIKE) * own
        restless = 1.0 if draws.restless is None else draws.restless[flight.rows][None, :, None, None]
        out[1:, flight.rows] += own * extra * restless
    _disagreeing(out, draws, track.time_s, flights, motions)
    hurry = _hurry_m(draws, track, flights)
    out = carried(out - hurry, draws, track.xy_m - hurry, motions)
    sag = SAG_M_PER_S2 * generator(Stream.FLIGHT_SAG).normal(size=(COUNT, 1))
    for flight in flights:
        if flight.running:
            t = track.time_s[flight.rows]
            out[..., 1][1:, flight.rows] += (sag * (t - t.mean()) ** 2 / 2.0)[..., None]
    return _sideways(out, draws, track, flights)


def _disagreeing(
    xy_m: Floats, draws: Draws, time_s: Floats, flights: Sequence[Flight], motions: Sequence[TrunkMotion]
) -> None:
    """Add to the draws what the joints of flights drift in which the trunk's pictures do not agree."""
    spoilt = [motion.window.rows for motion in motions if motion.reason == DISAGREE]
    size_m = (
        draws.noise_factor
        * np.sqrt(DISAGREEING**2 - 1.0)
        * np.array([FLIGHT_DRIFT_M[n.split("_")[-1]] for n in JOINTS])
    )
    rng = generator(Stream.DISAGREEING)
    for flight in flights:
        if any(np.isin(flight.rows, rows).mean() > 0.5 for rows in spoilt):
            xy_m[1:, flight.rows] += size_m * wandering(time_s[flight.rows], size_m.shape, rng)


def _sideways(xy_m: Floats, draws: Draws, track: RunwayTrack, flights: Sequence[Flight]) -> Floats:
    """Return the draws with what an unseen speed across the lane, even in a flight, looks like."""
    if draws.by_depth is None:
        return xy_m
    rng = generator(Stream.SIDEWAYS)
    for flight in flights:
        speed = (TO_LEAP_M_PER_S if flight.to_leap else SIDEWAYS_M_PER_S) * rng.normal(size=(COUNT, 1))
        t = track.time_s[flight.rows]
        xy_m[1:, flight.rows] += (speed * (t - t.mean()))[..., None, None] * draws.by_depth[flight.rows]
    return xy_m


def _hurry_m(draws: Draws, track: RunwayTrack, flights: Sequence[Flight]) -> Floats:
    """How far the turn of the trunk carries the hips of the pose model along the run in running flights, (t, k, 2)."""
    out = np.zeros_like(track.xy_m)
    if draws.far_lead_m is None:
        return out
    for flight in flights:
        lead_m = draws.far_lead_m[flight.rows]
        if flight.running and np.isfinite(lead_m).any():
            for side in ("left", "right"):
                out[flight.rows, joint(side, "hip"), 0] = HIP_TURNED * (lead_m - np.nanmean(lead_m))
    return out


_MIRROR = [
    JOINTS.index(n.replace("left", "right") if n.startswith("left") else n.replace("right", "left")) for n in JOINTS
]


def _extra_sd_m() -> Floats:
    """SD (k, 2) that the drift of flight has beyond the drift that all draws carry."""
    whole = np.array([FLIGHT_DRIFT_M[name.split("_")[-1]] for name in JOINTS])
    return np.asarray(np.sqrt(np.maximum(whole**2 - drift_sd_m() ** 2, 0.0)))


def carried(xy_m: Floats, draws: Draws, measured_m: Floats, motions: Sequence[TrunkMotion]) -> Floats:
    """Return the draws (s, t, k, 2) with hips and shoulders rigid in every flight whose trunk was followed.

    The pixels say where the trunk's middle goes, the joints how its lean changes. Each joint keeps its median place on the
    trunk over the flight, and so its constant bias; what is replaced is the change during the flight, for the most part: see
    `PIXELS_OFF`.

    Parameters
    ----------
    xy_m : (s, t, k, 2) float64
        Draws of the joints, the trunk's to be replaced.
    draws : Draws
        Where they come from.
    measured_m : (t, k, 2) float64
        The measured joints.
    motions : sequence of TrunkMotion
        One a flight; those with a reason, or too far from the joints, change nothing.
    """
    out = np.array(xy_m)
    pixels, joints = draws.cloth**4 * np.array(PIXELS_OFF) ** 2, np.array(JOINTS_OFF) ** 2
    share, apart = joints / (joints + pixels), APART_SDS * np.sqrt(joints + pixels)
    for motion in motions:
        if motion.reason or not _believable(measured_m, motion, apart):
            continue
        rows = motion.window.rows
        rigid = _rigid(measured_m[rows][:, TRUNK], motion)
        noise = np.zeros((COUNT + 1, *rigid.shape))
        noise[1:] = _wander(rigid, motion, draws)
        kept = draws.lasting_m[:, rows][:, :, TRUNK]
        at = np.ix_(np.arange(len(out)), rows, TRUNK)
        out[at] = share * (rigid[None] + kept + noise) + (1.0 - share) * xy_m[at]
    return out


def _believable(measured_m: Floats, motion: TrunkMotion, most_apart: Floats) -> bool:
    """The trunk's speed against the path of its joints, in x and y, is not more than both can err."""
    shoulder, hip = middle(measured_m[motion.window.rows], "shoulder"), middle(measured_m[motion.window.rows], "hip")
    t = motion.window.time_s - motion.window.time_s.mean()
    apart = motion.window.path_m + motion.shift_m - (shoulder + hip) / 2.0
    good = np.isfinite(apart).all(axis=1)
    return bool((np.abs(np.polyfit(t[good], apart[good], 1)[0]) <= most_apart).all())


def _rigid(joints_m: Floats, motion: TrunkMotion) -> Floats:
    """Joints (n, 4, 2), each at its median place on a trunk that moves as its pixels do and leans evenly as its joints do."""
    turn_rad = _leaning(joints_m, motion.window.time_s)
    cos, sin = np.cos(turn_rad)[:, None], np.sin(turn_rad)[:, None]
    origin = (motion.window.path_m + motion.shift_m)[:, None]
    away = joints_m - origin
    home = np.stack([cos * away[..., 0] + sin * away[..., 1], cos * away[..., 1] - sin * away[..., 0]], axis=-1)
    x, y = np.median(home, axis=0).T
    return np.asarray(origin + np.stack([cos * x - sin * y, sin * x + cos * y], axis=-1))


def _leaning(joints_m: Floats, time_s: Floats) -> Floats:
    """Change (n,) of the lean about its mean, a straight line in time; joints (n, 4, 2) in the order of TRUNK."""
    axis = (joints_m[:, [0, 2]] - joints_m[:, [1, 3]]).mean(axis=1)
    t = time_s - time_s.mean()
    line = polynomial(t, np.arctan2(-axis[:, 0], axis[:, 1])[None], 1)
    return np.asarray(line[0, 1] * t)


def _wander(rigid_m: Floats, motion: TrunkMotion, draws: Draws) -> Floats:
    """Draws (COUNT, n, 4, 2) of the error of shift and lean."""
    path = wandering(motion.window.time_s, (3,), draws.generator)
    arm = rigid_m - (motion.window.path_m + motion.shift_m)[:, None]
    lean = WANDER_RAD * path[:, :, 2, None, None] * np.stack([-arm[..., 1], arm[..., 0]], axis=-1)[None]
    return np.asarray(path[:, :, None, :2] * draws.cloth**2 * np.array(WANDER_M) + lean)
