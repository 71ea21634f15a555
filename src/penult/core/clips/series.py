"""Comparing clips of series: which clips are series, what of them is compared, and which phases belong together."""

from __future__ import annotations

from collections.abc import Mapping

from penult.core.checks.said_kind import seen_words
from penult.model.comparison import Group
from penult.model.measured import Measure, Measured
from penult.model.trial import MeasureKey, Trial

NEAR_M = 1.0
"""Contacts of two clips from one lane lie at the same place within this: half the distance of a short hop."""


def is_series(first: Group, second: Group) -> bool:
    """Whether both groups hold a clip of a series."""
    return all(any(t.analysis.run.is_series for t in g.trials) for g in (first, second))


def series_words(trial: Trial) -> str:
    """Return what a clip's phases are, in a few words; '' for a single take-off or a run, which the ending tells."""
    run = trial.analysis.run
    return seen_words([kind for _, kind in run.phases if kind != "?"]) if run.is_series else ""


def matched(
    measures: Mapping[MeasureKey, Measure], reference: Mapping[MeasureKey, Measure], trial: Trial, other: Trial
) -> dict[MeasureKey, Measure]:
    """Return a clip's measures with its phases and contacts numbered like those of another clip at the same places.

    Only where both series began before their clip, so that the numbers depend on where the picture begins, and both were measured
    with one lane file, so that places are the same. Feet must agree.
    """
    sequences = (trial.analysis.sequence, other.analysis.sequence)
    if not all(s is not None and s.began_before for s in sequences) or trial.lane != other.lane:
        return dict(measures)
    own, theirs = _places(measures, trial), _places(reference, other)
    best = 0, float("inf")
    for offset in sorted(range(-3, 4), key=abs):
        pairs = [(own[n], theirs[n + offset]) for n in own if n + offset in theirs]
        if not pairs or any(a[1] != b[1] for a, b in pairs):
            continue
        apart = sum(abs(a[0] - b[0]) for a, b in pairs) / len(pairs)
        if apart < min(NEAR_M, best[1]):
            best = offset, apart
    offset = best[0]
    return {_moved(key, offset): measure for key, measure in measures.items()}


def _places(measures: Mapping[MeasureKey, Measure], trial: Trial) -> dict[int, tuple[float, str]]:
    """Place and foot of every contact from 0 on."""
    feet = {c.number: c.told_foot for c in trial.analysis.contacts}
    return {
        key.number: (measure.value, feet.get(key.number, "?"))
        for key, measure in measures.items()
        if key.part == "contacts" and key.name == "toe_x_m" and key.number is not None and key.number >= 0
        if isinstance(measure, Measured)
    }


def _moved(key: MeasureKey, offset: int) -> MeasureKey:
    numbered = key.number is not None and key.part in ("contacts", "steps", "phases")
    return key._replace(number=(key.number or 0) + offset) if numbered else key
