"""Measures of one step (MEASURES.md section 3). Each takes a step's evidence and returns draws (s,)."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from penult.core.measures.contact import MAX_INTERVAL_S, PART_REASON, SLOW_REASON, VAGUE_REASON, is_vague
from penult.core.measures.evidence import Event, FlightEvidence
from penult.core.uncertainty.expanded import to_measure
from penult.model.arrays import Floats
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


FIRST_REASON = "the step before it is not in the clip"
STEP_MEASURES: dict[str, tuple[Callable[[StepEvidence], Floats], str]] = {
    "step_length_m": (step_length_m, "a foot is hidden"),
    "flight_time_s": (flight_time_s, SLOW_REASON),
    "step_time_s": (step_time_s, "a touchdown is not in the clip"),
    "step_rate_hz": (step_rate_hz, "a touchdown is not in the clip"),
    "step_speed_m_per_s": (step_speed_m_per_s, ""),
    "step_length_over_time_m_per_s": (step_length_over_time_m_per_s, "a touchdown is not in the clip"),
    "step_length_ratio": (step_length_ratio, FIRST_REASON),
    "step_time_ratio": (step_time_ratio, FIRST_REASON),
}
"""Name -> (function, what is said when it gives nothing). Adding a measure of a step means adding it here."""


def step_measures(s: StepEvidence) -> dict[str, Measure]:
    """Return every measure of a step."""
    hand = s.start.by_hand or s.end.by_hand
    out = {n: to_measure(f(s), why or s.flight.reason, by_hand=hand) for n, (f, why) in STEP_MEASURES.items()}
    if is_vague(out["flight_time_s"]):
        out["flight_time_s"] = NotMeasured(reason=VAGUE_REASON)
    if s.part:
        out |= {n: NotMeasured(reason=PART_REASON) for n in out if "time" in n or n == "step_rate_hz"}
    if s.before and s.before.part:
        out["step_time_ratio"] = NotMeasured(reason=PART_REASON)
    return out
