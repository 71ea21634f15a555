"""Does the clip keep one pace? A ramp of slow motion shows as a jump in how far the body gets from picture to picture. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from penult.core.joints.body import middle
from penult.errors import NotMeasurableError
from penult.model.analysis import Notice
from penult.model.arrays import Floats, Ints
from penult.model.track import RunwayTrack

WINDOW = 6
"""Looks to either side over which the pace is told, 75 ms at 80 looks a second."""

LEAST = 6
"""Fewer looks may be at somebody else: over 28 sound films with known truth parts of four and five looks came up four
times, none of six. A part that is shorter shows in the pictures."""

LEAST_PART_S = 0.06
"""... nor shorter than these six are at 80 looks a second: a body that comes into the picture is seen by halves so long, and six
looks at 120 a second are no more than 40 ms of it (a film of skips with known truth: 6.5 m/s over 6 looks, 3.9 after them)."""

NEAR = 4
"""Of those the nearest, over which the change must be there at once: 37 ms."""

JUMP = 1.5
"""A body cannot: at 6 m/s that is 3 m/s within some 50 ms, 60 m/s2 along the run. Landings and take-offs brake by 10 to 20 m/s2
(published horizontal forces of sprints and jumps stay below 2 body weights; MEMORY). Cameras' ramps are 2, 4 or 8 times."""

SURE = 4.0
"""... and by this many SD of what the joints' noise_factor makes of it."""

BODY_M_PER_S = (2.0, 12.5)
"""Speeds of a run or drill: the fastest sprinters reach 12.4 m/s."""

LEAST_S = 0.3
"""A part that is shorter holds no step."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pace:
    """Rows of a track with one pace: first and last, and the speed along the runway that it would be."""

    first: int
    last: int
    speed_m_per_s: float


def trunk_x_m(track: RunwayTrack) -> Floats:
    """Return the place of the trunk along the runway (t,), NaN where it is not seen."""
    return np.asarray((middle(track.xy_m, "hip")[:, 0] + middle(track.xy_m, "shoulder")[:, 0]) / 2.0)


def paces(time_s: Floats, x_m: Floats) -> list[Pace]:
    """Return the parts of a run between which the pace jumps.

    Parameters
    ----------
    time_s, x_m : (t,) float64
        Place of the trunk; NaN where nobody looked.
    """
    rows = np.flatnonzero(np.isfinite(x_m))
    t, x = time_s[rows], x_m[rows]
    cuts = [0, *_lasting(t, x, _cuts(t, x, 0, len(rows))), len(rows)]
    parts = []
    for begin, end in pairwise(cuts):
        if end - begin >= 2:
            speed = abs(_slope(t[begin:end], x[begin:end]))
            parts.append(Pace(first=int(rows[begin]), last=int(rows[end - 1]), speed_m_per_s=speed))
    return parts


def _lasting(t: Floats, x: Floats, cuts: list[int]) -> list[int]:
    """Return the cuts on whose two sides the pace differs as a whole: a stumble of the joints goes back to where it was."""
    kept: list[int] = []
    for place, at in enumerate(cuts):
        before = slice(kept[-1] if kept else 0, at)
        after = slice(at, cuts[place + 1] if place + 1 < len(cuts) else len(t))
        pace = [abs(_slope(t[side], x[side])) for side in (before, after)]
        if min(pace) > 0.0 and max(pace) / min(pace) > JUMP:
            kept.append(at)
    return kept


def _cuts(t: Floats, x: Floats, begin: int, end: int) -> list[int]:
    """Return the samples with which a new pace begins, the strongest first split at."""
    best, best_jump = 0, 0.0
    for at in range(begin + LEAST, end - LEAST + 1):
        if min(t[at - 1] - t[begin], t[end - 1] - t[at]) < LEAST_PART_S:
            continue
        jump = min(_jump(t, x, max(at - w, begin), at, min(at + w, end)) for w in (WINDOW, NEAR))
        if jump > best_jump:
            best, best_jump = at, jump
    if not best:
        return []
    return [*_cuts(t, x, begin, best), best, *_cuts(t, x, best, end)]


def _jump(t: Floats, x: Floats, begin: int, at: int, end: int) -> float:
    """Return the log of the ratio of paces before and from a sample on; 0 where it is no jump."""
    sides = (slice(begin, at), slice(at, end))
    speeds = [_slope(t[side], x[side]) for side in sides]
    if speeds[0] * speeds[1] <= 0.0:
        return 0.0
    errors = [_slope_sd(t[side], x[side], v) for side, v in zip(sides, speeds, strict=True)]
    ratio = float(np.log(speeds[1] / speeds[0]))
    sd = float(np.hypot(errors[0] / speeds[0], errors[1] / speeds[1]))
    return abs(ratio) if abs(ratio) > np.log(JUMP) and abs(ratio) > SURE * sd else 0.0


def _slope(t: Floats, x: Floats) -> float:
    """Median of all slopes between two samples (Theil 1950, Sen 1968)."""
    i, j = np.triu_indices(len(t), 1)
    return float(np.median((x[j] - x[i]) / (t[j] - t[i])))


def _slope_sd(t: Floats, x: Floats, slope: float) -> float:
    left = x - slope * t
    spread = 1.4826 * float(np.median(np.abs(left - np.median(left)))) + 0.004  # metres: no joint is known better
    return spread / max(float(np.sqrt(((t - t.mean()) ** 2).sum())), 1e-6)


def steady_part(parts: list[Pace], time_s: Floats) -> Pace | None:
    """Return the one part in which the stated clock can be right, None where the pace does not change.

    Raises
    ------
    NotMeasurableError
        If no part can be it, or nothing tells which.
    """
    if len(parts) < 2:
        return None
    long_enough = [p for p in parts if time_s[p.last] - time_s[p.first] >= LEAST_S]
    possible = [p for p in long_enough if BODY_M_PER_S[0] <= p.speed_m_per_s <= BODY_M_PER_S[1]]
    where = "; ".join(f"from {time_s[p.first]:.2f} s on as at {p.speed_m_per_s:.1f} m/s" for p in parts[:6])
    if len(possible) != 1:
        raise NotMeasurableError(
            "the pace of the clip changes on the way: slow motion begins or ends inside it",
            f"the athlete seems to run {where}; no body can change its speed so fast"
            + ("" if possible else ", and nobody runs at any of these speeds"),
            next_step="cut the slow part out of the clip, or export it at one pace; say its rate with --capture-rate",
        )
    return possible[0]


def pace_notice(parts: list[Pace], kept: Pace, time_s: Floats, frame: Ints) -> Notice:
    """Return what to say of a clip of which only a part is measured."""
    where = ", ".join(
        f"{p.speed_m_per_s:.0f} m/s from frame {int(frame[p.first])} ({time_s[p.first]:.2f} s)" for p in parts[:6]
    )
    return Notice(
        code="rate-changes",
        text=f"the pace of the clip changes on the way, as a ramp of slow motion does: the athlete seems to run at {where}. "
        f"Only the part from {time_s[kept.first]:.2f} to {time_s[kept.last]:.2f} s is measured, where the stated rate can be right",
    )


STEADY_FRAMES = 4
STEADY_RATIO, STEP_RATIO = 1.25, 1.4
"""A step in how much changes from picture to picture: four on either side that differ among themselves by less than a quarter,
and the two sides by more than 1.4. Whoever comes into the picture takes more than one frame to do so."""

LEAST_PX = 40.0


def picture_jumps(changes: Floats, first: int, last: int) -> list[int]:
    """Return the frames from which the pictures change more, or less, at once than before.

    Parameters
    ----------
    changes : (t, 3) float64
        See `adapters.pictures.changes`.
    first, last : int
        Frames between which to look.
    """
    one = changes[:, 0]
    found: list[int] = []
    for at in range(max(first, 1) + STEADY_FRAMES, min(last, len(one)) - STEADY_FRAMES + 1):
        sides = (one[at - STEADY_FRAMES : at], one[at : at + STEADY_FRAMES])
        low, high = sorted(sides, key=lambda side: float(side.mean()))
        if not low.min() >= LEAST_PX or max(side.max() / side.min() for side in sides) > STEADY_RATIO:
            continue
        if high.min() / low.max() >= STEP_RATIO:
            found.append(at)
    return found


def unseen_side(jumps: list[int], frame: Ints, x_m: Floats) -> tuple[int, int] | None:
    """Return first and last frame to keep where the pictures jump and the body is seen on one side of it only.

    Where it is seen on both, its own pace tells (`paces`).
    """
    seen = frame[np.isfinite(x_m)]
    first, last = int(frame[0]), int(frame[-1])
    for at in jumps:
        before, after = int((seen < at).sum()), int((seen >= at).sum())
        if before <= LEAST < after:
            first = max(first, at)
        elif after <= LEAST < before:
            last = min(last, at - 1)
    return (first, last) if (first, last) != (int(frame[0]), int(frame[-1])) else None


def jump_notice(kept: tuple[int, int]) -> Notice:
    """Return what to say where only the pictures show the change of pace."""
    return Notice(
        code="rate-changes",
        text="the pace of the clip changes on the way, as a ramp of slow motion does: from one frame to the next the pictures "
        f"change far more, or less, than before. Only frames {kept[0]} to {kept[1]} are measured",
    )
