"""Which values rest on a correction by hand: those that would be others without it. Nothing else has to be kept track of."""

from __future__ import annotations

import dataclasses

import numpy as np

from penult.model.analysis import Analysis, Contact, JumpSequence, Phase, Step
from penult.model.measured import Measure, Measured, Measures


def marked(corrected: Analysis, plain: Analysis) -> Analysis:
    """Mark what differs from the same analysis without corrections by hand.

    Parameters
    ----------
    corrected, plain : Analysis
        With and without them, of the same clip on the same clock.

    Returns
    -------
    Analysis
        `corrected`, its values and contacts marked.
    """
    contacts = tuple(_contact(c, _counterpart(c, plain)) for c in corrected.contacts)
    return dataclasses.replace(
        corrected,
        contacts=contacts,
        steps=tuple(_step(s, corrected, plain) for s in corrected.steps),
        penultimate=_measures(corrected.penultimate, plain.penultimate),
        takeoff=_measures(corrected.takeoff, plain.takeoff),
        run_up=_measures(corrected.run_up, plain.run_up),
        checks=_measures(corrected.checks, plain.checks),
        phases=tuple(_phase(p, corrected, plain) for p in corrected.phases),
        sequence=_sequence(corrected.sequence, plain.sequence),
    )


def _phase(phase: Phase, corrected: Analysis, plain: Analysis) -> Phase:
    """The phase of the same contact before, whatever its number was."""
    contact = corrected.contact(phase.number)
    before = _counterpart(contact, plain) if contact else None
    old = plain.phase(before.number) if before else None
    return dataclasses.replace(phase, measures=_measures(phase.measures, old.measures if old else {}))


def _sequence(now: JumpSequence | None, before: JumpSequence | None) -> JumpSequence | None:
    if now is None:
        return None
    return dataclasses.replace(now, measures=_measures(now.measures, before.measures if before else {}))


def _contact(contact: Contact, before: Contact | None) -> Contact:
    measures = _measures(contact.measures, before.measures if before else {})
    is_new = before is None or before.foot != contact.foot
    changed = is_new or any(isinstance(m, Measured) and m.by_hand for m in measures.values())
    return dataclasses.replace(contact, measures=measures, by_hand=changed)


def _counterpart(contact: Contact, plain: Analysis) -> Contact | None:
    """The same contact before, by the time that both share; numbers may have changed."""
    shared = [(_overlap_s(contact, c), i) for i, c in enumerate(plain.contacts)]
    most, index = max(shared, default=(0.0, 0))
    return plain.contacts[index] if most > 0.0 else None


def _overlap_s(a: Contact, b: Contact) -> float:
    if a.span_s is None or b.span_s is None:
        return 0.0
    return min(a.span_s[1], b.span_s[1]) - max(a.span_s[0], b.span_s[0])


def _step(step: Step, corrected: Analysis, plain: Analysis) -> Step:
    """A step was there before if both its contacts were, one after the other."""
    ends = [corrected.contact(step.number - 1), corrected.contact(step.number)]
    before = [c and _counterpart(c, plain) for c in ends]
    start, end = before
    if start is None or end is None or end.number - start.number != 1:
        return dataclasses.replace(step, measures=_measures(step.measures, {}))
    old = plain.step(end.number)
    return dataclasses.replace(step, measures=_measures(step.measures, old.measures if old else {}))


def _measures(now: Measures, before: Measures) -> dict[str, Measure]:
    return {name: _measure(measure, before.get(name)) for name, measure in now.items()}


def _measure(now: Measure, before: Measure | None) -> Measure:
    if not isinstance(now, Measured):
        return now
    same = isinstance(before, Measured) and bool(np.isclose(now.value, before.value, rtol=1e-9, atol=1e-9))
    return dataclasses.replace(now, by_hand=now.by_hand or not same)
