"""Which frames of the clip show which instant of which contact."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from penult.model.analysis import Analysis, Contact
from penult.model.arrays import Floats
from penult.model.measured import Measured
from penult.model.skeleton import joint
from penult.model.track import Motion

Instant = Literal["touchdown", "lowest", "toe_off"]
INSTANTS: tuple[Instant, ...] = ("touchdown", "lowest", "toe_off")
INSTANT_WORDS: dict[Instant, str] = {"touchdown": "touchdown", "lowest": "lowest hip", "toe_off": "toe-off"}

SHOWN_CONTACTS = (-2, -1, 0)
"""Third-last, penultimate and take-off contact (or the last three of a run-through)."""


MOST_SHOWN = 6
"""Of a longer series the first so many contacts are shown: a page holds about twenty pictures."""


def shown_contacts(analysis: Analysis) -> tuple[int, ...]:
    """Return the numbers of the contacts that are shown in pictures: of a series its phases, else the last three."""
    if not analysis.run.is_series:
        return SHOWN_CONTACTS
    return tuple(number for number, _ in sorted(analysis.run.phases))[:MOST_SHOWN]


@dataclass(frozen=True, slots=True, kw_only=True)
class Moment:
    """One instant of one contact, in the frame that lies nearest to it.

    Parameters
    ----------
    contact : Contact
        Whose instant it is.
    instant : {'touchdown', 'lowest', 'toe_off'}
        Which one.
    row : int
        Of the motion's tracks.
    frame : int
        Index in the clip.
    time_s : float
        Capture time of that frame.
    """

    contact: Contact
    instant: Instant
    row: int
    frame: int
    time_s: float


def instant_s(contact: Contact, instant: Instant) -> float | None:
    """Return when an instant happens, or None where it is not known.

    Where the clock is doubted the times are no measures, yet the pictures can still be found by the clip's own clock.
    """
    if instant == "lowest":
        return contact.lowest_s
    measure = contact.measures.get("touchdown_s" if instant == "touchdown" else "toe_off_s")
    if isinstance(measure, Measured):
        return measure.value
    if contact.span_s is None:
        return None
    return contact.span_s[0] if instant == "touchdown" else contact.span_s[1]


def moments(analysis: Analysis, motion: Motion) -> tuple[Moment, ...]:
    """Return the instants to be shown as stills, in the order of the run."""
    found = []
    for number in shown_contacts(analysis):
        contact = analysis.contact(number)
        for instant in INSTANTS if contact else ():
            moment = moment_of(contact, instant, motion) if contact else None
            if moment:
                found.append(moment)
    return tuple(found)


def moment_of(contact: Contact, instant: Instant, motion: Motion) -> Moment | None:
    """Return the frame nearest to an instant, or None where no tracked frame is near it."""
    time_s = instant_s(contact, instant)
    times_s = motion.pixels.time_s
    if time_s is None or len(times_s) < 2:
        return None
    row = int(np.argmin(np.abs(times_s - time_s)))
    if abs(times_s[row] - time_s) > 1.5 * float(np.median(np.diff(times_s))):
        return None
    return Moment(
        contact=contact, instant=instant, row=row, frame=int(motion.pixels.frame[row]), time_s=float(times_s[row])
    )


def support_at(analysis: Analysis, time_s: float) -> Contact | None:
    """Return the contact whose foot bears on the surface at that time, or None in flight."""
    for contact in analysis.contacts:
        start_s, end_s = instant_s(contact, "touchdown"), instant_s(contact, "toe_off")
        if start_s is not None and end_s is not None and start_s <= time_s <= end_s:
            return contact
    return None


def leg_in_question(analysis: Analysis, time_s: float) -> Contact | None:
    """Return the contact that bears or, in flight, the one that comes next; after the last one, the last."""
    timed = [(start, c) for c in analysis.contacts if (start := instant_s(c, "toe_off")) is not None]
    timed.sort(key=lambda pair: pair[0])
    return next((c for end_s, c in timed if time_s <= end_s), timed[-1][1] if timed else None)


def places_m(motion: Motion, row: int) -> Floats:
    """Return the joints of a row on the runway, (k, 3): x forward, y up, z to the right."""
    return np.concatenate([motion.runway.xy_m[row], motion.runway.z_m[:, None]], axis=1)


def mid_shoulder_m(motion: Motion, row: int) -> Floats:
    """Return the middle between the shoulders, (2,)."""
    xy_m = motion.runway.xy_m[row]
    return np.asarray((xy_m[joint("left", "shoulder")] + xy_m[joint("right", "shoulder")]) / 2.0)
