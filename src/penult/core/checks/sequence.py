"""Are the pictures of a clip those that the camera took, one after the other? Told by how much changes between them. Pure.

A runner moves evenly for a few hundredths of a second: from one picture to the next about as much of the picture changes as
from the one before. A picture that was repeated changes nothing, one that was blended from its neighbours is their mean, and
where one is missing twice the way shows at once. What the frame times say themselves, a gap with its own time, is no fault.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from penult.core.checks.withheld import without_spans
from penult.errors import NotMeasurableError
from penult.model.analysis import Analysis, Notice
from penult.model.arrays import Bools, Floats, Ints

ODD_FRAMES = "odd_frames"
"""Under this name a result's method lists frames that are no picture of their own."""

AROUND = 6
"""Pictures to either side with which one is compared: 25 ms at 240 Hz, in which a runner's pace does not change."""

MOVES_PX = 40.0
"""Of a small picture: fewer changed pixels are no runner."""

COPY_SHARE = 0.1
"""A picture that changes less than this share of what those about it do is a copy; on eighteen sound films with known truth the
least is 0.26, and 0.45 where the whole body is seen."""

BLEND = 0.15
"""Distance from the mean of the neighbours, as a share of their difference: 0.26 (a shaken camera) to 1.1 on twelve sound films,
0.0 to 0.08 in blended pictures."""

GAP_SHARE = 0.6
"""A gap changes by more than this share, in logarithms, of what two steps change more than one."""

FEW = 3
MOST_SHARE = {"repeated": 0.04, "blended": 0.08, "missing": 0.03}
"""Up to so many pictures, or this share, are told with their frames, and what they span is withheld; more is a clip that a program
made anew, in which nothing has its own time."""

STEADY = 0.25
"""Where the pictures' own noise is more than this share of what a gap would show, gaps cannot be told."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Edited:
    """Frames that are no picture of their own: a kind of 'repeated', 'blended' or 'missing', and their indices."""

    kind: str
    frame: Ints
    share: float


def edited(changes: Floats, time_s: Floats, first: int, last: int) -> Edited | None:
    """Return what is wrong with the pictures of a run, None where nothing is.

    Parameters
    ----------
    changes : (t, 3) float64
        Of every frame: pixels changed since the one before, since the one before that, and its distance from the mean of its
        neighbours (see `adapters.pictures.changes`).
    time_s : (t,) float64
        Of every frame; a gap that the times show is none here.
    first, last : int
        Frames in which the athlete is seen.
    """
    rows = np.arange(max(first + 1, 1), last + 1)
    if len(rows) < 2 * AROUND:
        return None
    one = changes[rows, 0]
    copies = rows[_copied(one)]
    if len(copies):
        return Edited(kind="repeated", frame=copies, share=len(copies) / len(rows))
    bend = changes[rows, 2]
    blends = rows[np.nan_to_num(bend, nan=1.0) < BLEND]
    if len(blends) > FEW:
        return Edited(kind="blended", frame=blends, share=len(blends) / len(rows))
    gaps = rows[_gaps(one, changes[rows, 1], np.diff(time_s)[rows - 1])]
    return Edited(kind="missing", frame=gaps, share=len(gaps) / len(rows)) if len(gaps) else None


def _copied(one: Floats) -> Bools:
    """Rows that change nothing, between rows that do."""
    out = np.zeros(len(one), dtype=bool)
    for row in range(2, len(one) - 2):
        before, after = one[max(row - AROUND, 0) : row], one[row + 1 : row + 1 + AROUND]
        around = min(float(before.max()), float(after.max()))
        out[row] = around >= MOVES_PX and one[row] < COPY_SHARE * around
    return out


def _gaps(one: Floats, two: Floats, interval_s: Floats) -> Bools:
    """Rows before which a picture is missing though their time does not say so."""
    away = np.abs(interval_s / np.median(interval_s) - 1.0) > 0.25  # the times tell it themselves
    usual = np.array([np.median(one[max(r - AROUND, 0) : r + AROUND + 1]) for r in range(len(one))])
    moves = (usual >= MOVES_PX) & ~away
    if moves.sum() < 2 * AROUND:
        return np.zeros(len(one), dtype=bool)
    with np.errstate(divide="ignore", invalid="ignore"):
        more = np.log(one / usual)
        double = float(np.nanmedian(np.log(two[moves] / usual[moves])))
    more = np.where(np.isfinite(more) & moves, more, 0.0)
    noise = 1.4826 * float(np.median(np.abs(more[moves] - np.median(more[moves]))))
    if not np.isfinite(double) or double <= 0.0 or noise > STEADY * double:
        return np.zeros(len(one), dtype=bool)
    peak = more > max(GAP_SHARE * double, 5.0 * noise)
    alone = np.ones(len(one), dtype=bool)
    alone[1:] &= more[:-1] < 0.5 * GAP_SHARE * double
    alone[:-1] &= more[1:] < 0.5 * GAP_SHARE * double
    return np.asarray(peak & alone)


LEAP, LEAP_MOST, CALM = 0.6, 1.5, 0.4
"""A body that gets this much farther between two looks than in those about them has left one picture out; two looks to either side
stay within CALM. On 37 sound films with known truth and a real clip of 30 Hz none does; with every 10th, 6th or 25th picture left
out of ten films of 60 and 120 Hz half to all of the gaps show."""

LEAPS_UNREST = 0.12
"""Where the body's way from look to look differs by more than this (median), nobody can tell: 0.03 to 0.10 on the same films."""

WALKS_M_PER_S = 1.5
"""Of a body that hardly moves the way from look to look is what the joints err by."""

AGREES = 1.15
"""... as much more has to change in the picture where only a few leap, for joints stumble, too."""


def leaps(frame: Ints, time_s: Floats, x_m: Floats, changes: Floats | None) -> Edited | None:
    """Return the frames before which a picture is missing though their time does not say so, told by the body's own way.

    Parameters
    ----------
    frame : (t,) int64
    time_s, x_m : (t,) float64
        When, and where along the runway the trunk is; NaN where nobody looked. Only where every frame was
        looked at can anything be told.
    changes : (f, 3) float64, optional
        Of every frame of the clip (see `adapters.pictures.changes`).
    """
    rows = np.flatnonzero(np.isfinite(x_m))
    if len(rows) < 2 * AROUND:
        return None
    speed = np.diff(x_m[rows]) / np.diff(time_s[rows])
    usual = np.array([np.median(speed[max(k - AROUND, 0) : k + AROUND + 1]) for k in range(len(speed))])
    more = speed / np.where(usual == 0.0, np.nan, usual) - 1.0
    single = (np.diff(frame[rows]) == 1) & (np.abs(usual) >= WALKS_M_PER_S)
    if not float(np.nanmedian(np.abs(more))) <= LEAPS_UNREST:
        return None
    places = range(2, len(more) - 2)
    found = [int(frame[rows[k + 1]]) for k in places if _leaps(more[k - 2 : k + 3], single[k - 2 : k + 3])]
    if len(found) <= FEW:
        found = [at for at in found if changes is not None and _agrees(changes[:, 0], at)]
    missing = np.array(found, dtype=np.int64)
    return Edited(kind="missing", frame=missing, share=len(found) / len(rows)) if found else None


def _leaps(more: Floats, single: Bools) -> bool:
    """Whether the middle of five ways is too long for good: a stumble of the joints takes it back."""
    calm = float(np.abs(np.delete(more, 2)).max()) < CALM
    return bool(single.all() and calm and LEAP <= more[2] <= LEAP_MOST and LEAP <= more.sum() <= LEAP_MOST)


def _agrees(one: Floats, at: int) -> bool:
    around = np.concatenate([one[max(at - AROUND, 1) : at], one[at + 1 : at + 1 + AROUND]])
    return bool(len(around) and one[at] >= AGREES * float(np.median(around)))


WORDS = {
    "repeated": ("is a copy of the one before", "are copies of the one before"),
    "blended": ("is mixed from its neighbours", "are mixed from their neighbours"),
    "missing": (
        "follows a picture that is missing, which its time does not show",
        "follow a picture that is missing, which their times do not show",
    ),
}
"""What is said of one picture, and of more."""


def refuse_edited(found: Edited | None) -> None:
    """Refuse a clip that a program made anew.

    Raises
    ------
    NotMeasurableError
        If more than a few of its pictures are repeated, blended or missing.
    """
    if found is None or len(found.frame) <= FEW or found.share <= MOST_SHARE[found.kind]:
        return
    raise NotMeasurableError(
        "a program changed the pictures of the clip after it was filmed",
        f"{len(found.frame)} of its pictures ({100.0 * found.share:.0f} % of the run) {WORDS[found.kind][1]}: "
        f"{_named(found.frame)}; no time in it is that of the run",
        next_step="use the clip as the camera stored it: no messenger, no editor, no change of the frame rate",
    )


def edited_notice(found: Edited) -> Notice:
    """Return what to say of a few such pictures."""
    code = "frames-missing" if found.kind == "missing" else "frames-repeated"
    return Notice(
        code=code,
        text=f"{len(found.frame)} of the pictures {WORDS[found.kind][len(found.frame) > 1]}: {_named(found.frame)}. What spans "
        f"{'them' if len(found.frame) > 1 else 'it'} in time is not given",
    )


def _named(frames: Ints) -> str:
    names = ", ".join(str(i) for i in frames[:6].tolist())
    return f"frame{'s' if len(frames) > 1 else ''} {names}{' ...' if len(frames) > 6 else ''}"


ROOM_S = 0.025
"""Joints at an instant are fitted over so long to either side."""

LAST_FLIGHT_S = 0.5
"""The flight after take-off is fitted for as long as it is seen."""

SPANNED = "a picture is repeated or missing in that time, so its length is not known"


def without_spanned(result: Analysis, at_s: Floats) -> Analysis:
    """Withhold every time, rate and speed that spans one of some instants at which the clip's clock is broken.

    Parameters
    ----------
    result : Analysis
    at_s : (n,) float64
        On the clip's clock.
    """
    seen = {c.number: c.span_s for c in result.contacts if c.span_s is not None}
    if not seen:
        return result

    def spanned(part: str, number: int | None) -> bool:
        n = number or 0
        reach = {"steps": (n - 2, n), "phases": (n, n + 1), "takeoff": (-1, 0), "sequence": (min(seen), max(seen))}
        first, last = reach.get(part, (n, n))
        inside = [span for key, span in seen.items() if first <= key <= last]
        if part == "penultimate" or not inside:
            return False
        end_s = max(e for _, e in inside) + (LAST_FLIGHT_S if part in {"takeoff", "phases"} else 0.0)
        return bool(((at_s >= min(s for s, _ in inside) - ROOM_S) & (at_s <= end_s + ROOM_S)).any())

    return without_spans(result, spanned, SPANNED)
