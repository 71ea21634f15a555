"""From what was seen in a film, and what a person put right, to the result. No film is opened and nothing is read."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from penult.core.corrections.apply import apply, changes_a_value, clip_with, settings_with
from penult.core.corrections.by_hand import marked
from penult.core.pipeline import Located, Outcome, locate, measure
from penult.model.analysis import Analysis, Notice
from penult.model.clip import Clip
from penult.model.corrections import Correction
from penult.model.shoe import ShoeContact
from penult.model.sighting import Sighting
from penult.model.trunk import TrunkMotion


def outcome_of(
    sighting: Sighting,
    done: Sequence[Correction] = (),
    *,
    plain: Analysis | None = None,
    record: Sequence[Mapping[str, Any]] = (),
) -> Outcome:
    """Measure what was seen, with corrections; see `outcome_with`."""
    return outcome_with(sighting, done, plain=plain, record=record)[0]


def outcome_with(
    sighting: Sighting,
    done: Sequence[Correction],
    *,
    plain: Analysis | None = None,
    record: Sequence[Mapping[str, Any]] = (),
) -> tuple[Outcome, tuple[Correction, ...]]:
    """Measure what was seen, with corrections, and tell which of them found nothing to act on.

    Parameters
    ----------
    sighting : Sighting
        Of the athlete that the corrections are about.
    done : sequence of Correction
        In the order in which they were made.
    plain : Analysis, optional
        The same without corrections of joints and contacts, if it is at hand (see `plain_of`).
    record : sequence of mapping
        The corrections as plain data, to be kept with the result.

    Returns
    -------
    Outcome, tuple of Correction

    Raises
    ------
    NotMeasurableError
        If no support is found.
    """
    clip = clip_with(sighting.clip, done)
    found, shoes = _seen(sighting, clip, done)
    corrected = apply(found, shoes, clip, clip.size_px, done)
    out = measure(
        corrected.found,
        corrected.shoes,
        clip,
        sighting.fit,
        settings_with(sighting.settings, done, clip),
        {**sighting.method, **({"corrections": list(record)} if record else {})},
        (*sighting.notices, *_notices(done, corrected.unused)),
        corrected.hand,
        _trunks(sighting, clip),
        sighting.strides,
        by_model="pose_model" in sighting.method,
        crossed=_crossed(sighting, clip),
    )
    if changes_a_value(done):
        out = dataclasses.replace(out, analysis=marked(out.analysis, plain or plain_of(sighting, done)))
    return out, corrected.unused


def _trunks(sighting: Sighting, clip: Clip) -> tuple[TrunkMotion, ...]:
    """The trunk's motions, which hold only on the clock on which they were found."""
    return sighting.trunks if np.array_equal(clip.time_s, sighting.clip.time_s) else ()


def _crossed(sighting: Sighting, clip: Clip) -> tuple[tuple[float, float], ...]:
    """When somebody crosses, on the clock of the clip as it is measured (no other one moves its first frame)."""
    before, now = float(np.ptp(sighting.clip.time_s)), float(np.ptp(clip.time_s))
    scale = now / before if before > 0.0 else 1.0
    return tuple((start_s * scale, end_s * scale) for start_s, end_s in sighting.crossed)


def plain_of(sighting: Sighting, done: Sequence[Correction] = ()) -> Analysis:
    """Return the analysis with settings and clock as set by hand, but joints and contacts as they were found."""
    clip = clip_with(sighting.clip, done)
    found, shoes = _seen(sighting, clip, done)
    return measure(
        found,
        shoes,
        clip,
        sighting.fit,
        settings_with(sighting.settings, done, clip),
        sighting.method,
        trunks=_trunks(sighting, clip),
        strides=sighting.strides,
        by_model="pose_model" in sighting.method,
        crossed=_crossed(sighting, clip),
    ).analysis


def _seen(sighting: Sighting, clip: Clip, done: Sequence[Correction]) -> tuple[Located, Sequence[ShoeContact | None]]:
    """Joints on the runway and contacts on the clip's clock, which may not be the one they were seen on."""
    settings = settings_with(sighting.settings, done, clip)
    cameras = sighting.track_cameras()
    track = dataclasses.replace(sighting.joints, time_s=clip.time_s[sighting.joints.frame])
    found = locate(track, cameras, clip.size_px, settings)
    if clip is sighting.clip:
        return found, sighting.shoes
    before = locate(sighting.joints, cameras, clip.size_px, settings)
    scale = float(np.ptp(found.pixels.time_s) / np.ptp(before.pixels.time_s))
    return found, tuple(None if shoe is None else _slowed(shoe, scale) for shoe in sighting.shoes)


def _slowed(shoe: ShoeContact, scale: float) -> ShoeContact:
    times = ("touchdown_s", "touchdown_sd_s", "toe_off_s", "toe_off_sd_s")
    return dataclasses.replace(shoe, **{name: getattr(shoe, name) * scale for name in times})


def _notices(done: Sequence[Correction], unused: Sequence[Correction]) -> list[Notice]:
    out = []
    if len(done) - len(unused) > 0:
        count = len(done) - len(unused)
        text = f"{count} {'correction' if count == 1 else 'corrections'} by hand {'is' if count == 1 else 'are'} in this result"
        out.append(Notice(code="by-hand", text=text))
    if unused:
        text = f"{len(unused)} of the corrections by hand found nothing to act on and are left out"
        out.append(Notice(code="corrections-left-out", text=text))
    return out
