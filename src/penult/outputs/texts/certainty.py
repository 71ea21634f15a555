"""What in this very scene costs certainty, and which instants to look at first, in a coach's words. Nothing is judged, only
said, with what it leaves: 'clothes hang loosely: hip heights within 3 cm'."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from itertools import pairwise

from penult.model.analysis import Analysis, Contact
from penult.model.measured import Measured, NotMeasured
from penult.outputs.texts import words

FAR_APART_HZ = 130.0
"""Frames farther apart than at 130 a second leave touchdown and toe-off to less than 4 ms only on a lucky day."""

SMALL_PX = 300
"""A body of fewer pixels has feet of under 45 (a foot is 0.15 of a body's height): a centimetre is less than two pixels."""

MOST_INSTANTS = 3

WORSE = 2.0
"""An instant whose interval is so many times as wide as the clip's others is worth a look for that alone."""

_HIPS = ("hip_height_touchdown_m", "hip_height_lowest_m", "hip_height_toe_off_m")
_SPEEDS = ("step_speed_m_per_s", "approach_speed_m_per_s", "speed_in_m_per_s")
_TIMES = ("touchdown_s", "toe_off_s")
_ANGLES = ("leg_angle_touchdown_deg", "leg_angle_toe_off_deg")

_SAID = {
    "camera-moving": "The camera moves: every place is as sure as the background could be followed.",
    "camera-unchecked": "No still shows that the camera stood where it was calibrated, with the same zoom.",
}
_EDGES = re.compile("edges cannot be told")


def costs(analysis: Analysis) -> list[str]:
    """Return what costs certainty in this scene, one sentence each; empty where nothing stands out."""
    seen = {notice.code for notice in analysis.warnings}
    out = []
    if "loose-clothes" in seen:
        out.append(f"Clothes hang loosely or show nothing that could be followed{_left(analysis, hips=True)}.")
    if "unsteady-joints" in seen:
        out.append(f"Pictures are blurred, dim or too far apart to see joints steadily{_left(analysis)}.")
    if "crossed" in seen:
        out.append(f"Somebody else passes before or behind the athlete{_where(analysis)}: less is sure there.")
    out += [text for code, text in _SAID.items() if code in seen]
    out += rate_costs(analysis.clip.capture_rate_hz, _typical(_of(analysis, _TIMES)))
    height_px = analysis.method.get("athlete_height_px")
    if isinstance(height_px, int | float) and height_px < SMALL_PX:
        out.append(f"The athlete is {height_px:.0f} pixels tall: zoom in, or film from nearer.")
    alike = [c for c in analysis.contacts if _is_alike(c)]
    if alike:
        names = ", ".join(words.contact_words(c.number, analysis.run) for c in alike)
        out.append(f"Shoe and ground look alike ({names}): review the touchdown there.")
    return out


def rate_costs(rate_hz: float, times_u95_s: float = 0.0) -> list[str]:
    """Return what few pictures a second cost, and how sure touchdown and toe-off still are where that is known."""
    if not 0.0 < rate_hz < FAR_APART_HZ:
        return []
    left = f": touchdown and toe-off within {1e3 * times_u95_s:.0f} ms" if times_u95_s else ""
    return [f"{rate_hz:.0f} pictures a second, {1e3 / rate_hz:.0f} ms apart{left}."]


def look_first(analysis: Analysis) -> list[str]:
    """Return the instants that are known worst, the worst first, those by hand left out; with the reason where it is known."""
    found = []
    usual = _typical(_of(analysis, _TIMES))
    for contact in analysis.contacts:
        where = words.contact_words(contact.number, analysis.run)
        for name, said in zip(_TIMES, ("touchdown", "toe-off"), strict=True):
            measure = contact.measures.get(name)
            if isinstance(measure, Measured) and not measure.by_hand:
                why = _why(analysis, contact, measure, usual)
                found.append((measure.u95, f"{said}, {where} (± {1e3 * measure.u95:.0f} ms{why})"))
    found.sort(reverse=True)
    return [text for _, text in found[:MOST_INSTANTS]]


def _why(analysis: Analysis, contact: Contact, instant: Measured, usual_s: float) -> str:
    """Return why an instant is known worse than others, as far as the scene shows."""
    if any(start - usual_s <= instant.value <= end + usual_s for start, end in _crossed_s(analysis)):
        return ", somebody passes"
    if _is_alike(contact):
        return ", shoe and ground look alike"
    return f", {1e3 * usual_s:.0f} as a rule in this clip" if usual_s and instant.u95 >= WORSE * usual_s else ""


def _left(analysis: Analysis, *, hips: bool = False) -> str:
    """Return how sure things still are: ': hip heights within 3 cm, speeds within 0.15 m/s'."""
    first = ("hip heights", _HIPS, 100.0, "cm", 0) if hips else ("leg angles", _ANGLES, 1.0, "degrees", 0)
    told = []
    for said, names, scale, unit, digits in (first, ("speeds", _SPEEDS, 1.0, "m/s", 2)):
        u95 = _typical(_of(analysis, names))
        if u95:
            told.append(f"{said} within {scale * u95:.{digits}f} {unit}")
    return f": {', '.join(told)}" if told else ""


def _where(analysis: Analysis) -> str:
    """Return at which contacts and flights somebody passes: ' at the penultimate and in the flight after it'."""
    spans, stood = _crossed_s(analysis), list(_supports(analysis))
    names = {c.number: words.contact_words(c.number, analysis.run) for c, _, _ in stood}
    said = [names[c.number] for c, on, off in stood if any(a < off and b > on for a, b in spans)]
    for (c, _, off), (_, on, _) in pairwise(stood):
        if names[c.number] not in said and any(a < on and b > off for a, b in spans):
            said.append(f"the flight after {names[c.number]}")
    return f" ({', '.join(said)})" if said else ""


def _supports(analysis: Analysis) -> Iterator[tuple[Contact, float, float]]:
    """Yield every contact with touchdown and toe-off where both are measured."""
    for contact in analysis.contacts:
        on, off = (contact.measures.get(name) for name in _TIMES)
        if isinstance(on, Measured) and isinstance(off, Measured):
            yield contact, on.value, off.value


def _crossed_s(analysis: Analysis) -> list[tuple[float, float]]:
    spans = analysis.method.get("crossed_s")
    return [(float(start), float(end)) for start, end in spans] if isinstance(spans, list) else []


def _of(analysis: Analysis, names: Iterable[str]) -> list[float]:
    """Return the intervals of every measure of those names."""
    every = (measures.get(name) for _, _, measures in analysis.sets() for name in names)
    return sorted(m.u95 for m in every if isinstance(m, Measured))


def _typical(intervals: list[float]) -> float:
    """Return the middle one; 0 where there is none."""
    return intervals[len(intervals) // 2] if intervals else 0.0


def _is_alike(contact: Contact) -> bool:
    return any(isinstance(m, NotMeasured) and _EDGES.search(m.reason) for m in contact.measures.values())
