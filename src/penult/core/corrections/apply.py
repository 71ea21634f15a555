"""Corrections by hand put into the chain: what was said, the clock, the joints, the contacts. Pure.

The automatic answer is never edited: all corrections are applied to it anew, in the order in which they were made. One
that finds nothing to act on (a contact that is not there any more) is passed over and named.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass

from penult.core.corrections.apply_contacts import Desk
from penult.core.corrections.apply_joints import SURE
from penult.core.pipeline import Located, place
from penult.model.arrays import Floats
from penult.model.clip import Clip
from penult.model.corrections import (
    AthletePicked,
    CaptureRateSet,
    Correction,
    Corrections,
    InstantConfirmed,
    KindSet,
    MatsSet,
)
from penult.model.settings import Settings
from penult.model.shoe import ShoeContact
from penult.model.track import PixelTrack

SAME_CLOCK = 0.01
"""A capture rate this near to the frame times confirms them, as on the command line."""

BY_HAND = "set by hand"


@dataclass(frozen=True, slots=True, kw_only=True)
class Corrected:
    """Joints and contacts with all corrections, how far each sample rests on the hand, and what could not be applied."""

    found: Located
    shoes: tuple[ShoeContact | None, ...]
    hand: Floats | None
    unused: tuple[Correction, ...]


def settings_with(settings: Settings, done: Sequence[Correction], clip: Clip | None = None) -> Settings:
    """Return what was said with what was set by hand in its place; a person picked in a frame needs the clip's times."""
    for c in done:
        if isinstance(c, MatsSet):
            settings = dataclasses.replace(settings, mats=c.mats)
        elif isinstance(c, KindSet):
            settings = dataclasses.replace(settings, kind=c.kind)
        elif isinstance(c, CaptureRateSet):
            settings = dataclasses.replace(settings, capture_rate_hz=c.capture_rate_hz)
        elif isinstance(c, AthletePicked):
            at = None
            if c.at is not None and clip is not None:
                at = (c.at[0], c.at[1], float(clip.time_s[min(max(c.at[2], 0), len(clip.time_s) - 1)]))
            settings = dataclasses.replace(settings, run=c.run, at=at)
    return settings


def clip_with(clip: Clip, done: Sequence[Correction]) -> Clip:
    """Return the clip on the capture clock set by hand."""
    rates = [c.capture_rate_hz for c in done if isinstance(c, CaptureRateSet)]
    if not rates:
        return clip
    file_span_s = float(clip.file_time_s[-1] - clip.file_time_s[0])
    stretch = float(clip.time_s[-1] - clip.time_s[0]) / file_span_s if file_span_s > 0.0 else 1.0
    played_hz = clip.capture_rate_hz * stretch
    rate_hz = played_hz if abs(rates[-1] / played_hz - 1.0) <= SAME_CLOCK else rates[-1]
    return dataclasses.replace(
        clip,
        time_s=clip.time_s * (clip.capture_rate_hz / rate_hz),
        capture_rate_hz=rate_hz,
        capture_rate_from=BY_HAND,
        notices=tuple(n for n in clip.notices if n.code != "slow-motion"),
    )


def picks_of(done: Sequence[Correction]) -> tuple[AthletePicked, ...]:
    """Return those that say whom to look at."""
    return tuple(c for c in done if isinstance(c, AthletePicked))


def of_this_athlete(done: Sequence[Correction]) -> tuple[Correction, ...]:
    """Return the corrections made since another athlete was picked last."""
    picks = [i for i, c in enumerate(done) if isinstance(c, AthletePicked)]
    return tuple(done[picks[-1] + 1 :]) if picks else tuple(done)


def applicable(history: Corrections, settings: Settings) -> tuple[Correction, ...]:
    """Return the corrections that are about the athlete who is asked for; those of the clip itself always are."""
    if (history.run, history.at) == (settings.run, settings.at) or any(
        isinstance(c, AthletePicked) for c in history.done
    ):
        return history.done
    return tuple(c for c in history.done if isinstance(c, MatsSet | CaptureRateSet | KindSet))


def settings_among(done: Sequence[Correction]) -> tuple[Correction, ...]:
    """Return those that put something in the place of what was said on the command line."""
    return tuple(c for c in done if isinstance(c, MatsSet | AthletePicked | CaptureRateSet | KindSet))


def changes_a_value(done: Sequence[Correction]) -> bool:
    """Tell whether any of them is more than a setting or a nod."""
    settings = (InstantConfirmed, MatsSet, AthletePicked, CaptureRateSet, KindSet)
    return any(not isinstance(c, settings) for c in of_this_athlete(done))


def apply(
    found: Located,
    shoes: Sequence[ShoeContact | None],
    clip: Clip,
    size_px: tuple[int, int],
    done: Sequence[Correction],
) -> Corrected:
    """Apply the corrections of joints, legs and contacts.

    Parameters
    ----------
    found : Located
        The automatic answer.
    shoes : sequence of ShoeContact or None
        One for every support of `found`.
    clip : Clip
        For the times of its frames, on its own clock.
    size_px : (int, int)
        Of the picture.
    done : sequence of Correction
        Those of other kinds are passed over.
    """
    desk = Desk(found, shoes, clip)
    unused = tuple(c for c in of_this_athlete(done) if not desk.take(c))
    track, hand = desk.joints.on(found.pixels)
    if track is not found.pixels:
        found = _placed(found, track, size_px, hand)
    contacts = sorted(desk.contacts, key=lambda c: c.shoe.touchdown_s)
    return Corrected(
        found=dataclasses.replace(found, supports=tuple(c.support for c in contacts)),
        shoes=tuple(c.result() for c in contacts),
        hand=hand,
        unused=unused,
    )


def _placed(found: Located, track: PixelTrack, size_px: tuple[int, int], hand: Floats | None) -> Located:
    sure = None if hand is None else hand > SURE
    runway, weight, inside = place(track, found.cameras, size_px, found.runway.z_m, found.supports, sure)
    return dataclasses.replace(found, pixels=track, runway=runway, weight=weight, inside=inside)
