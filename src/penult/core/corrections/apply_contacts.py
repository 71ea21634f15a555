"""The contacts of a clip as corrections by hand change them one after the other. Pure."""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from penult.core.corrections.apply_joints import HandTrack
from penult.core.joints.supports import Support
from penult.core.measures.events import ROUGH_END_S, ROUGH_START_S, ROUGH_TIME_S, ROUGH_TOE_M
from penult.core.pipeline import Located, place
from penult.model.analysis import Foot
from penult.model.clip import Clip
from penult.model.corrections import (
    ContactAdded,
    ContactDeleted,
    ContactRelabelled,
    Correction,
    FootChanged,
    Instant,
    InstantConfirmed,
    InstantMoved,
    JointDragged,
    LegsSwapped,
)
from penult.model.shoe import ShoeContact
from penult.model.skeleton import joint

READING_SHARE = 0.5
"""How far a person's choice of the frame varies, one SD in frame intervals, besides the instant's place between two
pictures (uniform, SD 1/sqrt(12) of an interval): half a frame (common practice, no source)."""

FOOT_TURN_DEG_PER_S = 300.0
"""How fast the sole turns about touchdown (15 to 25 deg of flattening in the first 50 to 80 ms; common practice, no source):
an angle read at another instant is less sure by this."""

NEAREST_S = 0.06
"""A contact is looked for this far from where a correction names it: half a contact."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Contact:
    """One contact on the desk: its shoe as corrected, as it was read from the pictures or the joints, and as it came."""

    support: Support
    shoe: ShoeContact
    read: ShoeContact
    came: ShoeContact | None

    def result(self) -> ShoeContact | None:
        """Return the shoe as it came, with its reason, unless somebody changed it."""
        return self.came if self.shoe is self.read else self.shoe


class Desk:
    """The contacts as corrections change them one after the other."""

    def __init__(self, found: Located, shoes: Sequence[ShoeContact | None], clip: Clip) -> None:
        self._found = found
        self._frame_s = clip.time_s / found.time_scale
        self._interval_s = float(np.median(np.diff(self._frame_s)))
        timed = [_timed(s, shoe) for s, shoe in zip(found.supports, shoes, strict=True)]
        self.contacts = [
            _Contact(support=s, shoe=shoe, read=shoe, came=came)
            for s, shoe, came in zip(found.supports, timed, shoes, strict=True)
        ]
        self.joints = HandTrack(tuple(found.pixels.frame.tolist()))

    def take(self, c: Correction) -> bool:
        """Apply one; False when it finds nothing to act on."""
        if isinstance(c, JointDragged | LegsSwapped):
            return self.joints.take(c)
        if isinstance(c, InstantMoved):
            return self._move(c)
        if isinstance(c, ContactAdded):
            return self._add(c)
        if isinstance(c, InstantConfirmed | FootChanged | ContactRelabelled | ContactDeleted):
            i = self._index(c.near_frame)
            return i is not None and self._take_at(i, c)
        return True  # a setting: see corrections.settings_with

    def _take_at(self, i: int, c: InstantConfirmed | FootChanged | ContactRelabelled | ContactDeleted) -> bool:
        if isinstance(c, FootChanged):
            return self._change_foot(i, c)
        if isinstance(c, ContactRelabelled):
            old = self.contacts[i]
            self.contacts[i] = dataclasses.replace(old, support=dataclasses.replace(old.support, phase_said=c.phase))
        if isinstance(c, ContactDeleted):
            if len(self.contacts) < 2:
                return False
            self._untie(self.contacts[i].shoe.touchdown_s)
            del self.contacts[i]
        return True

    def _seconds(self, frame: float) -> float:
        """Time of a frame position, on the corrected clock; beyond either end the frames go on evenly."""
        last = len(self._frame_s) - 1
        inside = float(np.interp(frame, np.arange(last + 1), self._frame_s))
        return inside + (frame - min(max(frame, 0.0), float(last))) * self._interval_s

    def _index(self, near_frame: float) -> int | None:
        """The contact that a frame position names."""
        at_s = self._seconds(near_frame)
        away = [max(c.shoe.touchdown_s - at_s, at_s - c.shoe.toe_off_s, 0.0) for c in self.contacts]
        best = int(np.argmin(away)) if away else 0
        return best if away and away[best] <= NEAREST_S else None

    def _move(self, c: InstantMoved) -> bool:
        i = self._index(c.near_frame)
        if i is None:
            return False
        old, to_s = self.contacts[i], self._seconds(c.to_frame)
        span = (to_s, old.shoe.toe_off_s) if c.instant == "touchdown" else (old.shoe.touchdown_s, to_s)
        if not self._is_free(span, i):
            return False
        self.contacts[i] = dataclasses.replace(old, shoe=self._moved(old, c.instant, to_s))
        return True

    def _moved(self, contact: _Contact, instant: Instant, to_s: float) -> ShoeContact:
        """Put one instant elsewhere; back where it was read it is as sure as it was."""
        read_s, read_sd_s = getattr(contact.read, f"{instant}_s"), getattr(contact.read, f"{instant}_sd_s")
        sd_s = read_sd_s if abs(to_s - read_s) < 1e-6 else self._hand_sd_s()
        if instant == "toe_off":
            return dataclasses.replace(contact.shoe, toe_off_s=to_s, toe_off_sd_s=sd_s)
        turned = FOOT_TURN_DEG_PER_S * abs(to_s - read_s)
        return dataclasses.replace(
            contact.shoe,
            touchdown_s=to_s,
            touchdown_sd_s=sd_s,
            foot_angle_touchdown_sd_deg=float(np.hypot(contact.read.foot_angle_touchdown_sd_deg, turned)),
        )

    def _hand_sd_s(self) -> float:
        return self._interval_s * float(np.hypot(1.0 / np.sqrt(12.0), READING_SHARE))

    def _is_free(self, span_s: tuple[float, float], own: int | None) -> bool:
        """A contact ends after it begins and neither reaches into nor jumps over another."""
        if span_s[1] <= span_s[0]:
            return False
        return all(
            c.shoe.toe_off_s <= span_s[0] or c.shoe.touchdown_s >= span_s[1]
            for i, c in enumerate(self.contacts)
            if i != own
        )

    def _change_foot(self, i: int, c: FootChanged) -> bool:
        is_named = self.contacts[i].support.foot == c.foot
        if c.everywhere:  # one foot named, the others follow from it as they follow one another
            self.contacts = [_named(contact) if is_named else _other_foot(contact) for contact in self.contacts]
            return is_named or self.joints.exchange(-np.inf, np.inf)
        first, last = self._surroundings(i)
        self._untie(self.contacts[i].shoe.touchdown_s)
        self.contacts[i] = _named(self.contacts[i]) if is_named else _other_foot(self.contacts[i])
        if not is_named:
            self.joints.exchange(first, last)
        return True

    def _untie(self, touchdown_s: float) -> None:
        """How the contact at that time, and the next one, follow the one before is told by their feet from now on."""
        later = [c.shoe.touchdown_s for c in self.contacts if c.shoe.touchdown_s >= touchdown_s]
        tied = set(sorted(later)[:2])
        self.contacts = [
            dataclasses.replace(c, support=dataclasses.replace(c.support, same_foot=None))
            if c.shoe.touchdown_s in tied
            else c
            for c in self.contacts
        ]

    def _surroundings(self, i: int) -> tuple[float, float]:
        """Frame positions from the middle of the flight before a contact to the middle of the one after it."""
        inner = sorted(self.contacts, key=lambda c: c.shoe.touchdown_s)
        at = inner.index(self.contacts[i])
        first = last = None
        if at > 0:
            first = (inner[at - 1].shoe.toe_off_s + inner[at].shoe.touchdown_s) / 2.0
        if at < len(inner) - 1:
            last = (inner[at].shoe.toe_off_s + inner[at + 1].shoe.touchdown_s) / 2.0
        frames = np.arange(len(self._frame_s))
        return (
            -np.inf if first is None else float(np.interp(first, self._frame_s, frames)),
            np.inf if last is None else float(np.interp(last, self._frame_s, frames)),
        )

    def _add(self, c: ContactAdded) -> bool:
        span = self._seconds(c.touchdown_frame), self._seconds(c.toe_off_frame)
        if not self._is_free(span, None):
            return False
        support = self._seen_support(c.foot, span)
        if support is None:
            return False
        shoe = dataclasses.replace(
            _timed(support, None),
            touchdown_s=span[0],
            touchdown_sd_s=self._hand_sd_s(),
            toe_off_s=span[1],
            toe_off_sd_s=self._hand_sd_s(),
        )
        self.contacts.append(_Contact(support=support, shoe=shoe, read=shoe, came=shoe))
        self._untie(span[0])
        return True

    def _seen_support(self, foot: Foot, span_s: tuple[float, float]) -> Support | None:
        """Where the joints show that foot during the contact; None when they do not."""
        track = self.joints.on(self._found.pixels)[0]
        xy_m = place(track, self._found.cameras, (1, 1), self._found.runway.z_m, self._found.supports)[0].xy_m
        rows = (track.time_s >= span_s[0]) & (track.time_s <= span_s[1])
        toe, heel, ankle = (xy_m[rows, joint(foot, part)] for part in ("toe", "heel", "ankle"))
        if not np.isfinite(toe).all(axis=-1).any():
            return None
        return Support(
            foot=foot,
            start_s=span_s[0] - ROUGH_START_S,
            end_s=span_s[1] - ROUGH_END_S,
            toe_x_m=float(np.nanmedian(toe[:, 0])),
            heel_x_m=float(np.nanmedian(heel[:, 0])),
            toe_y_m=float(np.nanmedian(toe[:, 1])),
            ankle_x_m=float(np.nanmedian(ankle[:, 0])),
        )


def _timed(support: Support, shoe: ShoeContact | None) -> ShoeContact:
    """What the pictures say of a contact, or the same in their words from the joints alone (see events.make_event)."""
    if shoe is not None and not shoe.reason:
        return shoe
    nothing = float("nan")
    return ShoeContact(
        touchdown_s=support.start_s + ROUGH_START_S,
        touchdown_sd_s=ROUGH_TIME_S[0],
        toe_off_s=support.end_s + ROUGH_END_S,
        toe_off_sd_s=ROUGH_TIME_S[1],
        toe_x_m=support.toe_x_m + ROUGH_TOE_M[0],
        toe_x_sd_m=ROUGH_TOE_M[1],
        heel_x_m=None,
        support_height_m=nothing,
        support_height_sd_m=nothing,
        foot_angle_touchdown_deg=nothing,
        foot_angle_touchdown_sd_deg=nothing,
        quality=0.0,
        toe_seen=False,
    )


def _other_foot(contact: _Contact) -> _Contact:
    foot: Foot = "left" if contact.support.foot == "right" else "right"
    return dataclasses.replace(contact, support=dataclasses.replace(contact.support, foot=foot, foot_sure=1.0))


def _named(contact: _Contact) -> _Contact:
    return dataclasses.replace(contact, support=dataclasses.replace(contact.support, foot_sure=1.0))
