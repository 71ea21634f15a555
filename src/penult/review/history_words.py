"""Corrections in a coach's words, one line each."""

from __future__ import annotations

import numpy as np

from penult.model.analysis import Analysis
from penult.model.clip import Clip
from penult.model.corrections import (
    AthletePicked,
    CaptureRateSet,
    ContactAdded,
    ContactDeleted,
    ContactRelabelled,
    Correction,
    FootChanged,
    InstantConfirmed,
    InstantMoved,
    JointDragged,
    KindSet,
    LegsSwapped,
    MatsSet,
)
from penult.outputs.texts import words

ENDS = {"touchdown": "touchdown", "toe_off": "toe-off"}


def correction_words(c: Correction, analysis: Analysis, clip: Clip) -> str:
    """Return what a person did; contacts carry the names that they have now."""
    if isinstance(c, InstantMoved):
        return f"{ENDS[c.instant]} of {_contact(c.near_frame, analysis, clip)} moved to {_seconds(c.to_frame, clip)}"
    if isinstance(c, InstantConfirmed):
        return f"{ENDS[c.instant]} of {_contact(c.near_frame, analysis, clip)} confirmed"
    if isinstance(c, FootChanged | ContactRelabelled):
        return _contact_changed(c, _contact(c.near_frame, analysis, clip))
    if isinstance(c, ContactDeleted | ContactAdded):
        return _contact_made(c, clip)
    if isinstance(c, JointDragged | LegsSwapped):
        return _body(c)
    return _setting(c)


def _contact_changed(c: FootChanged | ContactRelabelled, name: str) -> str:
    if isinstance(c, ContactRelabelled):
        return f"{name} set to: {'running step' if c.phase == 'run' else words.PHASE_WORDS[c.phase]}"
    return f"foot of {name} set to {c.foot}{', all others exchanged with it' if c.everywhere else ''}"


def _contact_made(c: ContactDeleted | ContactAdded, clip: Clip) -> str:
    if isinstance(c, ContactDeleted):
        return f"contact at {_seconds(c.near_frame, clip)} deleted"
    return f"{c.foot} contact added from {_seconds(c.touchdown_frame, clip)} to {_seconds(c.toe_off_frame, clip)}"


def _body(c: JointDragged | LegsSwapped) -> str:
    if isinstance(c, JointDragged):
        return f"{c.joint.replace('_', ' ')} moved in frame {c.frame}"
    return f"legs swapped from frame {c.first_frame} to {c.last_frame}"


def _setting(c: MatsSet | AthletePicked | CaptureRateSet | KindSet) -> str:
    if isinstance(c, MatsSet):
        mats = ", ".join(f"{100 * m.thickness_m:g} cm under contact {m.number}" for m in c.mats)
        return f"mats set: {mats or 'none'}"
    if isinstance(c, CaptureRateSet):
        return f"capture rate set to {c.capture_rate_hz:g} frames a second"
    if isinstance(c, KindSet):
        return f"kind set to {c.kind or 'not given'}"
    return f"another athlete picked in frame {c.at[2]}" if c.at else f"run {c.run} picked"


def _contact(near_frame: float, analysis: Analysis, clip: Clip) -> str:
    at_s = float(np.interp(near_frame, np.arange(len(clip.time_s)), clip.time_s))
    spans = [(c, c.span_s) for c in analysis.contacts if c.span_s]
    near = min(spans, key=lambda p: max(p[1][0] - at_s, at_s - p[1][1]), default=None)
    if near is None or max(near[1][0] - at_s, at_s - near[1][1]) > 0.06:
        return f"the contact at {_seconds(near_frame, clip)}"
    name = words.contact_words(near[0].number, analysis.run)
    return name if "contact" in name else f"{name} contact"


def _seconds(frame: float, clip: Clip) -> str:
    at_s = float(np.interp(frame, np.arange(len(clip.time_s)), clip.time_s))
    return f"{at_s:.3f} s"
