"""Measures of one phase and of the whole sequence (MEASURES.md section 4a), from draws (s,)."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from penult.core.measures.contact import (
    MAX_INTERVAL_S,
    PART_REASON,
    VAGUE_REASON,
    contact_measures,
    is_vague,
)
from penult.core.measures.evidence import ContactEvidence, FlightEvidence
from penult.core.numeric.fits import GRAVITY_M_PER_S2
from penult.core.numeric.seeds import Stream, generator
from penult.core.uncertainty.expanded import to_measure
from penult.model.analysis import JumpSequence, Phase, PhaseKind
from penult.model.arrays import Floats
from penult.model.catalogue.contacts import SLOW_REASON
from penult.model.catalogue.phases import REPEATED
from penult.model.measured import Measure, Measured, Measures, NotMeasured

NO_LANDING = "the landing is not in the picture"
IN_SAND = "it lands in the sand, whose first mark the pictures do not tell; type the taped distance (--official)"
NO_BEFORE = "the flight before it is not in the clip"
NO_KIND = "it is not certain which foot stands there, or what flight follows"


@dataclass(frozen=True, slots=True, kw_only=True)
class PhaseEvidence:
    """One contact, the flight after it, the flight before it and the next contact (None where they are not seen).

    `lowest_m` is the lowest mass centre in the contact, `mark_m` the place of the mark in the sand that a tape was laid to, if that
    was said, both drawn (s,). `in_sand` says that a landing in the pit is seen.
    """

    contact: ContactEvidence
    flight: FlightEvidence
    before: FlightEvidence | None
    after: ContactEvidence | None
    lowest_m: Floats
    mark_m: Floats | None = None
    in_sand: bool = False


def distance_m(p: PhaseEvidence) -> Floats:
    """Toe to toe: place of the next contact's toe minus that of this one; of a closing jump from the toe to the measured mark."""
    if p.after is not None:
        return p.after.event.toe_x_m - p.contact.event.toe_x_m
    return _nothing(p) if p.mark_m is None else p.mark_m - p.contact.event.toe_x_m


def flight_time_s(p: PhaseEvidence) -> Floats:
    """Toe-off to the next touchdown."""
    if p.after is None or p.contact.interval_s > MAX_INTERVAL_S:
        return _nothing(p)
    return p.after.event.touchdown_s - p.contact.event.toe_off_s


def phase_time_s(p: PhaseEvidence) -> Floats:
    """Touchdown to the next touchdown."""
    return p.after.event.touchdown_s - p.contact.event.touchdown_s if p.after else _nothing(p)


def takeoff_velocity_x_m_per_s(p: PhaseEvidence) -> Floats:
    """Horizontal velocity of the mass centre at toe-off, from the flight after it alone."""
    return p.flight.velocity_m_per_s[:, 0]


def takeoff_velocity_y_m_per_s(p: PhaseEvidence) -> Floats:
    """Vertical velocity of the mass centre at toe-off, from the flight after it alone (known g)."""
    return p.flight.velocity_m_per_s[:, 1]


def takeoff_angle_deg(p: PhaseEvidence) -> Floats:
    """Direction of that velocity, up from the horizontal."""
    return np.asarray(np.degrees(np.arctan2(takeoff_velocity_y_m_per_s(p), takeoff_velocity_x_m_per_s(p))))


def speed_in_m_per_s(p: PhaseEvidence) -> Floats:
    """Horizontal speed of the mass centre in the flight before the contact."""
    return p.before.velocity_m_per_s[:, 0] if p.before else _nothing(p)


def speed_loss_m_per_s(p: PhaseEvidence) -> Floats:
    """speed_in_m_per_s minus takeoff_velocity_x_m_per_s; negative: gained."""
    return speed_in_m_per_s(p) - takeoff_velocity_x_m_per_s(p)


def flight_height_m(p: PhaseEvidence) -> Floats:
    """Rise of the mass centre above its height at toe-off, vy^2 / 2g; not g t^2 / 8, for landings are lower than take-offs."""
    return np.asarray(np.maximum(takeoff_velocity_y_m_per_s(p), 0.0) ** 2 / (2.0 * GRAVITY_M_PER_S2))


POSTURE_M = 0.006
"""By how much the joints' own errors move the mass centre's height from a deep support to a stretched flight, one SD: over 20
phases of the third set of films with known truth the rise was 0.7 cm off (RMS) where noise alone makes 0.3 (set on the hops and
the wide bounds)."""


def mass_centre_rise_m(p: PhaseEvidence) -> Floats:
    """Highest mass centre in the flight minus lowest in the contact."""
    out = np.array(p.flight.position_m[:, 1] + flight_height_m(p) - p.lowest_m)
    rng = generator(Stream.POSTURE, p.contact.event.number % 1000)
    out[1:] += POSTURE_M * rng.normal(size=len(out) - 1)
    return out


def flight_contact_ratio(p: PhaseEvidence) -> Floats:
    """Flight time over contact time; not the ratio of the drop jump, which needs a vertical jump."""
    return flight_time_s(p) / (p.contact.event.toe_off_s - p.contact.event.touchdown_s)


def _nothing(p: PhaseEvidence) -> Floats:
    return np.full(len(p.contact.event.toe_x_m), np.nan)


LANDING, FLIGHT, BEFORE = "landing", "flight", "before"

PHASE_MEASURES: dict[str, tuple[Callable[[PhaseEvidence], Floats], tuple[str, ...]]] = {
    "distance_m": (distance_m, (LANDING,)),
    "flight_time_s": (flight_time_s, (LANDING,)),
    "phase_time_s": (phase_time_s, (LANDING,)),
    "takeoff_velocity_x_m_per_s": (takeoff_velocity_x_m_per_s, (FLIGHT,)),
    "takeoff_velocity_y_m_per_s": (takeoff_velocity_y_m_per_s, (FLIGHT,)),
    "takeoff_angle_deg": (takeoff_angle_deg, (FLIGHT,)),
    "speed_in_m_per_s": (speed_in_m_per_s, (BEFORE,)),
    "speed_loss_m_per_s": (speed_loss_m_per_s, (BEFORE, FLIGHT)),
    "flight_height_m": (flight_height_m, (FLIGHT,)),
    "mass_centre_rise_m": (mass_centre_rise_m, (FLIGHT,)),
    "flight_contact_ratio": (flight_contact_ratio, (LANDING,)),
}
"""Name -> (function, what it rests on). Adding a measure of a phase means adding it here."""


def phase_measures(p: PhaseEvidence) -> dict[str, Measure]:
    """Return every measure of a phase."""
    hand = p.contact.event.by_hand or bool(p.after and p.after.event.by_hand)
    out = {n: to_measure(f(p), _why(p, rests), by_hand=hand) for n, (f, rests) in PHASE_MEASURES.items()}
    if is_vague(out["flight_time_s"]):
        out["flight_time_s"] = out["flight_contact_ratio"] = NotMeasured(reason=VAGUE_REASON)
    contact = contact_measures(p.contact)["contact_time_s"]
    if not contact:
        out["flight_contact_ratio"] = contact
    if any(c is not None and c.event.rough and not c.wholly_seen for c in (p.contact, p.after)):
        out |= {n: NotMeasured(reason=PART_REASON) for n in ("flight_time_s", "phase_time_s", "flight_contact_ratio")}
    distance = out.pop("distance_m")
    if p.after is None and isinstance(distance, Measured):  # it rests on what a person measured and typed
        distance = dataclasses.replace(distance, by_hand=True)
    return {"distance_m": distance, "contact_time_s": contact, **out}


TAPE_M = (0.005, 0.003)
"""An official distance is rounded down to a whole centimetre (competition rules): by half of one on average, evenly spread."""


def mark_of(official_m: float, count: int, rng: np.random.Generator) -> Floats:
    """Draws (count,) of the place of the mark that an official distance was measured to, from the board's edge at 0."""
    out = np.full(count, official_m + TAPE_M[0])
    out[1:] += TAPE_M[1] * rng.normal(size=count - 1)
    return out


def _why(p: PhaseEvidence, rests: Sequence[str]) -> str:
    """What is said when a measure gives nothing."""
    if LANDING in rests:
        return SLOW_REASON if p.after else IN_SAND if p.in_sand else NO_LANDING
    if BEFORE in rests and (p.before is None or p.before.reason):
        return p.before.reason if p.before else NO_BEFORE
    return p.flight.reason or "the flight after it could not be fitted"


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """A phase with its kind: evidence and measures of one contact that is followed by no running step."""

    kind: PhaseKind
    evidence: PhaseEvidence
    phase: Phase


def sequence_of(
    told: Sequence[Told], feet: str, kinds: Sequence[PhaseKind], first: int, *, began: bool
) -> JumpSequence:
    """Put the measures of the sequence together.

    Parameters
    ----------
    told : sequence of Told
        The phases in the order of time, from contact 0 on.
    feet, kinds
        Of all contacts from `first`, the first one wholly in the picture.
    first : int
        Its number.
    began : bool
        The series began before the clip.
    """
    whole = [distance_m(t.evidence) for t in told if t.phase.measures["distance_m"]]
    total = np.sum(whole, axis=0) if whole else np.full(1, np.nan)
    why = "no phase is seen whole"
    shares = [to_measure(d / total, why) for d in whole] if len(whole) > 1 else []
    return JumpSequence(
        first_contact=first,
        feet=feet,
        kinds=tuple(kinds),
        measures={
            "distance_of_whole_phases_m": to_measure(total, why),
            "speed_kept_share": _speed_kept(told),
            **_left_right(told),
            **repeated(told),
        },
        shares_of_whole_phases=tuple(s for s in shares if isinstance(s, Measured)),
        began_before=began,
    )


def _speed_kept(told: Sequence[Told]) -> Measure:
    if len(told) < 2:
        return NotMeasured(reason="fewer than two phases are seen")
    first, last = told[0], told[-1]
    for measure in (first.phase.measures["speed_in_m_per_s"], last.phase.measures["takeoff_velocity_x_m_per_s"]):
        if isinstance(measure, NotMeasured):
            return measure
    return to_measure(takeoff_velocity_x_m_per_s(last.evidence) / speed_in_m_per_s(first.evidence), NO_BEFORE)


_SIDED: dict[str, Callable[[PhaseEvidence], Floats]] = {
    "distance_m": distance_m,
    "contact_time_s": lambda p: p.contact.event.toe_off_s - p.contact.event.touchdown_s,
    "flight_time_s": flight_time_s,
}

FEW_SIDES = "at least two bounds off either foot are needed"


def _left_right(told: Sequence[Told]) -> Measures:
    """Mean over the left take-offs minus mean over the right ones, in alternating bounds only, at least two of each.

    The interval has the spread between like bounds in it, not only that of measuring: two bounds of one foot differ too.
    """
    bounds = [t for t in told if t.kind == "bound"]
    alternate = bool(bounds) and all(t.kind in ("bound", "jump") for t in told)
    return {f"left_right_difference_{n}": _difference(bounds if alternate else [], n, f) for n, f in _SIDED.items()}


def _difference(bounds: Sequence[Told], name: str, function: Callable[[PhaseEvidence], Floats]) -> Measure:
    sides = {
        side: [function(t.evidence) for t in bounds if t.phase.foot == side and t.phase.measures[name]]
        for side in ("left", "right")
    }
    if min(len(draws) for draws in sides.values()) < 2:
        return NotMeasured(reason=FEW_SIDES)
    left, right = (np.mean(draws, axis=0) for draws in sides.values())
    measured = to_measure(left - right, FEW_SIDES)
    if not isinstance(measured, Measured):
        return measured
    own = [np.array([d[0] for d in draws]) for draws in sides.values()]
    freedom = sum(len(d) - 1 for d in own)
    pooled = sum(float(((d - d.mean()) ** 2).sum()) for d in own) / freedom
    spread = np.sqrt(pooled * sum(1.0 / len(d) for d in own)) * _T975[min(freedom, len(_T975)) - 1]
    return Measured(value=measured.value, u95=float(np.hypot(measured.u95, spread)))


FEW_REPEATS = "fewer than two of the take-offs have a value"


def repeated(told: Sequence[Told]) -> dict[str, Measure]:
    """Mean and standard deviation over the small take-offs of one run, each measured as its own; nothing where there are none.

    The mean's interval is that of measuring and of the spread over the repetitions (Student's t); that of the standard deviation
    is the usual large-sample one, SD / sqrt(2 (n - 1)), twice.
    """
    alike = [t.phase.measures for t in told if t.kind == "takeoff"]
    if len(alike) < 2:
        return {}
    out: dict[str, Measure] = {}
    for name in REPEATED:
        values = [m for measures in alike if isinstance(m := measures.get(name), Measured)]
        mean, spread = _mean_and_spread(values)
        out[f"takeoffs_mean_{name}"], out[f"takeoffs_sd_{name}"] = mean, spread
    return out


def _mean_and_spread(values: Sequence[Measured]) -> tuple[Measure, Measure]:
    if len(values) < 2:
        return NotMeasured(reason=FEW_REPEATS), NotMeasured(reason=FEW_REPEATS)
    own = np.array([m.value for m in values])
    sd, freedom = float(own.std(ddof=1)), len(own) - 1
    hand = any(m.by_hand for m in values)
    half = sd / np.sqrt(len(own)) * _T975[min(freedom, len(_T975)) - 1]
    measured = float(np.mean([m.u95 for m in values]))  # what is wrong alike in all of them does not average out
    return (
        Measured(value=float(own.mean()), u95=float(np.hypot(half, measured)), by_hand=hand),
        Measured(value=sd, u95=2.0 * sd / float(np.sqrt(2.0 * freedom)), by_hand=hand),
    )


_T975 = (12.706, 4.303, 3.182, 2.776, 2.571, 2.447, 2.365, 2.306, 2.262, 2.228)
"""Student's t, 97.5 %, for 1 to 10 degrees of freedom (the usual tables)."""
