"""What every contact takes off into, told from feet and flights: run, bound, hop, step, jump, small take-off, the two of a skip.

The kinds are those of MEASURES.md section 4a. What the coach typed has no part in it.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from penult.core.measures.evidence import Event, FlightEvidence
from penult.core.measures.numbering import TAKEOFF_RISE_M_PER_S
from penult.core.numeric.fits import GRAVITY_M_PER_S2, polynomial
from penult.model.analysis import PhaseKind

LONG_FLIGHT_S = 0.20
"""A flight of a bound or more (MEASURES.md section 4a). Of 120 running flights of films with known truth the longest is 0.17 s, of
16 bounds, hops and steps the shortest 0.29 s."""

LONGER_SHARE = 1.5
"""... or half as long again as the run-up's own flights (the same place), if the rise says so too."""

LEAST_RISE_M_PER_S = 0.75
"""No flight of a running step begins with more (closed form g t / 2 for 0.15 s); bounds 0.3 s long begin with 1.0 and more."""

SURE = 0.95
"""Probability below which the order of two feet is not given: one clip in twenty may then be wrong where it looks sure."""

HIGHER = 1.35
"""A last take-off that rises by this factor faster than all of the series before it closes the series with a jump: bounds and hops
of one series differ by up to 1.2 (films with known truth), the closing jump into the pit rises 1.2 to 2 times faster."""

LANDING_DROP_M = 0.30
"""A mass centre that lies so much lower at a touchdown than at the toe-off before has its legs stretched out in front: landings in
the sand lie about 0.55 m lower (MEASURES.md section 4), those of bounds, hops and steps 0.02 to 0.15 m (films with known truth)."""

SKIP_SHARE = 0.6
"""A short step within a skip lifts off with less than this share of the rise of its hops (1.8 against 0.2 m/s)."""

LEAPS = ("bound", "hop", "step", "jump", "takeoff", "skiphop", "skipstep")
"""Every kind but a running step."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Flown:
    """What is known of one contact and the flight after it.

    Parameters
    ----------
    again : float, optional
        Probability that the next contact is by the same foot; None for the last contact.
    flight_s : float
        Until the next touchdown, at least: a frame interval shorter than measured, on the corrected clock; NaN for the last
        contact. At 30 Hz running flights look 0.2 s long.
    falls : bool
        The mass centre falls as in a free flight all along; False where a contact in between was missed.
    rise_m_per_s : float
        Upward speed of the mass centre at toe-off; NaN where it could not be fitted.
    whole : bool
        The contact lies wholly in the picture.
    said : bool
        `again` comes from feet that a person named.
    phase_said : PhaseKind, optional
        What a person said that the contact takes off into.
    into_sand : bool
        The mass centre comes down so low before the next contact that the feet are stretched out for a landing.
    """

    again: float | None
    flight_s: float
    falls: bool
    rise_m_per_s: float
    whole: bool
    said: bool = False
    phase_said: PhaseKind | None = None
    into_sand: bool = False


def again(event: Event, after: Event) -> float:
    """Probability that the next contact is by the same foot."""
    return float(event.foot == after.foot) if after.same_foot is None else after.same_foot


def into_sand(flight: FlightEvidence, flight_s: float, support_height_m: float) -> bool:
    """Whether the mass centre comes down by more than LANDING_DROP_M, and the box it left, until the next contact (closed form)."""
    rise = float(flight.velocity_m_per_s[0, 1])
    drop = GRAVITY_M_PER_S2 * flight_s**2 / 2.0 - rise * flight_s
    surface = support_height_m if np.isfinite(support_height_m) else 0.0
    return bool(drop > LANDING_DROP_M + max(surface, 0.0))


def falls(flight: FlightEvidence) -> bool:
    """Whether the mass centre falls all along a flight about as gravity has it; True where too little is seen of it to say.

    With a contact that was missed in between it rises and falls again, and the parabola is flat or opens upward.
    """
    if len(flight.time_s) < 8 or np.ptp(flight.time_s) < LONG_FLIGHT_S / 2.0:
        return True
    fit = polynomial(flight.time_s, flight.height_m[:1], 2)[0]
    return bool(-2.0 * fit[2] > GRAVITY_M_PER_S2 / 2.0)


def kinds_of(flown: Sequence[Flown]) -> tuple[PhaseKind, ...]:
    """Return the kind of every contact's phase, '?' where the feet or the flight do not tell it."""
    if not flown:
        return ()
    landing = next((i for i, f in enumerate(flown[:-1]) if f.into_sand), None)
    if landing is not None:  # what comes after it are no supports of a run
        until = kinds_of([*flown[:landing], dataclasses.replace(flown[landing], into_sand=False)])
        after: list[PhaseKind] = ["run"] * (len(flown) - landing - 1)
        return (*until[:landing], "jump", *after)
    leaps = leaps_of(flown)
    kinds = _skips([_kind(f, leap) for f, leap in zip(flown[:-1], leaps, strict=False)])
    kinds = _small_takeoffs(kinds)
    kinds.append(_last(kinds, [f.rise_m_per_s for f in flown], bool(leaps[-1])))
    kinds = _small_takeoffs(kinds)  # one runs on from the last but one, too
    kinds = _hop_step_jump(kinds)
    return tuple(f.phase_said or kind for f, kind in zip(flown, kinds, strict=True))


def zero_of(kinds: Sequence[PhaseKind], flown: Sequence[Flown]) -> int | None:
    """Return the contact that has number 0: the first one wholly in the picture that is followed by no running step.

    None where all are running steps. A flight in which a contact was missed is no leap.
    """
    leaps = leaps_of(flown)
    off = [i for i, kind in enumerate(kinds) if kind in LEAPS or (kind == "?" and leaps[i])]
    whole = [i for i in off if flown[i].whole]
    return next(iter(whole or off), None)


def landing_of(kinds: Sequence[PhaseKind]) -> int | None:
    """Return the index of what stands after the closing jump, a landing in the pit and no support; None where none is seen."""
    jump = next((i for i, kind in enumerate(kinds) if kind == "jump"), None)
    return None if jump is None or jump + 1 >= len(kinds) else jump + 1


def began_before(kinds: Sequence[PhaseKind], zero: int | None) -> bool:
    """Whether the series may have begun before the clip: no running step is seen before contact 0."""
    return zero is not None and "run" not in kinds[:zero]


def leaps_of(flown: Sequence[Flown]) -> list[bool | None]:
    """Whether each flight is more than a running step's; None where a contact may have been missed in it."""
    usual = [f.flight_s for f in flown[:-1] if f.flight_s < LONG_FLIGHT_S]
    longer = LONGER_SHARE * float(np.median(usual)) if len(usual) >= 2 else np.inf
    return [_leap(f, longer) for f in flown]


def _leap(f: Flown, longer_s: float) -> bool | None:
    if not np.isfinite(f.flight_s):  # its landing is not seen: only the rise can tell
        return f.rise_m_per_s > TAKEOFF_RISE_M_PER_S
    rises = f.rise_m_per_s > LEAST_RISE_M_PER_S
    if f.flight_s >= LONG_FLIGHT_S and (rises or not np.isfinite(f.rise_m_per_s)):
        return True if f.falls else None
    return rises and f.flight_s >= longer_s


def _kind(f: Flown, leap: bool | None) -> PhaseKind:
    if leap is None or f.again is None:
        return "?"
    if f.again >= SURE:
        return "?" if f.said and not leap else "hop"  # a foot named wrongly in a run makes no hop of a running step
    if f.again > 1.0 - SURE and leap:
        return "?"
    return "bound" if leap else "run"  # a flight that short is a running step's, whichever foot it was


def _skips(kinds: Sequence[PhaseKind]) -> list[PhaseKind]:
    """A lone hop and the short step to the other foot after it are a skip, if a hop, or the end of what is seen, follows."""
    out = list(kinds)
    for i in range(1, len(kinds)):
        lone = kinds[i - 1] == "hop" and (i < 2 or kinds[i - 2] != "hop")
        goes_on = i + 1 == len(kinds) or (kinds[i + 1] == "hop" and (i + 2 >= len(kinds) or kinds[i + 2] != "hop"))
        if kinds[i] == "run" and lone and goes_on:
            out[i - 1], out[i] = "skiphop", "skipstep"
            if i + 1 < len(kinds):
                out[i + 1] = "skiphop"
    if len(out) > 2 and kinds[0] == "run" and out[1] == "skiphop":
        out[0] = "skipstep"
    return out


def _small_takeoffs(kinds: Sequence[PhaseKind]) -> list[PhaseKind]:
    """A bound alone between running steps is a small take-off, from which one runs on."""
    out = list(kinds)
    for i, kind in enumerate(kinds):
        before, after = kinds[i - 1] if i else "run", kinds[i + 1] if i + 1 < len(kinds) else ""
        if kind == "bound" and before == after == "run":
            out[i] = "takeoff"
    return out


def _last(before: Sequence[PhaseKind], rise_m_per_s: Sequence[float], leap: bool) -> PhaseKind:
    """The last contact, whose landing is not seen: the series goes on, or a jump that rises faster than all before closes it."""
    rise = rise_m_per_s[-1]
    series = [r for r, kind in zip(rise_m_per_s, before, strict=False) if kind in LEAPS and np.isfinite(r)]
    most = max(series, default=np.inf)
    if not before or before[-1] == "run":
        small = "takeoff" in before and rise < HIGHER * most
        if small and rise > LEAST_RISE_M_PER_S:  # after small take-offs another one: no running step rises so
            return "takeoff"
        return "jump" if leap else "run"
    if before[-1] == "?" or not np.isfinite(rise):
        return "?"
    if before[-1] in ("skiphop", "skipstep"):
        other: PhaseKind = "skipstep" if before[-1] == "skiphop" else "skiphop"
        return other if (rise < SKIP_SHARE * most) == (other == "skipstep") else "?"
    if before[-1] == "takeoff" or rise < LEAST_RISE_M_PER_S:
        return "run"
    return _end_of_series(before, rise > HIGHER * most)


def _end_of_series(before: Sequence[PhaseKind], higher: bool) -> PhaseKind:
    leaps = [k for k in before if k in LEAPS]
    if higher or leaps == ["hop", "bound"]:  # the second is hop, step and jump: the feet tell it
        return "jump"
    return "?" if leaps == ["hop"] else before[-1]


def _hop_step_jump(kinds: list[PhaseKind]) -> list[PhaseKind]:
    """In a hop, one flight to the other foot and a jump the middle one is the step."""
    leaps = [i for i, kind in enumerate(kinds) if kind in LEAPS]
    if [kinds[i] for i in leaps] == ["hop", "bound", "jump"]:
        kinds[leaps[1]] = "step"
    return kinds
