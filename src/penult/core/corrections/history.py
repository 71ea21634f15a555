"""The history of corrections: made, taken back, made again; and whether two of them are about the same thing. Pure."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable

from penult.errors import InputError
from penult.model.corrections import (
    AthletePicked,
    CaptureRateSet,
    ContactAdded,
    Correction,
    Corrections,
    FootChanged,
    InstantConfirmed,
    InstantMoved,
    JointDragged,
    KindSet,
    LegsSwapped,
    MatsSet,
)

MOST = 20_000
"""Corrections of one clip. A season of work on one clip stays far below; a file with more is not a person's."""

NEAR_FRAMES = 6.0
"""Two names of one contact lie closer than this: 25 ms at 240 frames a second, a quarter of a contact."""


def added(history: Corrections, correction: Correction) -> Corrections:
    """Return the history with one more correction; what had been taken back can then no longer be made again.

    Raises
    ------
    InputError
        If there are MOST already.
    """
    if len(history.done) >= MOST:
        raise InputError(f"there are {MOST} corrections of this clip already", next_step="analyse the clip again")
    return dataclasses.replace(history, version=history.version + 1, done=(*history.done, correction), undone=())


def undone(history: Corrections) -> Corrections:
    """Return the history with the latest correction taken back; unchanged where there is none."""
    if not history.done:
        return history
    *before, last = history.done
    return dataclasses.replace(history, version=history.version + 1, done=tuple(before), undone=(*history.undone, last))


def redone(history: Corrections) -> Corrections:
    """Return the history with the correction taken back last made again; unchanged where there is none."""
    if not history.undone:
        return history
    *before, last = history.undone
    return dataclasses.replace(history, version=history.version + 1, done=(*history.done, last), undone=tuple(before))


def clashing(correction: Correction, others: Iterable[Correction]) -> tuple[Correction, ...]:
    """Return those of the `others`, made meanwhile elsewhere, that are about the same thing as the correction."""
    return tuple(other for other in others if _same_thing(correction, other))


_OF_THE_CLIP = (MatsSet, CaptureRateSet, KindSet)
_OF_LEGS = (LegsSwapped, FootChanged)


def _same_thing(a: Correction, b: Correction) -> bool:
    if isinstance(a, AthletePicked) or isinstance(b, AthletePicked):
        return True  # all others are of one athlete
    if isinstance(a, _OF_THE_CLIP) or isinstance(b, _OF_THE_CLIP):
        return type(a) is type(b)
    if isinstance(a, JointDragged) or isinstance(b, JointDragged):
        return _same_joint(a, b) if isinstance(a, JointDragged) else _same_thing(b, a)
    if isinstance(a, LegsSwapped) or isinstance(b, LegsSwapped):
        return isinstance(a, _OF_LEGS) and isinstance(b, _OF_LEGS)
    return _same_contact(a, b)


def _same_joint(drag: JointDragged, other: Correction) -> bool:
    if isinstance(other, JointDragged):
        return drag.joint == other.joint and abs(drag.frame - other.frame) < NEAR_FRAMES
    return isinstance(other, LegsSwapped) and other.first_frame <= drag.frame <= other.last_frame


def _same_contact(a: Correction, b: Correction) -> bool:
    """Two corrections of contacts, unless they are about the two ends of one."""
    (a_first, a_last), (b_first, b_last) = _reach(a), _reach(b)
    if a_first > b_last + NEAR_FRAMES or b_first > a_last + NEAR_FRAMES:
        return False
    ends = (InstantMoved, InstantConfirmed)
    return not (isinstance(a, ends) and isinstance(b, ends) and a.instant != b.instant)


def _reach(correction: Correction) -> tuple[float, float]:
    if isinstance(correction, ContactAdded):
        return correction.touchdown_frame, correction.toe_off_frame
    near = float(getattr(correction, "near_frame", float("inf")))
    return near, near
