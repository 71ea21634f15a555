"""What in this very scene costs certainty, and which instants to look at first, in a coach's words. Nothing is judged, only
said."""

from __future__ import annotations

import re

from penult.model.analysis import Analysis, Contact
from penult.model.measured import Measured, NotMeasured
from penult.outputs.texts import words

FAR_APART_HZ = 130.0
"""Frames farther apart than at 130 a second leave touchdown and toe-off to less than 4 ms only on a lucky day."""

SMALL_PX = 300
"""A body of fewer pixels has feet of under 45 (a foot is 0.15 of a body's height): a centimetre is less than two pixels."""

MOST_INSTANTS = 3

_SAID = {
    "loose-clothes": "Clothes hang loosely or show nothing that could be followed: hip heights and speeds are less sure.",
    "crossed": "Somebody else passes before or behind the athlete: joints and instants at that moment are less sure.",
    "camera-moving": "The camera moves: every place is as sure as the background could be followed.",
    "camera-unchecked": "Nothing shows that the camera still stood where it was calibrated.",
}
_EDGES = re.compile("edges cannot be told")


def costs(analysis: Analysis) -> list[str]:
    """Return what costs certainty in this scene, one sentence each; empty where nothing stands out."""
    seen = {notice.code for notice in analysis.warnings}
    out = [text for code, text in _SAID.items() if code in seen]
    rate_hz = analysis.clip.capture_rate_hz
    if 0.0 < rate_hz < FAR_APART_HZ:
        out.append(f"{rate_hz:.0f} frames a second: instants lie between frames {1e3 / rate_hz:.0f} ms apart.")
    height_px = analysis.method.get("athlete_height_px")
    if isinstance(height_px, int | float) and height_px < SMALL_PX:
        out.append(f"The athlete is {height_px:.0f} pixels tall: zoom in, or film from nearer.")
    alike = [c for c in analysis.contacts if _is_alike(c)]
    if alike:
        names = ", ".join(words.contact_words(c.number, analysis.run) for c in alike)
        out.append(f"Shoe and ground look alike ({names}): review the touchdown there.")
    return out


def _is_alike(contact: Contact) -> bool:
    return any(isinstance(m, NotMeasured) and _EDGES.search(m.reason) for m in contact.measures.values())


def look_first(analysis: Analysis) -> list[str]:
    """Return the instants that are known worst, the worst first, those by hand left out."""
    found = []
    for contact in analysis.contacts:
        for name, said in (("touchdown_s", "touchdown"), ("toe_off_s", "toe-off")):
            measure = contact.measures.get(name)
            where = words.contact_words(contact.number, analysis.run)
            if isinstance(measure, Measured) and not measure.by_hand:
                found.append((measure.u95, f"{said}, {where} (± {1e3 * measure.u95:.0f} ms)"))
    found.sort(reverse=True)
    return [text for _, text in found[:MOST_INSTANTS]]
