"""Measures of one contact (MEASURES.md section 2). Each takes a contact's evidence and returns draws (s,)."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from penult.core.joints.body import knee_angle_deg, leg_rise_deg, middle, trunk_lean_deg
from penult.core.measures.evidence import FOOT_SPEED_S, ContactEvidence
from penult.core.uncertainty.expanded import to_measure
from penult.model import catalogue
from penult.model.arrays import Floats
from penult.model.catalogue.entry import Bound
from penult.model.measured import Measure, Measured, NotMeasured

MAX_INTERVAL_S = 0.020
"""Slower than 50 frames a second a contact of 0.1 s covers fewer than five frames, and its time, uncertain by 0.82 frames
(two SD of T / sqrt 6), by more than a sixth of itself: contact and flight times are then not measured."""

WIDEST_DEG = 25.0
"""An angle whose interval is wider than this to either side is not given: such an interval holds all that jumpers do (smallest knee
angles of 110 to 150 deg: common practice, no source) and says nothing of this one."""

WIDE_REASON = "too few pictures show the joints well enough: the angle is not known to within 25 degrees"

VAGUE_SHARE = 0.5
"""A contact or flight time that is uncertain by more than this share of itself is not given: contacts of one run and of different
runs differ by less (0.08 to 0.13 s: common practice, no source)."""

VAGUE_REASON = "touchdown and toe-off cannot be told well enough here: the time is not known to within half of itself"

STRIKE_BOUNDS_DEG = (-1.6, 8.0)
"""Forefoot below, heel first above, flat between: Altman & Davis 2012 (from memory, to be confirmed)."""


def touchdown_s(c: ContactEvidence) -> Floats:
    """First instant at which any part of the shoe bears on the surface (runway, board or mat)."""
    return c.event.touchdown_s


def toe_off_s(c: ContactEvidence) -> Floats:
    """Last instant at which any part of the shoe bears on the surface."""
    return c.event.toe_off_s


def contact_time_s(c: ContactEvidence) -> Floats:
    """Toe-off minus touchdown."""
    if c.interval_s > MAX_INTERVAL_S:
        return np.full(len(c.event.touchdown_s), np.nan)
    return c.event.toe_off_s - c.event.touchdown_s


def toe_x_m(c: ContactEvidence) -> Floats:
    """Place along the runway of the toe tip while the forefoot is still."""
    return c.event.toe_x_m


def support_height_m(c: ContactEvidence) -> Floats:
    """Height of the surface under the forefoot: 0 on the runway, the mat's thickness on a mat."""
    return c.event.support_height_m


def foot_angle_touchdown_deg(c: ContactEvidence) -> Floats:
    """Line from the rear to the front edge of the sole against the runway at touchdown, positive with the toe up."""
    return c.event.foot_angle_deg


def leg_angle_touchdown_deg(c: ContactEvidence) -> Floats:
    """At the ankle, between the line ankle -> hip joint of the same leg and the backward horizontal; 90 = hip above ankle."""
    return 180.0 - leg_rise_deg(c.touchdown_joints_m, c.event.foot)


def leg_angle_toe_off_deg(c: ContactEvidence) -> Floats:
    """The same line against the forward horizontal at toe-off; below 90 = hip ahead of the foot."""
    return leg_rise_deg(c.toe_off_joints_m, c.event.foot)


def touchdown_distance_m(c: ContactEvidence) -> Floats:
    """toe_x_m minus x of the mid-hip at touchdown."""
    return c.event.toe_x_m - middle(c.touchdown_joints_m, "hip")[..., 0]


def touchdown_distance_mass_centre_m(c: ContactEvidence) -> Floats:
    """toe_x_m minus x of the whole-body mass centre at touchdown."""
    return c.event.toe_x_m - c.mass_centre_touchdown_m[..., 0]


def knee_angle_touchdown_deg(c: ContactEvidence) -> Floats:
    """Hip-knee-ankle angle of the supporting leg at touchdown, 180 = straight."""
    return knee_angle_deg(c.touchdown_joints_m, c.event.foot)


def knee_angle_min_deg(c: ContactEvidence) -> Floats:
    """Smallest hip-knee-ankle angle over the support."""
    return c.knee_min_deg


def knee_angle_toe_off_deg(c: ContactEvidence) -> Floats:
    """Hip-knee-ankle angle of the supporting leg at toe-off."""
    return knee_angle_deg(c.toe_off_joints_m, c.event.foot)


def trunk_angle_touchdown_deg(c: ContactEvidence) -> Floats:
    """Line mid-hip -> mid-shoulder from the vertical at touchdown, positive forward."""
    return trunk_lean_deg(c.touchdown_joints_m)


def trunk_angle_toe_off_deg(c: ContactEvidence) -> Floats:
    """Line mid-hip -> mid-shoulder from the vertical at toe-off, positive forward."""
    return trunk_lean_deg(c.toe_off_joints_m)


def hip_height_touchdown_m(c: ContactEvidence) -> Floats:
    """Mid-hip above the RUNWAY (not the mat) at touchdown."""
    return c.hips.touchdown_m


def hip_height_lowest_m(c: ContactEvidence) -> Floats:
    """Lowest mid-hip above the runway over the support."""
    return c.hips.lowest_m


def hip_height_toe_off_m(c: ContactEvidence) -> Floats:
    """Mid-hip above the runway at toe-off."""
    return c.hips.toe_off_m


def hip_above_support_touchdown_m(c: ContactEvidence) -> Floats:
    """hip_height_touchdown_m minus support_height_m."""
    return hip_height_touchdown_m(c) - c.event.support_height_m


def hip_above_support_lowest_m(c: ContactEvidence) -> Floats:
    """hip_height_lowest_m minus support_height_m."""
    return c.hips.lowest_m - c.event.support_height_m


def hip_above_support_toe_off_m(c: ContactEvidence) -> Floats:
    """hip_height_toe_off_m minus support_height_m."""
    return hip_height_toe_off_m(c) - c.event.support_height_m


def foot_speed_touchdown_m_per_s(c: ContactEvidence) -> Floats:
    """(x of the ankle at touchdown - x 20 ms before) / 20 ms, positive forward: the smaller, the more active the strike."""
    return (c.ankle_touchdown_m - c.ankle_before_m) / FOOT_SPEED_S


CONTACT_MEASURES: tuple[Callable[[ContactEvidence], Floats], ...] = (
    touchdown_s,
    toe_off_s,
    contact_time_s,
    toe_x_m,
    support_height_m,
    foot_angle_touchdown_deg,
    leg_angle_touchdown_deg,
    leg_angle_toe_off_deg,
    touchdown_distance_m,
    touchdown_distance_mass_centre_m,
    knee_angle_touchdown_deg,
    knee_angle_min_deg,
    knee_angle_toe_off_deg,
    trunk_angle_touchdown_deg,
    trunk_angle_toe_off_deg,
    hip_height_touchdown_m,
    hip_height_lowest_m,
    hip_height_toe_off_m,
    hip_above_support_touchdown_m,
    hip_above_support_lowest_m,
    hip_above_support_toe_off_m,
    foot_speed_touchdown_m_per_s,
)
"""A function has the name of its measure. Adding a measure of a contact means adding it here, and its row in the catalogue."""


PART_REASON = "the foot is not in the picture from before touchdown until after toe-off"


def contact_measures(c: ContactEvidence) -> dict[str, Measure]:
    """Return every measure of a contact; its instants only where the pictures show the whole of it."""
    rows = {f: catalogue.row("contacts", f.__name__) for f in CONTACT_MEASURES}
    out = {r.name: bounded(to_measure(f(c), r.reason, by_hand=c.event.by_hand), r.bound) for f, r in rows.items()}
    if c.event.foot_angle_reason and not out["foot_angle_touchdown_deg"]:
        out["foot_angle_touchdown_deg"] = to_measure(c.event.foot_angle_deg, c.event.foot_angle_reason)
    if c.event.rough and not c.wholly_seen:
        out |= {r.name: NotMeasured(reason=PART_REASON) for r in rows.values() if r.is_time}
    return out


def bounded(measure: Measure, bound: Bound) -> Measure:
    """Return the measure, or why it says too little to be given: an angle or a time more uncertain than its bound."""
    if not isinstance(measure, Measured):
        return measure
    if bound == "degrees" and measure.u95 > WIDEST_DEG:
        return NotMeasured(reason=WIDE_REASON)
    return NotMeasured(reason=VAGUE_REASON) if bound == "share" and is_vague(measure) else measure


def is_vague(time_s: Measure) -> bool:
    """Whether a contact or flight time says too little to be given."""
    return isinstance(time_s, Measured) and time_s.u95 > VAGUE_SHARE * abs(time_s.value)


def strike(foot_angle_deg: float) -> str:
    """Return the coach's word for a foot angle at touchdown."""
    low, high = STRIKE_BOUNDS_DEG
    if foot_angle_deg > high:
        return "heel first"
    return "flat" if foot_angle_deg >= low else "forefoot"
