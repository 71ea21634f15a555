"""Which places are supports, and which foot stands at each: any order of feet, with a probability.

A body that falls freely stands on nothing, so a foot that hangs in the air near one place is no support. The order of the feet
comes from four witnesses at once: the way each leg goes through the flight, the pose model's own words, how long the flight
is (a foot cannot land again where there is no time to swing it forward), and in running the arms, which swing against the
legs. Nothing is put right into taking turns.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from penult.core.joints.body import mass_centre, segment_table
from penult.core.numeric.fits import GRAVITY_M_PER_S2, polynomial
from penult.core.numeric.slopes import median_slope
from penult.model.arrays import Bools, Floats, Ints
from penult.model.skeleton import joint
from penult.model.track import RunwayTrack

FALL_SHARE = 0.10
"""A mass centre that strays from one parabola by less than this share of its sag (RMS) falls freely. Over flights in which a foot
hangs near one place it is 0.02 to 0.04, over two flights with a support between them 0.2 and more, or the curve opens upward
(chosen on the hops and the triple jump of the third set of films with known truth, the same on the run-ups of the first two). A
share of the sag needs no clock."""

LEAST_SAG_M = 0.04
"""A smaller sag says nothing: the mass centre's own noise is 0.3 to 0.5 cm."""

LEAST_ROWS = 6
"""Fewer pictures of a flight carry no parabola."""

HANGING_M = 0.12
"""A heel that is never seen nearer to the ground than this above the lowest heels of the other supports: as high as the heel of
a standing foot comes at toe-off, and the toe with it."""

CUT_WAY_M = 0.6
"""A support that the clip's edge cuts off is seen over a shorter way of the hips than this; whole ones take 0.8 m and more."""

SWING_S = (0.16, 0.26)
SWING_LOGIT = (-8.0, -1.0)
"""Same foot against other foot (log of the odds) by how long the body falls: running flights last 0.10 to 0.17 s, in which no leg
swings from behind the body to before it; the shortest hops with a swing of the leg last about 0.3 s (common practice; 0.30 to
0.45 s in the films with known truth). Straight between the two."""

PASSAGE_M2 = 0.06
"""Misfit of the legs' way (knee, ankle and toe against straight-line motion from frame to frame, m2) that speaks e times for one
order of feet against the other. Right and wrong orders differ by 0.13 to 0.54 m2 over 120 flights of films with known truth, and
by 0.01 to 0.02 m2, the wrong way round, in two blurred ones: the scale makes the first nearly sure and the second nothing."""

MOST_OFF_M2 = 0.09
"""No joint counts for more than a step aside by 0.3 m: a wild joint must not decide."""

WRONG_WORD = 0.10
"""How often the pose model calls a whole support's leg by the wrong name (3 of 110 supports of the films with known truth, more in
dark trousers)."""

ARM_SWING_M, ARM_LOGIT = (0.1, 0.4), 3.0
"""By how much the right arm swings forward past the left one during a support of the right foot (less says little, more no
more), and the log of the odds that this is worth. In running steps it is 0.3 to 0.9 m and of the right sign in all of 104
supports of films with known truth, and in four of four of a real runner in dark trousers whose legs the pose model called by
the wrong names. In hops and skips arms go together (-0.4 to 0.1 m on the hopping foot): they are asked between running
flights only."""

PARTS = ("knee", "ankle", "toe")


@dataclass(frozen=True, slots=True, kw_only=True)
class Stay:
    """Samples (rows, leg 0 or 1 in the pose model's words) of a foot staying at one place."""

    rows: Ints
    legs: Ints
    toe_x_m: float
    seen_m: float


@dataclass(frozen=True, slots=True, kw_only=True)
class FeetOrder:
    """The likeliest foot of every support (0 left, 1 right), its probability, and how the feet follow one another.

    Parameters
    ----------
    legs : tuple of int
    sure : tuple of float
        Probability that it is that foot.
    same : tuple of float
        For each support but the first, the probability that the foot before it stands again.
    """

    legs: tuple[int, ...]
    sure: tuple[float, ...]
    same: tuple[float, ...]


def bearing(stays: Sequence[Stay], track: RunwayTrack, way_m: Floats) -> list[Stay]:
    """Return the stays that bear the body: none while the body falls freely.

    Parameters
    ----------
    stays : sequence of Stay
        In the order of time.
    track : RunwayTrack
    way_m : (t,) float64
        Way of the hips.
    """
    height = mass_centre(track.xy_m, segment_table(None))[:, 1]
    kept = list(range(len(stays)))
    for apart in range(len(stays) - 1, 1, -1):  # the longest flights first: several stays may hang in one
        for i in range(len(stays) - apart):
            inner = [k for k in kept if i < k < i + apart]
            if i in kept and i + apart in kept and inner:
                between = slice(int(stays[i].rows[-1]), int(stays[i + apart].rows[0]) + 1)
                if _falls_freely(track.time_s[between], height[between]):
                    kept = [k for k in kept if k not in inner]
    out = [stays[k] for k in kept]
    while len(out) > 2 and _hangs(out[-1], out[:-1], track):
        between = slice(int(out[-2].rows[-1]), int(out[-1].rows[-1]) + 1)
        if not _falls_freely(track.time_s[between], height[between]):
            break
        out = out[:-1]
    way = way_m[out[0].rows[-1]] - way_m[out[0].rows[0]] if out else 0.0
    if len(out) > 2 and way < CUT_WAY_M and _hangs(out[0], out[1:], track) and _leaps(out[1], out[2], track):
        out = out[1:]
    return out


def _leaps(one: Stay, other: Stay, track: RunwayTrack) -> bool:
    """The flight between two stays is longer than a running step's, in which a support just before would be expected."""
    return _between_s(one, other, track) > SWING_S[1]


def _falls_freely(time_s: Floats, height_m: Floats) -> bool:
    sag, off = _sag(time_s, height_m)
    return bool(sag >= LEAST_SAG_M and off < FALL_SHARE * sag)


def _sag(time_s: Floats, height_m: Floats) -> tuple[float, float]:
    """How far the middle of a parabola through heights (n,) lies above the line between its ends, and the heights' RMS from it."""
    good: Bools = np.asarray(np.isfinite(height_m))
    if good.sum() < LEAST_ROWS:
        return float("nan"), float("nan")
    t = time_s[good] - time_s[good].mean()
    fit = polynomial(t, height_m[good][None], 2)[0]
    off = height_m[good] - np.vander(t, 3, increasing=True) @ fit
    return -fit[2] * float(np.ptp(t)) ** 2 / 4.0, float(np.sqrt((off**2).mean()))


def fall_m_per_s2(time_s: Floats, height_m: Floats) -> float:
    """Free fall on the stated clock of a mass centre that falls freely by LEAST_SAG_M and more, else NaN."""
    if not _falls_freely(time_s, height_m):
        return float("nan")
    span = float(np.ptp(time_s[np.isfinite(height_m)]))
    return 8.0 * _sag(time_s, height_m)[0] / span**2


def _hangs(stay: Stay, others: Sequence[Stay], track: RunwayTrack) -> bool:
    """Heel and toe are both well above where those of the other supports come down to."""
    heel, toe = _feet_m(track, "heel")[..., 1], _feet_m(track, "toe")[..., 1]
    ground = [float(np.nanmin(heel[s.rows, s.legs])) for s in others]
    toes = [float(np.nanmedian(toe[s.rows, s.legs])) for s in others]
    high = float(np.nanmin(heel[stay.rows, stay.legs])) - float(np.median(ground)) > HANGING_M
    return high and float(np.nanmedian(toe[stay.rows, stay.legs])) - float(np.median(toes)) > HANGING_M / 2.0


def fall_time_s(time_s: Floats, height_m: Floats) -> float:
    """Duration of a free fall with the sag that is seen, whatever the clip's clock: sag = g T^2 / 8 (closed form)."""
    sag = _sag(time_s, height_m)[0]
    return float(np.sqrt(max(8.0 * sag / GRAVITY_M_PER_S2, 0.0))) if np.isfinite(sag) else float("nan")


def order_of_feet(stays: Sequence[Stay], track: RunwayTrack) -> FeetOrder:
    """Infer which foot stands at each stay, all jointly (forward-backward over the chain of supports)."""
    swing = np.array([_swing_logit(a, b, track) for a, b in pairwise(stays)])
    beside = np.concatenate([[SWING_LOGIT[0]], swing, [SWING_LOGIT[0]]])
    runs = np.maximum(beside[:-1], beside[1:]) < np.mean(SWING_LOGIT)
    word = np.array([_word(stay) + (_arms(stay, track) if run else 0.0) for stay, run in zip(stays, runs, strict=True)])
    same = swing + np.array([_passage(a, b, track) for a, b in pairwise(stays)])
    unary = np.stack([np.zeros(len(word)), word], axis=1)
    pair = np.zeros((len(same), 2, 2))
    pair[:, 0, 0] = pair[:, 1, 1] = same
    legs = _likeliest(unary, pair)
    before, after = _messages(unary, pair)
    each = before + after - unary
    sure = [float(1.0 / (1.0 + np.exp(e[1 - leg] - e[leg]))) for e, leg in zip(each, legs, strict=True)]
    again = []
    for k in range(len(same)):
        both = before[k][:, None] + pair[k] + after[k + 1][None]
        both = np.exp(both - both.max())
        again.append(float((both[0, 0] + both[1, 1]) / both.sum()))
    return FeetOrder(legs=tuple(legs), sure=tuple(sure), same=tuple(again))


def _word(stay: Stay) -> float:
    """Log odds of 'right' by the pose model's words over a stay."""
    right = WRONG_WORD + (1.0 - 2.0 * WRONG_WORD) * float(np.mean(stay.legs))
    return float(np.log(right / (1.0 - right)))


def _arms(stay: Stay, track: RunwayTrack) -> float:
    """Log odds of 'right' by the arms over a stay: the right one swings forward against the left while the right foot stands."""
    rows = np.arange(int(stay.rows[0]), int(stay.rows[-1]) + 1)
    ahead = np.mean(
        [_feet_m(track, part)[rows, 1, 0] - _feet_m(track, part)[rows, 0, 0] for part in ("wrist", "elbow")], axis=0
    )
    seen = np.flatnonzero(np.isfinite(ahead))
    if len(seen) < LEAST_ROWS // 2:
        return 0.0
    time_s = track.time_s[rows]
    swing_m = median_slope(ahead[seen], time_s[seen]) * float(np.ptp(time_s))
    return float(np.sign(swing_m) * np.interp(abs(swing_m), ARM_SWING_M, (0.0, ARM_LOGIT)))


def _between_s(one: Stay, other: Stay, track: RunwayTrack) -> float:
    """How long the body falls between two stays, whatever the clip's clock; NaN where it is not seen."""
    between = slice(int(one.rows[-1]), int(other.rows[0]) + 1)
    return fall_time_s(track.time_s[between], mass_centre(track.xy_m[between], segment_table(None))[:, 1])


def _swing_logit(one: Stay, other: Stay, track: RunwayTrack) -> float:
    fall_s = _between_s(one, other, track)
    return float(np.interp(fall_s, SWING_S, SWING_LOGIT)) if np.isfinite(fall_s) else SWING_LOGIT[0]


def _passage(one: Stay, other: Stay, track: RunwayTrack) -> float:
    """Log odds of 'the same foot again' by the way of both legs from late in one stay to early in the next."""
    first, last = (3 * len(one.rows)) // 4, len(other.rows) // 4
    rows = np.arange(int(one.rows[first]), int(other.rows[last]) + 1)
    cost = followed(track, rows)[0]
    if not np.isfinite(cost).all():
        return 0.0
    stays_called = int(one.legs[first]) == int(other.legs[last])
    kept, crossed = float(cost[0]), float(cost[1])
    return ((crossed - kept) if stays_called else (kept - crossed)) / PASSAGE_M2


def followed(track: RunwayTrack, rows: Ints) -> tuple[Floats, Bools, Bools]:
    """Follow both legs through some rows by their motion alone.

    Returns
    -------
    cost : (2,) float64
        Misfit (m2) when the words 'left' and 'right' mean at the end what they mean at the first row, and when they have
        changed places; infinite when too little is seen.
    kept, crossed : (n,) bool
        Rows in which the words are the wrong way round, on the cheapest way to either end.
    """
    legs = np.stack([_feet_m(track, part) for part in PARTS], axis=2)[rows]  # (n, leg, part, 2)
    hip = _feet_m(track, "hip")[rows].mean(axis=1)
    legs = legs - hip[:, None, None]
    seen = np.flatnonzero(np.isfinite(legs).all(axis=(1, 2, 3)))
    swapped = np.zeros((2, len(rows)), dtype=bool)
    if len(seen) < 4:
        return np.full(2, np.inf), swapped[0], swapped[1]
    pair = np.stack([legs, legs[:, ::-1]], axis=1)[seen]
    labels, cost = _two_ways(track.time_s[rows][seen], pair)
    for end in (0, 1):
        index = np.minimum(np.searchsorted(seen, np.arange(len(rows))), len(seen) - 1)
        swapped[end] = labels[end][index] == 1
    return cost, swapped[0], swapped[1]


def _two_ways(time_s: Floats, pair: Floats) -> tuple[Ints, Floats]:
    """Cheapest labels (2, n) that begin with 0 and end with 0 or 1, and their costs; pair is (n, label, leg, part, 2)."""
    ratio = np.minimum(np.diff(time_s)[1:] / np.diff(time_s)[:-1], 2.0)[:, None, None, None, None, None]
    before, now, after = pair[:-2, :, None], pair[1:-1, None, :], pair[2:]
    ahead = now + ratio * (now - before)
    off = ((after[:, None, None] - ahead[:, :, :, None]) ** 2).sum(axis=-1)
    step = np.minimum(off, MOST_OFF_M2).sum(axis=(-1, -2))
    cost = np.full((2, 2), np.inf)
    cost[0, 0] = 0.0
    cost[0, 1] = 2.0 * np.minimum(((pair[1, 1] - pair[0, 0]) ** 2).sum(axis=-1), MOST_OFF_M2).sum()
    back = np.zeros((len(step), 2, 2), dtype=int)
    for i, change in enumerate(step):
        total = cost[:, :, None] + change
        back[i] = total.argmin(axis=0)
        cost = total.min(axis=0)
    labels = np.zeros((2, len(pair)), dtype=int)
    for end in (0, 1):
        labels[end, -2], labels[end, -1] = int(cost[:, end].argmin()), end
        for i in range(len(step) - 1, -1, -1):
            labels[end, i] = back[i, labels[end, i + 1], labels[end, i + 2]]
    return labels, np.asarray(cost.min(axis=0))


def _likeliest(unary: Floats, pair: Floats) -> list[int]:
    best, back = unary[0], []
    for k, link in enumerate(pair):
        total = best[:, None] + link
        back.append(total.argmax(axis=0))
        best = total.max(axis=0) + unary[k + 1]
    legs = [int(best.argmax())]
    for step in reversed(back):
        legs.append(int(step[legs[-1]]))
    return legs[::-1]


def _messages(unary: Floats, pair: Floats) -> tuple[Floats, Floats]:
    """Log of the forward and backward sums (n, 2), each with its own support's word in it."""
    before, after = np.array(unary), np.array(unary)
    for k, link in enumerate(pair):
        before[k + 1] += np.logaddexp.reduce(before[k][:, None] + link, axis=0)
    for k in range(len(pair) - 1, -1, -1):
        after[k] += np.logaddexp.reduce(pair[k] + after[k + 1][None], axis=1)
    return before, after


def _feet_m(track: RunwayTrack, part: str) -> Floats:
    return np.stack([track.xy_m[:, joint("left", part)], track.xy_m[:, joint("right", part)]], axis=1)
