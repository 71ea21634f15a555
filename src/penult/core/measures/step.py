"""Measures of one step (MEASURES.md section 3). Each takes a step's evidence and returns draws (s,)."""

from __future__ import annotations

from collections.abc import Callable, Set
from dataclasses import dataclass

import numpy as np

from penult.core.measures.contact import MAX_INTERVAL_S, PART_REASON, bounded
from penult.core.measures.evidence import Event, FlightEvidence
from penult.core.uncertainty.expanded import to_measure
from penult.model import catalogue
from penult.model.arrays import Floats
from penult.model.catalogue.entry import Instant
from penult.model.measured import Measure, NotMeasured


@dataclass(frozen=True, slots=True, kw_only=True)
class StepEvidence:
    """The contacts a step runs between, the flight in it, the step before (None for the first one seen).

    `part` says that one of the two contacts is not wholly in the picture, nor its instants in the shoe's pictures.
    """

    start: Event
    end: Event
    flight: FlightEvidence
    interval_s: float
    before: StepEvidence | None = None
    part: bool = False


def step_length_m(s: StepEvidence) -> Floats:
    """Toe to toe."""
    return s.end.toe_x_m - s.start.toe_x_m


def flight_time_s(s: StepEvidence) -> Floats:
    """Toe-off to the next touchdown."""
    if s.interval_s > MAX_INTERVAL_S:
        return np.full(len(s.end.touchdown_s), np.nan)
    return s.end.touchdown_s - s.start.toe_off_s


def step_time_s(s: StepEvidence) -> Floats:
    """Touchdown to the next touchdown."""
    return s.end.touchdown_s - s.start.touchdown_s


def step_rate_hz(s: StepEvidence) -> Floats:
    """Reciprocal of the step time."""
    return 1.0 / step_time_s(s)


def step_speed_m_per_s(s: StepEvidence) -> Floats:
    """Horizontal speed of the whole-body mass centre in the flight phase (straight-line fit; see `joined_speeds`)."""
    return s.flight.velocity_m_per_s[:, 0]


def step_length_over_time_m_per_s(s: StepEvidence) -> Floats:
    """Step length over step time: a cross-check of the step speed, not the same thing."""
    return step_length_m(s) / step_time_s(s)


def step_length_ratio(s: StepEvidence) -> Floats:
    """This step's length over that of the step before."""
    return step_length_m(s) / step_length_m(s.before) if s.before else np.full(len(s.end.toe_x_m), np.nan)


def step_time_ratio(s: StepEvidence) -> Floats:
    """This step's time over that of the step before; for the last step the coach's 'rhythm'."""
    return step_time_s(s) / step_time_s(s.before) if s.before else np.full(len(s.end.toe_x_m), np.nan)


STEP_MEASURES: tuple[Callable[[StepEvidence], Floats], ...] = (
    step_length_m,
    flight_time_s,
    step_time_s,
    step_rate_hz,
    step_speed_m_per_s,
    step_length_over_time_m_per_s,
    step_length_ratio,
    step_time_ratio,
)
"""A function has the name of its measure. Adding a measure of a step means adding it here, and its row in the catalogue."""


def step_measures(s: StepEvidence) -> dict[str, Measure]:
    """Return every measure of a step."""
    hand = s.start.by_hand or s.end.by_hand
    rows = {f: catalogue.row("steps", f.__name__) for f in STEP_MEASURES}
    out = {
        r.name: bounded(to_measure(f(s), r.reason or s.flight.reason, by_hand=hand), r.bound) for f, r in rows.items()
    }
    part = NotMeasured(reason=PART_REASON)
    if s.part:
        out |= {r.name: part for r in rows.values() if r.is_time}
    if s.before and s.before.part:
        out |= {r.name: part for r in rows.values() if r.rests_on(_START_OF_STEP_BEFORE)}
    return out


_START_OF_STEP_BEFORE: Set[Instant] = frozenset({(-2, "touchdown")})
"""In numbers of the step's own end."""
