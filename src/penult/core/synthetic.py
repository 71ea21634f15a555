"""A runner with known answers, for tests, documentation and self-checks. Numbers only: no pictures, no measuring.

A stick body of constant segment lengths. The mass centre and the standing feet are planned; the hips are solved for so
that mass centre, feet and segment lengths are all exact: the mass centre moves evenly and falls with g in every flight,
the forefoot stands still in every support. What the body then shows at an instant is the answer that a measurement of
it must give (`core.synthetic_truth`).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from scipy.interpolate import CubicHermiteSpline, CubicSpline, PchipInterpolator

from penult.core.body import mass_centre, segment_table
from penult.model.analysis import Foot
from penult.model.arrays import Floats
from penult.model.skeleton import INDEX, JOINTS, joint

GRAVITY_M_PER_S2 = 9.81
REFERENCE_HEIGHT_M = 1.75
"""Height of the body that the plan's lengths are written for; other bodies are scaled."""

SHARE = {"thigh": 0.245, "shank": 0.246, "trunk": 0.288, "neck": 0.115, "upper_arm": 0.186, "forearm": 0.146}
"""Segment lengths over standing height: Drillis & Contini 1966 as given by Winter (from memory)."""

ANKLE_SHARE, HEEL_SHARE = (-0.115, 0.048), (-0.138, 0.014)
TOE_SHARE = (-0.020, 0.014)
"""Ankle, heel and toe as a pose model puts them, from the tip of the sole: behind it (x) and above it (y)."""

PUSH_DEG, FOLD_DEG, LAND_DEG = -60.0, -85.0, -4.0
"""Sole against the runway at toe-off, in swing and at touchdown, negative with the heel up."""


LEAVING_M_PER_S, LANDING_M_PER_S = (5.0, 2.5), (2.0, -0.8)
"""About the velocity (forward, up) of the tip of a foot just after it left and just before it lands."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stance:
    """One planned support: the tip of the shoe stands at `tip_m`, x and height of the surface."""

    foot: Foot
    touchdown_s: float
    toe_off_s: float
    tip_m: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Runner:
    """A planned run.

    Parameters
    ----------
    height_m : float
        Of the athlete.
    stances : tuple of Stance
        In the order of time, feet alternating; more of them than the clip shows.
    zero : int
        Index of contact 0.
    has_takeoff : bool
        Contact 0 is a take-off; else the run goes on.
    knots_s : (2 n,) float64
        Touchdown and toe-off of every stance.
    mass_centre_m, velocity_m_per_s : (2 n, 2) float64
        Of the mass centre, at those instants.
    shown_s : (float, float)
        What a clip of it shows: from the flight before contact -3 to the flight after the last contact.
    """

    height_m: float
    stances: tuple[Stance, ...]
    zero: int
    has_takeoff: bool
    knots_s: Floats
    mass_centre_m: Floats
    velocity_m_per_s: Floats
    shown_s: tuple[float, float]

    def shown(self) -> dict[int, Stance]:
        """Return the stances that the clip shows from touchdown to toe-off, by contact number."""
        first, last = self.shown_s
        return {i - self.zero: s for i, s in enumerate(self.stances) if s.touchdown_s > first and s.toe_off_s < last}

    def scale(self) -> float:
        """Return the body's size over that of the body the plan is written for."""
        return self.height_m / REFERENCE_HEIGHT_M


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """What a run is to be like: lists from contact -5 on, lengths in them for a body of REFERENCE_HEIGHT_M."""

    height_m: float = REFERENCE_HEIGHT_M
    speed_m_per_s: float = 8.4
    takeoff_m_per_s: tuple[float, float] | None = (7.5, 3.1)
    last_foot: Foot = "left"
    toe_to_board_m: float = 0.06
    mats_m: Mapping[int, float] = field(default_factory=dict)
    contacts_s: tuple[float, ...] = (0.105, 0.105, 0.105, 0.105, 0.112, 0.118)
    flights_s: tuple[float, ...] = (0.125, 0.125, 0.125, 0.14, 0.085)
    landing_m: tuple[float, ...] = (0.99, 0.99, 0.99, 0.99, 0.97, 0.94)
    leaving_m: tuple[float, ...] = (0.99, 0.99, 0.99, 0.99, 0.96, 1.07)
    ahead_m: tuple[float, ...] = (0.42, 0.42, 0.42, 0.42, 0.44, 0.585)


RUN_THROUGH = Plan(
    takeoff_m_per_s=None,
    contacts_s=(0.105,) * 8,
    flights_s=(0.125,) * 7,
    landing_m=(0.99,) * 8,
    leaving_m=(0.99,) * 8,
    ahead_m=(0.42,) * 8,
)
"""A run without a take-off that goes on for two contacts beyond the line."""


def make_runner(plan: Plan | None = None) -> Runner:
    """Work out a run: instants, places of the feet, and the mass centre at every touchdown and toe-off.

    Parameters
    ----------
    plan : Plan, optional
        The default is a full approach of a body of 1.75 m with a take-off.

    Returns
    -------
    Runner
    """
    plan = plan or Plan()
    count, zero, size = len(plan.contacts_s), 5, plan.height_m / REFERENCE_HEIGHT_M
    lasts = np.concatenate([[0.0], np.ravel(np.column_stack([plan.contacts_s[:-1], plan.flights_s]))])
    down = np.cumsum(lasts)[::2]
    off = down + np.array(plan.contacts_s)
    speed = np.full((2 * count, 2), plan.speed_m_per_s)
    place = np.empty((2 * count, 2))
    place[0::2, 1], place[1::2, 1] = size * np.array(plan.landing_m), size * np.array(plan.leaving_m)
    flight = np.array([*plan.flights_s, plan.flights_s[-1]])
    rise = (np.append(place[2::2, 1], place[-1, 1]) - place[1::2, 1]) / flight + GRAVITY_M_PER_S2 * flight / 2.0
    speed[1::2, 1] = rise
    speed[0::2, 1] = np.concatenate([[rise[0]], rise[:-1]]) - GRAVITY_M_PER_S2 * np.concatenate(
        [flight[:1], flight[:-1]]
    )
    if plan.takeoff_m_per_s:
        speed[-1] = plan.takeoff_m_per_s
    knots = np.ravel(np.column_stack([down, off]))
    way = np.diff(knots) * (speed[1:, 0] + speed[:-1, 0]) / 2.0
    place[:, 0] = np.concatenate([[0.0], np.cumsum(way)])
    tip = place[0::2, 0] + size * np.array(plan.ahead_m)
    shift = -plan.toe_to_board_m - tip[zero]
    place[:, 0] += shift
    feet: tuple[Foot, Foot] = ("left", "right") if plan.last_foot == "left" else ("right", "left")
    stances = tuple(
        Stance(
            foot=feet[(zero - i) % 2],
            touchdown_s=float(down[i]),
            toe_off_s=float(off[i]),
            tip_m=(float(tip[i] + shift), plan.mats_m.get(i - zero, 0.0)),
        )
        for i in range(count)
    )
    after = 0.30 if plan.takeoff_m_per_s else -(plan.contacts_s[-1] + 0.03)
    return Runner(
        height_m=plan.height_m,
        stances=stances,
        zero=zero,
        has_takeoff=plan.takeoff_m_per_s is not None,
        knots_s=knots,
        mass_centre_m=place,
        velocity_m_per_s=speed,
        shown_s=(float(down[zero - 3] - 0.09), float(off[-1] + after)),
    )


def mass_centre_at(runner: Runner, time_s: Floats) -> Floats:
    """Return the planned mass centre (n, 2): even and falling with g in flight, cubic Hermite over a support."""
    knots, place, speed = runner.knots_s, runner.mass_centre_m, runner.velocity_m_per_s
    out = np.asarray(CubicHermiteSpline(knots, place, speed)(time_s))
    since = np.searchsorted(knots, time_s, side="right") - 1
    flying = (since % 2 == 1) & (since >= 0)
    start = np.clip(since, 0, None)[flying]
    t = (time_s[flying] - knots[start])[:, None]
    out[flying] = place[start] + speed[start] * t + np.array([0.0, -GRAVITY_M_PER_S2]) * t**2 / 2.0
    return out


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
    table = segment_table(None)
    hip = wanted - np.array([0.0, 0.06]) * runner.scale()
    for _ in range(30):  # the body's mass centre follows the hips nearly one to one, so this settles quickly
        body = _body(runner, asked, hip)
        hip = hip + wanted - mass_centre(body, table)
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
        knots += [(s.touchdown_s, LAND_DEG), (s.touchdown_s + 0.25 * lasts, 0.0), (s.touchdown_s + 0.5 * lasts, 0.0)]
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
