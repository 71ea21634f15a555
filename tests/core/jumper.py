"""A body that goes from foot to foot in any order: planned supports, a mass centre that falls with g between them. Tests only.

The mass centre is exact in every flight (closed form); standing feet stand still; the swinging leg goes on a smooth arc in the
axes of the hips from where it left to where it lands. Joints are those of `penult.model.skeleton`, straight on the runway.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy.interpolate import CubicHermiteSpline

from penult.core.joints.body import joint_weights, segment_table
from penult.model.arrays import Floats
from penult.model.skeleton import JOINTS, joint
from penult.model.track import RunwayTrack

G = 9.81
HIP_M = 0.92


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """Feet in the order of time ('LLR'), flight after each (s), contact time (s), forward speed (m/s)."""

    feet: str
    flights_s: tuple[float, ...]
    contact_s: float = 0.16
    speed_m_per_s: float = 6.0
    boxes_m: tuple[float, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Jumper:
    """The track and what is true of it: feet, instants (n, 2), places of the toes (n,)."""

    track: RunwayTrack
    feet: str
    instants_s: Floats
    toe_x_m: Floats


def jumper(plan: Plan, rate_hz: float = 120.0, noise_m: float = 0.0, seed: int = 1) -> Jumper:
    """Return the jumper of a plan, from half a flight before the first support to half a flight after the last."""
    count = len(plan.feet)
    flights = np.array(plan.flights_s)
    begin = flights[0] / 2.0
    down = begin + np.concatenate([[0.0], np.cumsum(plan.contact_s + flights[: count - 1])])
    instants = np.stack([down, down + plan.contact_s], axis=1)
    time_s = np.arange(0.0, instants[-1, 1] + flights[count - 1] / 2.0, 1.0 / rate_hz)
    centre = _centre(time_s, instants, flights, plan)
    toe_x = plan.speed_m_per_s * instants.mean(axis=1) + 0.12
    boxes = np.array([*plan.boxes_m, *([0.0] * (count - len(plan.boxes_m)))])
    xy = _joints(time_s, centre, instants, toe_x, boxes, plan)
    xy += noise_m * np.random.default_rng(seed).normal(size=xy.shape)
    rows = np.arange(len(time_s))
    track = RunwayTrack(
        frame=rows, time_s=time_s, xy_m=xy, z_m=np.zeros(len(JOINTS)), filled=np.zeros(xy.shape[:2], dtype=bool)
    )
    return Jumper(track=track, feet=plan.feet, instants_s=instants, toe_x_m=toe_x)


def exchanged(track: RunwayTrack, rows: Floats) -> RunwayTrack:
    """Return the track with the words left and right of the legs the wrong way round in some rows."""
    xy = np.array(track.xy_m)
    for part in ("hip", "knee", "ankle", "heel", "toe"):
        pair = [joint("left", part), joint("right", part)]
        xy[np.ix_(rows, pair)] = xy[np.ix_(rows, pair[::-1])]
    return RunwayTrack(frame=track.frame, time_s=track.time_s, xy_m=xy, z_m=track.z_m, filled=track.filled)


def _centre(time_s: Floats, instants: Floats, flights: Floats, plan: Plan) -> Floats:
    """The mass centre (t, 2): level at the ends of every support, falling with g in flight, a cubic over each support."""
    x = plan.speed_m_per_s * time_s
    y = np.full(len(time_s), np.nan)
    before = np.concatenate([[flights[0]], flights[:-1]])
    level = HIP_M + 0.02
    for (td, to), arrive, leave in zip(instants, before, flights, strict=True):
        spline = CubicHermiteSpline([td, to], [level, level], [-G * arrive / 2.0, G * leave / 2.0])
        inside = (time_s >= td) & (time_s <= to)
        y[inside] = spline(time_s[inside])
        early = (time_s < td) & (time_s >= td - arrive)
        t = time_s[early] - td
        y[early] = level - G * arrive / 2.0 * t - G * t**2 / 2.0
        late = (time_s > to) & (time_s <= to + leave)
        t = time_s[late] - to
        y[late] = level + G * leave / 2.0 * t - G * t**2 / 2.0
    return np.stack([x, y], axis=1)


def _joints(time_s: Floats, centre: Floats, instants: Floats, toe_x: Floats, boxes: Floats, plan: Plan) -> Floats:
    weights = joint_weights(segment_table(None))
    hip = np.array(centre)
    xy = np.zeros((len(time_s), len(JOINTS), 2))
    for _ in range(6):  # the hips hang on where the legs are, and they on the hips: quickly settled
        for side, letter in (("left", "L"), ("right", "R")):
            _leg(xy, time_s, hip, side, [i for i, f in enumerate(plan.feet) if f == letter], instants, toe_x, boxes)
            for part, up, ahead in (
                ("hip", 0.0, 0.0),
                ("shoulder", 0.5, 0.04),
                ("elbow", 0.25, 0.0),
                ("wrist", 0.1, 0.1),
            ):
                xy[:, joint(side, part)] = hip + np.array([ahead, up])
        xy[:, JOINTS.index("head")] = hip + np.array([0.06, 0.68])
        hip = hip + centre - np.einsum("tkd,k->td", xy, weights)
    return xy


def _leg(
    xy: Floats, time_s: Floats, hip: Floats, side: str, own: list[int], instants: Floats, toe_x: Floats, boxes: Floats
) -> None:
    ankle = np.full((len(time_s), 2), np.nan)
    stands = np.zeros(len(time_s), dtype=bool)
    for i in own:
        inside = (time_s >= instants[i, 0]) & (time_s <= instants[i, 1])
        ankle[inside], stands[inside] = (toe_x[i] - 0.17, boxes[i] + 0.09), True
    # in the air: from behind the hips, folded, to in front of them; knots in the axes of the hips
    knots, places = [time_s[0] - 0.4], [(-0.45, -0.50)]
    for i, ends in enumerate(instants):
        for at, free in zip(ends, ((-0.35, -0.62), (0.30, -0.60)), strict=True):
            row = int(np.abs(time_s - at).argmin())
            knots.append(float(at))
            stood = (toe_x[i] - 0.17 - hip[row, 0], boxes[i] + 0.09 - hip[row, 1])
            places.append(stood if i in own else free)  # the free leg swings from behind to the front over a support
    knots.append(max(float(time_s[-1]), knots[-1]) + 0.4)
    places.append((0.45, -0.75))
    for (a, b), (p, q) in zip(pairwise(knots), pairwise(places), strict=True):
        rows = (time_s >= a) & (time_s < b) & ~stands
        u = (time_s[rows] - a) / (b - a)
        smooth = u * u * (3.0 - 2.0 * u)
        fold = 0.35 * np.sin(np.pi * u) ** 2
        ankle[rows, 0] = hip[rows, 0] + p[0] + (q[0] - p[0]) * smooth
        ankle[rows, 1] = hip[rows, 1] + p[1] + (q[1] - p[1]) * smooth + fold
    xy[:, joint(side, "ankle")] = ankle
    xy[:, joint(side, "knee")] = (hip + ankle) / 2.0 + np.array([0.12, 0.0])
    xy[:, joint(side, "heel")] = ankle + np.array([-0.06, -0.06])
    xy[:, joint(side, "toe")] = ankle + np.array([0.17, -0.07])
