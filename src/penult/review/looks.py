"""Where to look for a measure: the instant that shows it, and what is drawn on the picture there."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

import numpy as np

from penult.core.joints.body import knee_angle_deg
from penult.model.analysis import Analysis, Contact
from penult.model.measured import Measure, Measured
from penult.model.track import Motion

DRAWN: tuple[tuple[str, str], ...] = (
    ("contact_time", "support"),
    ("toe_x", "toe"),
    ("support_height", "surface"),
    ("foot_angle", "foot"),
    ("leg_angle", "leg"),
    ("touchdown_distance_mass", "ahead-mass"),
    ("touchdown_distance", "ahead-hip"),
    ("knee_angle", "knee"),
    ("trunk_angle", "trunk"),
    ("hip_height", "hip"),
    ("hip_above", "hip-above"),
    ("foot_speed", "foot-speed"),
    ("touchdown_s", "instant"),
    ("toe_off_s", "instant"),
    ("step_length", "step"),
    ("flight_time", "flight"),
    ("step_speed", "flight"),
    ("step_", "step-time"),
    ("penultimate_hip_drop", "drop"),
    ("hip_drop_to_takeoff", "drop-takeoff"),
    ("toe_to_board", "board"),
    ("approach_speed", "approach"),
    ("takeoff_height", "mass"),
    ("takeoff_", "velocity"),
    ("speed_loss", "velocity"),
)
"""What is drawn for a measure: the first entry that its name begins with."""

MOMENTS: tuple[tuple[str, str], ...] = (
    (r"^checks/", "none"),
    (r"^steps/(flight|step_speed)", "flight"),
    (r"^takeoff/approach", "flight"),
    (r"^takeoff/toe_to_board", "middle"),
    (r"^(takeoff/|contacts/.*toe_off)", "toe_off"),
    (r"^contacts/knee_angle_min", "knee"),
    (r"^(penultimate/|contacts/.*lowest)", "lowest"),
    (r"^contacts/(toe_x|support_height|contact_time)", "middle"),
    (r"", "touchdown"),
)
"""At which instant a measure is seen, by part and name: the first pattern that fits."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """A measure's place in a result: part, number of its contact or step, name."""

    part: str
    number: int | None
    name: str

    @property
    def contact(self) -> int:
        """The number of the contact at which it is seen."""
        if self.number is not None:
            return self.number
        return -1 if self.part == "penultimate" else 0


def drawing(place: Place, measure: Measure) -> dict[str, Any] | None:
    """Return what is drawn for a measure, or None where there is nothing to draw."""
    kind = next((drawn for start, drawn in DRAWN if place.name.startswith(start)), None)
    if kind is None or not isinstance(measure, Measured):
        return None
    end = "toe_off" if "toe_off" in place.name else "touchdown" if "touchdown" in place.name else "lowest"
    of = -1 if kind == "approach" else place.contact
    return {"kind": kind, "contact": of, "end": end, "value": measure.value}


def moment_s(analysis: Analysis, motion: Motion, place: Place) -> float | None:
    """Return when a measure is seen, on the clip's clock; None where there is no such instant."""
    contact = analysis.contact(place.contact)
    if contact is None or contact.span_s is None:
        return None
    start_s, end_s = contact.span_s
    middle_s = (start_s + end_s) / 2.0
    lowest_s = middle_s if contact.lowest_s is None else contact.lowest_s
    kind = next(moment for pattern, moment in MOMENTS if re.search(pattern, f"{place.part}/{place.name}"))
    if kind == "flight":
        return _flight_s(analysis, contact)
    if kind == "knee":
        return _most_bent_s(motion, contact)
    return {"touchdown": start_s, "toe_off": end_s, "middle": middle_s, "lowest": lowest_s}.get(kind)


def _flight_s(analysis: Analysis, end: Contact) -> float | None:
    """The middle of the flight before a contact."""
    start = analysis.contact(end.number - 1)
    if end.span_s is None:
        return None
    return end.span_s[0] if start is None or start.span_s is None else (start.span_s[1] + end.span_s[0]) / 2.0


def _most_bent_s(motion: Motion, contact: Contact) -> float | None:
    """When the knee is bent most, in the frames of the support."""
    if contact.span_s is None:
        return None
    times = motion.pixels.time_s
    rows = np.flatnonzero((times >= contact.span_s[0]) & (times <= contact.span_s[1]))
    angles = knee_angle_deg(motion.runway.xy_m[rows], contact.foot)
    if not np.isfinite(angles).any():
        return sum(contact.span_s) / 2.0
    return float(times[rows[int(np.nanargmin(angles))]])
