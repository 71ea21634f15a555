"""Where to look for a measure: the instant that shows it, and what is drawn on the picture there."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from penult.core.joints.body import knee_angle_deg
from penult.model import catalogue
from penult.model.analysis import Analysis, Contact
from penult.model.measured import Measure, Measured
from penult.model.track import Motion


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
        return catalogue.PARTS[self.part].contact or 0

    @property
    def entry(self) -> catalogue.Entry:
        """What the catalogue says of it."""
        return catalogue.described(self.name, self.part)


def drawing(place: Place, measure: Measure) -> dict[str, Any] | None:
    """Return what is drawn for a measure, or None where there is nothing to draw."""
    kind = place.entry.drawing
    if not kind or not isinstance(measure, Measured):
        return None
    return {"kind": kind, "contact": place.contact, "value": measure.value}


def moment_s(analysis: Analysis, motion: Motion, place: Place) -> float | None:
    """Return when a measure is seen, on the clip's clock; None where there is no such instant."""
    contact = analysis.contact(place.contact)
    if contact is None or contact.span_s is None:
        return None
    start_s, end_s = contact.span_s
    middle_s = (start_s + end_s) / 2.0
    lowest_s = middle_s if contact.lowest_s is None else contact.lowest_s
    kind = place.entry.moment
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
