"""What one result tells of the run-up: mean speeds between two places of the runway, and how many contacts it has."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from penult.model.analysis import Analysis, Contact
from penult.model.arrays import Floats
from penult.model.measured import Measure, Measured, Measures, NotMeasured

DEFAULT_ZONES_M: tuple[tuple[float, float], ...] = ((-11.0, -6.0), (-6.0, -1.0))
"""Zones of published competition reports: 11 to 6 m and 6 to 1 m before the line (MEASURES section 4a)."""


NO_BOARD = "the lane file has no board"

SHARED = 0.5
"""Share of the variance of the mass centre's place that both ends of a zone have in common (joint centres, camera), so that
it cancels. Six films with known truth, 19 zones of 4 to 5 m: errors of 0.024 m/s RMS, 0.05 at most; with 0.5 the median u95
is 0.07."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """The mass centre along the runway at the instants at which it is known: touchdowns and toe-offs, each (n,)."""

    time_s: Floats
    x_m: Floats
    u95_m: Floats

    def passing(self, x_m: float) -> tuple[float, float] | None:
        """Return when a place is passed and how surely (s, metres u95); None where the course does not reach it."""
        if len(self.x_m) < 2 or not self.x_m[0] <= x_m <= self.x_m[-1]:
            return None
        return float(np.interp(x_m, self.x_m, self.time_s)), float(np.interp(x_m, self.x_m, self.u95_m))


def course_of(analysis: Analysis) -> Course:
    """Return the course of the mass centre.

    At touchdown it is `touchdown_distance_mass_centre_m` behind the toe; in the flight before, it goes at the step's speed, so
    that the toe-off before is known too. Between toe-off and touchdown, and over a support, the course is a straight line.
    """
    rows: list[tuple[float, float, float]] = []
    for contact in analysis.contacts:
        at = _touchdown(contact)
        if at is None:
            continue
        step, before = analysis.step(contact.number), analysis.contact(contact.number - 1)
        if step and before and (start := _toe_off(at, step.measures, before)):
            rows.append(start)
        rows.append(at)
    rows.sort()
    table = np.array(rows, dtype=float).reshape(-1, 3)
    forward = np.diff(table[:, 1]) > 0.0 if len(table) > 1 else np.zeros(0, dtype=bool)
    good = np.concatenate([[True], forward]) if len(table) else np.zeros(0, dtype=bool)
    return Course(time_s=table[good, 0], x_m=table[good, 1], u95_m=table[good, 2])


def zone_speed(course: Course, start_m: float, end_m: float) -> Measure:
    """Return the mean speed of the mass centre between two places, `zone_speed_m_per_s`.

    Parameters
    ----------
    course : Course
        Of one run.
    start_m, end_m : float
        Places along the runway, the earlier one first.
    """
    first, last = course.passing(start_m), course.passing(end_m)
    if first is None or last is None:
        seen = f"{course.x_m[0]:.1f} to {course.x_m[-1]:.1f} m" if len(course.x_m) > 1 else "nothing"
        return NotMeasured(reason=f"the clip shows {seen} of the run-up; the zone is {start_m:g} to {end_m:g} m")
    time = last[0] - first[0]
    speed = (end_m - start_m) / time
    return Measured(value=speed, u95=math.sqrt(1.0 - SHARED) * math.hypot(first[1], last[1]) / time)


STARTING_SHARE = 0.5
"""Of the highest step speed: slower than this at the first step seen, the athlete is still setting off. Half the speed is
passed within four steps (closed form for v = vmax (1 - exp(-t / 1 s)) and steps of 0.25 s: 3)."""


def stride_count(analysis: Analysis) -> int | NotMeasured:
    """Return the contacts of the whole run-up up to contact 0, `stride_count`, where its start is in the clip."""
    speeds = [
        (s.number, m.value)
        for s in analysis.steps
        if s.number <= 0 and isinstance(m := s.measures.get("step_speed_m_per_s"), Measured)
    ]
    if not speeds:
        return NotMeasured(reason="no step of the run-up is measured")
    if min(speeds)[1] > STARTING_SHARE * max(v for _, v in speeds):
        return NotMeasured(reason="the start of the run-up is not in the clip")
    return 1 - min(c.number for c in analysis.contacts)


def run_up_measures(analysis: Analysis, *, has_board: bool) -> dict[str, Measure]:
    """Return the measures of the run-up that stand in every result: the speeds of the usual zones, and the stride count.

    Parameters
    ----------
    analysis : Analysis
        Whatever must be withheld has been withheld.
    has_board : bool
        Without a board nothing is counted from the line.
    """
    course, count = course_of(analysis), stride_count(analysis)
    return {
        **{
            f"zone_speed_{-start:g}_to_{-end:g}_m_per_s": zone_speed(course, start, end)
            if has_board
            else NotMeasured(reason=NO_BOARD)
            for start, end in DEFAULT_ZONES_M
        },
        "stride_count": count if isinstance(count, NotMeasured) else Measured(value=float(count), u95=0.0),
    }


def _touchdown(contact: Contact) -> tuple[float, float, float] | None:
    names = ("touchdown_s", "toe_x_m", "touchdown_distance_mass_centre_m")
    time, toe, distance = (contact.measures.get(n) for n in names)
    if not (isinstance(time, Measured) and isinstance(toe, Measured) and isinstance(distance, Measured)):
        return None
    return time.value, toe.value - distance.value, distance.u95


def _toe_off(at: tuple[float, float, float], step: Measures, before: Contact) -> tuple[float, float, float] | None:
    """Return time, place and u95 of the mass centre at the toe-off before a touchdown."""
    speed = step.get("step_speed_m_per_s")
    left = before.measures.get("toe_off_s")
    if not (isinstance(speed, Measured) and isinstance(left, Measured)) or left.value >= at[0]:
        return None
    return left.value, at[1] - speed.value * (at[0] - left.value), at[2]
