"""What a person put right in one clip: each correction a record, and the history of them.

Places in time are frame positions, not seconds: 120.5 lies halfway between frames 120 and 121. A capture rate that is
set later then moves them along with everything else. A contact is named by a frame position within it, because its
number changes when contacts are added or deleted.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from penult.model.analysis import Foot, Mat, PhaseKind

Instant = Literal["touchdown", "toe_off"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Made:
    """When a person made it: UTC, ISO 8601, '' where nobody wrote it down."""

    made_at: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class InstantMoved(Made):
    """A touchdown or toe-off put at another place in time."""

    near_frame: float
    instant: Instant
    to_frame: float


@dataclass(frozen=True, slots=True, kw_only=True)
class InstantConfirmed(Made):
    """A person looked at a touchdown or toe-off and left it where it was; changes no value."""

    near_frame: float
    instant: Instant


@dataclass(frozen=True, slots=True, kw_only=True)
class FootChanged(Made):
    """The foot of one contact, or (`everywhere`) that of every contact exchanged so that this one comes out right."""

    near_frame: float
    foot: Foot
    everywhere: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class ContactRelabelled(Made):
    """What a contact takes off into, as a person saw it: a running step, or a phase of a series."""

    near_frame: float
    phase: PhaseKind


@dataclass(frozen=True, slots=True, kw_only=True)
class ContactDeleted(Made):
    """What was taken for a contact is none."""

    near_frame: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ContactAdded(Made):
    """A contact that was missed."""

    foot: Foot
    touchdown_frame: float
    toe_off_frame: float


@dataclass(frozen=True, slots=True, kw_only=True)
class JointDragged(Made):
    """A joint put at another place (upright pixels) in one frame; `joint` is one of `skeleton.JOINTS`."""

    frame: int
    joint: str
    to_px: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class LegsSwapped(Made):
    """Left and right leg exchanged from one frame to another, both included."""

    first_frame: int
    last_frame: int


@dataclass(frozen=True, slots=True, kw_only=True)
class MatsSet(Made):
    """The mats as they lay, in place of those said before."""

    mats: tuple[Mat, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class AthletePicked(Made):
    """Another run of the clip, or (`at`) the person at an upright pixel x, y in a frame.

    What was put right before it was of somebody else, and is left out: contacts, joints and legs.
    """

    run: int = 1
    at: tuple[float, float, int] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class CaptureRateSet(Made):
    """The true frame rate of the capture."""

    capture_rate_hz: float


@dataclass(frozen=True, slots=True, kw_only=True)
class KindSet(Made):
    """The coach's word for the clip's kind."""

    kind: str


Correction = (
    InstantMoved
    | InstantConfirmed
    | FootChanged
    | ContactRelabelled
    | ContactDeleted
    | ContactAdded
    | JointDragged
    | LegsSwapped
    | MatsSet
    | AthletePicked
    | CaptureRateSet
    | KindSet
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Corrections:
    """All corrections of a clip, as `corrections.json` holds them.

    Parameters
    ----------
    clip_sha256 : str
        Of the clip that they belong to.
    run : int
    at : (float, float, float), optional
        Whom they are about, as `Settings` said it.
    version : int
        Rises by one with every change, undoing included.
    done : tuple of Correction
        In the order in which they were made; they are applied in this order.
    undone : tuple of Correction
        Taken back, the latest last.
    """

    clip_sha256: str
    run: int = 1
    at: tuple[float, float, float] | None = None
    version: int = 0
    done: tuple[Correction, ...] = ()
    undone: tuple[Correction, ...] = ()
