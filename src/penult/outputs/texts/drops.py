"""The hip drop wherever it stands large: above the runway and above what each foot stood on, both named, and in plain words.

A mat lifts the foot and with it the hip. Which of the two numbers answers a question is the reader's to decide, so that
neither stands without the other where there were mats.
"""

from __future__ import annotations

from dataclasses import dataclass

from penult.core.clips.groups import CONTACT_WORDS
from penult.model.analysis import Analysis
from penult.model.measured import Measured
from penult.outputs.texts import words

RUNWAY = "penultimate_hip_drop_m"
SUPPORT = "penultimate_hip_drop_above_support_m"
NAMES = {RUNWAY: "above the runway", SUPPORT: "above what each foot stood on"}

PLAIN_SPRINT_M = 0.02
"""Lowest hips of neighbouring supports in plain sprinting differ by up to this: +17, -8 and +1 mm in one athlete at 9.6 m/s,
computed from public motion-capture data."""

_TOLD_M = 0.005
"""The two drops are said to differ from here on: half of what a mat of 1 cm makes."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Drop:
    """One of the two drops as it is shown: its name in the result, what it is counted from, its digits."""

    name: str
    above: str
    shown: words.Shown


_MAT_LEAST_M = 0.015
"""A thinner surface is the runway itself, as where mats are measured."""

_AGREES_M = 0.02
"""What was said and what was measured agree within this, or within the measurement's own u95, as in the warning."""


def has_mats(analysis: Analysis) -> bool:
    """Tell whether a mat lay under the third-last or the penultimate foot, as said or as clearly measured."""
    said = {mat.number for mat in analysis.run.mats if mat.thickness_m > 0.0}
    return bool({-2, -1} & (said | set(_measured(analysis))))


def laid(analysis: Analysis) -> dict[int, float]:
    """Return the thickness of the mat under each contact that has one, as it is drawn: what was measured where it contradicts."""
    found = {mat.number: mat.thickness_m for mat in analysis.run.mats if mat.thickness_m > 0.0}
    for contact in analysis.contacts:
        height, said = contact.measures.get("support_height_m"), found.get(contact.number, 0.0)
        if contact.number > 0 or not isinstance(height, Measured):
            continue
        if abs(height.value - said) > max(height.u95, _AGREES_M):
            found[contact.number] = height.value
    return {n: t for n, t in found.items() if t >= _MAT_LEAST_M}


def _measured(analysis: Analysis) -> dict[int, float]:
    """Return the surfaces up to the take-off that are certainly higher than the runway."""
    heights = {c.number: c.measures.get("support_height_m") for c in analysis.contacts if c.number <= 0}
    return {n: h.value for n, h in heights.items() if isinstance(h, Measured) and h.value - h.u95 > _MAT_LEAST_M}


def drops(analysis: Analysis, *, minus: str = words.MINUS) -> tuple[Drop, ...]:
    """Return the drop above the runway and, where there were mats, the one above what each foot stood on beside it."""
    names = (RUNWAY, SUPPORT) if has_mats(analysis) else (RUNWAY,)
    return tuple(
        Drop(name=n, above=NAMES[n], shown=words.shown(n, analysis.penultimate.get(n), minus=minus)) for n in names
    )


def headline(analysis: Analysis) -> str:
    """Return the drop in one line: '9.6 ± 1.0 cm above the runway, 4.2 ± 1.1 cm above what each foot stood on'."""
    return ", ".join(f"{d.shown.text} {d.above}" for d in drops(analysis))


def mats_said_and_measured(analysis: Analysis) -> list[str]:
    """Return a line for each mat: 'third-last: 5 cm said, 5.4 ± 0.6 cm measured'; one that only one side knows too."""
    settings = analysis.method.get("settings")
    told = settings.get("mats") if isinstance(settings, dict) else None
    said = {int(m["number"]): float(m["thickness_m"]) for m in told or () if isinstance(m, dict)}
    lines = []
    for number in sorted({*said, *(m.number for m in analysis.run.mats), *_measured(analysis)}):
        contact = analysis.contact(number)
        seen = words.shown("support_height_m", contact.measures.get("support_height_m") if contact else None)
        typed = f"{100.0 * said[number]:g} cm said" if number in said else "nothing said"
        name = CONTACT_WORDS.get(number, f"contact {number}".replace("-", words.MINUS))
        lines.append(f"{name}: {typed}, {seen.text + ' measured' if not seen.reason else 'not measured'}")
    return lines


def finding(analysis: Analysis) -> str:
    """Return what stands out in one clip, in one or two plain sentences; '' where no drop is measured.

    How much, which way, against what, how sure. No verdict: a small drop is said to be what plain sprinting shows.
    """
    runway, support = (analysis.penultimate.get(n) for n in (RUNWAY, SUPPORT))
    name = SUPPORT if has_mats(analysis) and isinstance(support, Measured) else RUNWAY
    measure = analysis.penultimate.get(name)
    if not isinstance(measure, Measured):
        return ""
    counted = f", {NAMES[name]}" if has_mats(analysis) else ""
    text = f"{_moved(name, measure)} in the penultimate than in the third-last support{counted}: {_beside(measure)}."
    if name == SUPPORT and isinstance(runway, Measured) and abs(runway.value - measure.value) > _TOLD_M:
        text += f" Above the runway it is {words.shown(RUNWAY, runway).text}; the mats make the difference."
    return text


def _moved(name: str, measure: Measured) -> str:
    shown = words.shown(name, measure, minus="").text
    if abs(measure.value) <= measure.u95:
        return f"The hips were {words.shown(name, measure).text} lower (so the direction is not certain)"
    return f"The hips were {shown} {'lower' if measure.value > 0.0 else 'higher'}"


def _beside(measure: Measured) -> str:
    low, high = measure.value - measure.u95, measure.value + measure.u95
    usual = f"neighbouring supports differ by up to {100.0 * PLAIN_SPRINT_M:g} cm"
    if low > PLAIN_SPRINT_M or high < -PLAIN_SPRINT_M:
        return f"more than plain sprinting shows ({usual})"
    if low >= -PLAIN_SPRINT_M and high <= PLAIN_SPRINT_M:
        return f"no more than plain sprinting shows ({usual}), that is ordinary running"
    return f"this clip does not tell it from plain sprinting ({usual})"
