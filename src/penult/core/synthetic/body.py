"""The body of a synthetic runner: limbs of constant length about a planned mass centre and planned feet."""

from __future__ import annotations

import numpy as np
from scipy.interpolate import CubicSpline, PchipInterpolator

from penult.core.joints.body import mass_centre, segment_table
from penult.core.synthetic.run import Runner, Stance, mass_centre_at
from penult.model.arrays import Floats
from penult.model.skeleton import INDEX, JOINTS, joint

SHARE = {"thigh": 0.245, "shank": 0.246, "trunk": 0.288, "neck": 0.115, "upper_arm": 0.186, "forearm": 0.146}
"""Segment lengths over standing height: Drillis & Contini 1966 as given by Winter (from memory)."""

ANKLE_SHARE, HEEL_SHARE = (-0.115, 0.048), (-0.138, 0.014)
TOE_SHARE = (-0.020, 0.014)
"""Ankle, heel and toe as a pose model puts them, from the tip of the sole: behind it (x) and above it (y)."""

PUSH_DEG, FOLD_DEG, LAND_DEG = -49.0, -85.0, -4.0
"""Sole against the runway at toe-off, in swing and at touchdown, negative with the heel up."""

FLAT_FROM, FLAT_UNTIL = 0.2, 0.35
"""Shares of a support between which the sole lies flat."""


SETTLED_M = 1e-9
"""The hips are solved for to this."""

LEAVING_M_PER_S, LANDING_M_PER_S = (5.0, 2.5), (2.0, -0.8)
"""About the velocity (forward, up) of the tip of a foot just after it left and just before it lands."""


def joints_at(runner: Runner, time_s: Floats) -> Floats:
    """Return every joint in the plane of the run, (n, k, 2), in the order of `JOINTS`.

    Parameters
    ----------
    runner : Runner
    time_s : (n,) float64
        Within `runner.shown_s`.

    Raises
    ------
    ValueError
        If the plan asks for longer legs than the body has.
    """
    asked = np.concatenate([runner.knots_s, np.asarray(time_s, dtype=float)])
    wanted = mass_centre_at(runner, asked)
    table = segment_table(runner.sex)
    hip = wanted - np.array([0.0, 0.06]) * runner.scale()
    for _ in range(30):  # the mass centre follows the hips nearly one to one: each round leaves a fifth of the gap
        body = _body(runner, asked, hip)
        gap = wanted - mass_centre(body, table)
        if np.abs(gap).max() < SETTLED_M:
            break
        hip = hip + gap
    seen = body[len(runner.knots_s) :]
    _check_reach(runner, seen)
    return seen


def _body(runner: Runner, time_s: Floats, hip_m: Floats) -> Floats:
    """All joints for given hips (n, 2); the first instants are the knots of the run."""
    body = np.empty((len(time_s), len(JOINTS), 2))
    length = {name: share * runner.height_m for name, share in SHARE.items()}
    lean = np.interp(time_s, runner.knots_s[[0, -6, -1]], np.radians([6.0, 5.0, -2.0]))
    up = np.stack([np.sin(lean), np.cos(lean)], axis=1)
    body[:, INDEX["head"]] = hip_m + up * (length["trunk"] + length["neck"])
    phase = _phase(runner, time_s)
    for side, sign in (("left", -1.0), ("right", 1.0)):
        swing = sign * np.radians(40.0) * np.cos(phase)
        shoulder = hip_m + up * length["trunk"]
        elbow = shoulder + length["upper_arm"] * np.stack([np.sin(swing), -np.cos(swing)], axis=1)
        bent = swing + np.radians(95.0)
        body[:, joint(side, "shoulder")], body[:, joint(side, "elbow")] = shoulder, elbow
        body[:, joint(side, "wrist")] = elbow + length["forearm"] * np.stack([np.sin(bent), -np.cos(bent)], axis=1)
        foot = _foot(runner, side, time_s, hip_m)
        body[:, joint(side, "hip")] = hip_m
        body[:, joint(side, "knee")] = _knee(hip_m, foot["ankle"], length["thigh"], length["shank"])
        for part, place in foot.items():
            body[:, joint(side, part)] = place
    return body


def _phase(runner: Runner, time_s: Floats) -> Floats:
    """Phase of the arms' swing (n,), a whole number of turns at every touchdown of the left foot."""
    down = np.array([s.touchdown_s for s in runner.stances])
    turn = np.pi * (np.arange(len(down)) + (runner.stances[0].foot == "right"))
    down, turn = np.append(down, down[-1] + 0.6), np.append(turn, turn[-1] + 4.0)
    return np.asarray(PchipInterpolator(down, turn)(time_s))


def _foot(runner: Runner, side: str, time_s: Floats, hip_m: Floats) -> dict[str, Floats]:
    """Ankle, heel and toe of one foot, (n, 2) each: standing on its tip's place, in swing on a path beside the hips."""
    own = [(i, s) for i, s in enumerate(runner.stances) if s.foot == side]
    tip = np.empty((len(time_s), 2))
    for at, (i, stance) in enumerate(own):
        later = own[at + 1] if at + 1 < len(own) else None
        tip[(time_s >= stance.touchdown_s) & (time_s <= stance.toe_off_s)] = stance.tip_m
        end = later[1].touchdown_s if later else np.inf
        rows = (time_s > stance.toe_off_s) & (time_s < end)
        left = np.array(stance.tip_m) - hip_m[2 * i + 1]
        lands = np.array(later[1].tip_m) - hip_m[2 * later[0]] if later else None
        path = _swing(runner, 2 * i + 1, left, end, lands)
        tip[rows] = hip_m[rows] + path(time_s[rows])
    tip[time_s < own[0][1].touchdown_s] = own[0][1].tip_m
    pitch = np.radians(_pitch_deg([s for _, s in own])(time_s))
    along, above = np.stack([np.cos(pitch), np.sin(pitch)], axis=1), np.stack([-np.sin(pitch), np.cos(pitch)], axis=1)
    shares = {"ankle": ANKLE_SHARE, "heel": HEEL_SHARE, "toe": TOE_SHARE}
    return {part: tip + runner.height_m * (x * along + y * above) for part, (x, y) in shares.items()}


def _swing(runner: Runner, knot: int, left_m: Floats, end_s: float, lands_m: Floats | None) -> CubicSpline:
    """Path of a foot's tip relative to the hips, from where it left to where it lands (None: in a long flight)."""
    size, start_s, hips = runner.scale(), runner.knots_s[knot], runner.velocity_m_per_s[knot]
    leaving, landing = LEAVING_M_PER_S - hips, LANDING_M_PER_S - hips * np.array([1.0, 0.0])
    back, front = size * np.array([-0.52, -0.60]), size * np.array([0.30, -0.52])
    if lands_m is None:
        late = size * np.array([0.42, -0.62])
        times = start_s + np.array([0.0, 0.13, 0.30, 0.55, 2.0])
        return CubicSpline(
            times, np.stack([left_m, back, front, late, late]), bc_type=((1, leaving), (1, 0.0 * leaving))
        )
    times = start_s + (end_s - start_s) * np.array([0.0, 0.35, 0.7, 1.0])
    return CubicSpline(times, np.stack([left_m, back, front, lands_m]), bc_type=((1, leaving), (1, landing)))


def _pitch_deg(stances: list[Stance]) -> PchipInterpolator:
    """Angle of the sole over time: lands on the forefoot, stands flat, rolls over its tip, folds in swing."""
    knots: list[tuple[float, float]] = []
    for i, s in enumerate(stances):
        lasts = s.toe_off_s - s.touchdown_s
        swing = (stances[i + 1].touchdown_s if i + 1 < len(stances) else s.toe_off_s + 0.4) - s.toe_off_s
        knots += [
            (s.touchdown_s, LAND_DEG),
            (s.touchdown_s + FLAT_FROM * lasts, 0.0),
            (s.touchdown_s + FLAT_UNTIL * lasts, 0.0),
        ]
        knots += [(s.toe_off_s, PUSH_DEG), (s.toe_off_s + 0.3 * swing, FOLD_DEG)]
    knots += [(knots[-1][0] + 0.2, -40.0), (knots[-1][0] + 2.0, -20.0)]
    return PchipInterpolator(*np.array([(stances[0].touchdown_s - 1.0, FOLD_DEG), *knots]).T)


def _knee(hip_m: Floats, ankle_m: Floats, thigh_m: float, shank_m: float) -> Floats:
    """Knee of a leg of two rods, bent forward (law of cosines)."""
    line = ankle_m - hip_m
    reach = np.clip(np.linalg.norm(line, axis=1), 1e-6, thigh_m + shank_m)[:, None]
    along = (thigh_m**2 - shank_m**2 + reach**2) / (2.0 * reach)
    off = np.sqrt(np.maximum(thigh_m**2 - along**2, 0.0))
    return np.asarray(hip_m + along * line / reach + off * np.stack([-line[:, 1], line[:, 0]], axis=1) / reach)


def _check_reach(runner: Runner, body_m: Floats) -> None:
    """Refuse a plan that would stretch a leg."""
    leg_m = (SHARE["thigh"] + SHARE["shank"]) * runner.height_m
    for side in ("left", "right"):
        reach = np.linalg.norm(body_m[:, joint(side, "hip")] - body_m[:, joint(side, "ankle")], axis=1)
        if reach.max(initial=0.0) > leg_m:
            raise ValueError(f"the {side} leg of {leg_m:.3f} m cannot reach {reach.max():.3f} m")
