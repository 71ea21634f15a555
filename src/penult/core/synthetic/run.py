"""A runner with known answers, for tests, documentation and self-checks. Numbers only: no pictures, no measuring.

A stick body of constant segment lengths. The mass centre and the standing feet are planned; the hips are solved for so
that mass centre, feet and segment lengths are all exact: the mass centre moves evenly and falls with g in every flight,
the forefoot stands still in every support. What the body then shows at an instant is the answer that a measurement of
it must give (`core.synthetic.truth`). Here is the plan; `core.synthetic.body` gives the joints.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from scipy.interpolate import CubicHermiteSpline

from penult.core.numeric.fits import GRAVITY_M_PER_S2
from penult.model.analysis import Foot
from penult.model.arrays import Floats

REFERENCE_HEIGHT_M = 1.75
"""Height of the body that the plan's lengths are written for; other bodies are scaled."""


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
    sex : {'female', 'male'}, optional
        Whose segment masses the body has; None: the mean of both.
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
    sex: str | None
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
    sex: str | None = None
    speed_m_per_s: float = 8.4
    takeoff_m_per_s: tuple[float, float] | None = (7.5, 3.1)
    last_foot: Foot = "left"
    toe_to_board_m: float = 0.06
    mats_m: Mapping[int, float] = field(default_factory=dict)
    contacts_s: tuple[float, ...] = (0.105, 0.105, 0.105, 0.105, 0.112, 0.118)
    flights_s: tuple[float, ...] = (0.125, 0.125, 0.125, 0.14, 0.085)
    landing_m: tuple[float, ...] = (0.99, 0.99, 0.99, 0.99, 0.972, 0.935)
    leaving_m: tuple[float, ...] = (0.99, 0.99, 0.99, 0.99, 0.965, 1.055)
    ahead_m: tuple[float, ...] = (0.42, 0.42, 0.42, 0.42, 0.44, 0.60)


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
        sex=plan.sex,
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
