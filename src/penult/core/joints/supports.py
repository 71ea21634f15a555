"""Rough contacts from the joints: a foot that stays in one place. Labels of legs are decided here, along the run.

A foot in support stands still while the other moves at about twice the running speed, so 'time spent near one
place' finds contacts without any left or right and on any surface height. The exact instants come from the pictures.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from penult.core.joints.feet_order import CUT_WAY_M, FeetOrder, Stay, bearing, followed, order_of_feet
from penult.core.numeric.slopes import median_slope
from penult.model.analysis import Foot, PhaseKind
from penult.model.arrays import Bools, Floats, Ints
from penult.model.skeleton import joint
from penult.model.track import RunwayTrack

WINDOW_M = 0.09
"""Half-width within which a toe counts as 'in the same place': three times the toe noise of the pose model (1.6 to 2.2 cm
white, 3 cm with its bias, measured on films with known truth), and less than a swing foot moves in 20 ms."""

LIFT_M = 0.06
"""A toe that moved further than this in height has left its place: three times the toe noise of the pose model."""

MIN_SUPPORT_M = 0.35
"""Way of the hips over a support, at least: sprinters cover 0.8 to 1.1 m in a contact of 0.1 s, and a swing foot, twice as
fast as the hips, crosses 2 x WINDOW_M while they cover 0.09 m. Ways instead of times, so that a wrong clock cannot hide
or invent a contact."""

MIN_STEP_M = 0.6
"""Shortest step of a run or drill; toe places closer than this belong to one support (common practice, no source)."""

OVERLAP_M = 0.2
"""Rough supports reach up to 25 ms too far at either end, so that neighbours may seem to overlap by this way of the hips."""

GAP_M = 0.5
"""A foot not seen at its place while the hips cover this much has left it."""

BESIDE_S = 0.02
"""How far from a support a frame may lie that shows where it begins or ends: about the SD of rough instants."""

MISSING = 1.6
"""A gap of so many times the usual one has rows missing in it."""

MOST_ACROSS_S = 0.03
"""No support is taken to reach farther into a gap than this: its instants are then looked for in all of it (`shoe_events`)."""

MAX_TOE_HEIGHT_M = 0.30
"""A foot higher than this above the runway is in swing, whatever the mat."""


BOX_TOE_HEIGHT_M = 0.48
"""... but for a whole support on a box of up to 0.40 m, with the joint of the toe 3 cm above it and its noise."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Support:
    """One support as the joints show it: foot, first and last row, place of toe, heel and ankle, height of the toe.

    `start_seen` and `end_seen` say whether the foot is seen just before the first and just after the last row: if not, it
    may have landed earlier, or left later. `foot_sure` is the probability that it is that foot, `same_foot` the probability that
    it is the foot of the support before (None: told by the two feet, as after a person named one). `phase_said` is what a person
    said that it takes off into.
    """

    foot: Foot
    start_s: float
    end_s: float
    toe_x_m: float
    heel_x_m: float
    toe_y_m: float
    ankle_x_m: float
    start_seen: bool = True
    end_seen: bool = True
    foot_sure: float = 1.0
    same_foot: float | None = None
    phase_said: PhaseKind | None = None


def find_supports(track: RunwayTrack, clear: RunwayTrack | None = None) -> tuple[tuple[Support, ...], Bools]:
    """Find supports and which rows have their legs' labels the wrong way round.

    Parameters
    ----------
    track : RunwayTrack
        Joints on the runway under the pose model's labels.
    clear : RunwayTrack, optional
        The same without the legs that are not to be trusted: supports are told by the others.

    Returns
    -------
    supports : tuple of Support
        In the order of time; feet in any order.
    swap : (t,) bool
        Rows whose left and right leg must change places.
    """
    clear = track if clear is None else clear
    stays = _stays(clear)
    if not stays:
        return (), np.zeros(len(track.time_s), dtype=bool)
    order = order_of_feet(stays, clear)
    swap = _swapped_rows(track, stays, order)
    again = (None, *order.same)
    supports = tuple(
        dataclasses.replace(_support(clear, stay, leg), foot_sure=sure, same_foot=same)
        for stay, leg, sure, same in zip(stays, order.legs, order.sure, again, strict=True)
    )
    return supports, swap


def feet_m(track: RunwayTrack, part: str) -> Floats:
    """Return left and right samples of a foot or leg joint, (t, 2, 2)."""
    return np.stack([track.xy_m[:, joint("left", part)], track.xy_m[:, joint("right", part)]], axis=1)


def _stays(track: RunwayTrack) -> list[Stay]:
    """Places that bear the body, in the order of time: low ones, and boxes where no foot stands low at that time."""
    way = hip_way_m(track)
    low = bearing(_one_foot_at_a_time(_places(track, way, MAX_TOE_HEIGHT_M), way), track, way)
    boxes = [s for s in _places(track, way, BOX_TOE_HEIGHT_M) if _is_box(s, low, track, way)]
    return bearing(_one_foot_at_a_time([*low, *boxes], way), track, way) if boxes else low


def _is_box(stay: Stay, low: Sequence[Stay], track: RunwayTrack, way_m: Floats) -> bool:
    """A whole support, higher than a swinging foot is looked for, while no other foot stands."""
    height = float(np.median(feet_m(track, "toe")[stay.rows, stay.legs, 1]))
    first, last = int(stay.rows[0]), int(stay.rows[-1])
    alone = all(last < s.rows[0] or first > s.rows[-1] for s in low)
    return alone and height > MAX_TOE_HEIGHT_M - LIFT_M and float(way_m[last] - way_m[first]) >= CUT_WAY_M


def _places(track: RunwayTrack, way: Floats, highest_m: float) -> list[Stay]:
    """Places where a toe lower than `highest_m` stays while the hips move on by MIN_SUPPORT_M."""
    toe = feet_m(track, "toe")
    seen: Bools = np.asarray(np.isfinite(toe).all(axis=2))
    share = _row_share_m(way, np.asarray(np.any(seen, axis=1)))
    free = seen & (toe[..., 1] < highest_m)
    found: list[Stay] = []
    while True:
        rows, legs = np.nonzero(free)
        if not len(rows):
            break
        x = toe[rows, legs, 0]
        order = np.argsort(x)
        spent = _time_within(x[order], share[rows][order])
        best = int(spent.argmax())
        if spent[best] < MIN_SUPPORT_M:
            break
        near = np.abs(x - x[order][best]) <= WINDOW_M
        centre = float(np.median(x[near]))
        y = toe[rows, legs, 1]
        near = np.abs(x - centre) <= WINDOW_M
        near &= np.abs(y - np.percentile(y[near], 30)) <= LIFT_M
        stay = _longest_run(rows[near], legs[near], way)
        if len(stay[0]) and way[stay[0][-1]] - way[stay[0][0]] >= MIN_SUPPORT_M * 0.8:
            found.append(_stay(*stay, toe[stay], share))
        free &= ~(np.abs(toe[..., 0] - centre) <= MIN_STEP_M / 2)
    return found


def _stay(rows: Ints, legs: Ints, toe_m: Floats, share_m: Floats) -> Stay:
    """One stay from its toes (n, 2); nearness falls from 1 in the middle to 0 at WINDOW_M and LIFT_M (Epanechnikov's kernel)."""
    middle_m = np.median(toe_m, axis=0)
    off = (toe_m - middle_m) / np.array([WINDOW_M, LIFT_M])
    near = np.clip(1.0 - (off**2).sum(axis=1), 0.0, None)
    return Stay(rows=rows, legs=legs, toe_x_m=float(middle_m[0]), seen_m=float((near * share_m[rows]).sum()))


def _one_foot_at_a_time(stays: list[Stay], way_m: Floats) -> list[Stay]:
    """The set of stays that are seen longest in all and in which every step is possible (longest path over pairs).

    Not that last longest: in blurred pictures a pose model may put the swinging foot here and there near one place, now and
    again for as long as the other one stands.
    """
    stays = sorted(stays, key=lambda s: float(way_m[s.rows[-1]]))
    begins = [float(way_m[s.rows[0]]) for s in stays]
    ends = [float(way_m[s.rows[-1]]) for s in stays]
    best: list[tuple[float, tuple[int, ...]]] = []
    for i, stay in enumerate(stays):
        before = [
            best[j]
            for j in range(i)
            if ends[j] <= begins[i] + OVERLAP_M
            and begins[i] + ends[i] - begins[j] - ends[j] >= 2.0 * MIN_STEP_M
            and stay.toe_x_m - stays[j].toe_x_m >= MIN_STEP_M
        ]
        seen_m, chain = max(before, default=(0.0, ()))
        best.append((seen_m + stay.seen_m, (*chain, i)))
    return [stays[i] for i in max(best, default=(0.0, ()))[1]]


def hip_way_m(track: RunwayTrack) -> Floats:
    """Way of the hips (t,) at the run's median speed (Theil and Sen's slope): the run's own clock."""
    x = feet_m(track, "hip")[..., 0].mean(axis=1)
    seen = np.flatnonzero(np.isfinite(x))
    if len(seen) < 8:
        return np.zeros(len(x))
    some = seen[:: max(len(seen) // 200, 1)]
    speed = max(median_slope(x[some], track.time_s[some]), 1e-3)
    return np.asarray(speed * (track.time_s - track.time_s[0]))


def _row_share_m(way_m: Floats, seen: Bools) -> Floats:
    """How much of the way each row (t,) stands for: those not seen for nothing, a gap for at most two ordinary rows."""
    out = np.zeros(len(way_m))
    if seen.sum() < 2:
        return out
    gaps = np.diff(way_m[seen])
    usual = float(np.median(gaps))
    half = np.minimum(gaps, 2.0 * usual) / 2.0
    out[seen] = np.concatenate([half, [usual / 2]]) + np.concatenate([[usual / 2], half])
    return out


def _time_within(x_m: Floats, share_m: Floats) -> Floats:
    """Way of the hips spent within WINDOW_M of each of the sorted places."""
    total = np.concatenate([[0.0], np.cumsum(share_m)])
    low = np.searchsorted(x_m, x_m - WINDOW_M, side="left")
    high = np.searchsorted(x_m, x_m + WINDOW_M, side="right")
    return np.asarray(total[high] - total[low])


def _longest_run(rows: Ints, legs: Ints, way_m: Floats) -> tuple[Ints, Ints]:
    """The longest stretch of samples without a gap of more than GAP_M (or three rows); one sample a row."""
    keep = np.unique(rows, return_index=True)[1]
    rows, legs = rows[keep], legs[keep]
    if not len(rows):
        return rows, legs
    limit = max(GAP_M, 3.0 * float(np.median(np.diff(way_m))))
    parts = np.split(np.arange(len(rows)), np.flatnonzero(np.diff(way_m[rows]) > limit) + 1)
    best = max(parts, key=lambda p: float(way_m[rows[p[-1]]] - way_m[rows[p[0]]]))
    return rows[best], legs[best]


def _swapped_rows(track: RunwayTrack, stays: list[Stay], order: FeetOrder) -> Bools:
    """In support the foot at the place is the supporting one; in a flight to the other foot the one behind just pushed off.

    In a flight to the same foot the legs pass each other: there they are followed by their motion.
    """
    toe, ankle = feet_m(track, "toe"), feet_m(track, "ankle")
    time = track.time_s
    swap = np.zeros(len(time), dtype=bool)
    begins = np.array([time[s.rows[0]] for s in stays])
    for row, now in enumerate(time):
        i = int(np.searchsorted(begins, now, side="right")) - 1
        if not np.isfinite(toe[row]).all():
            continue
        if i < 0:  # before the first support: the foot that will land is the one in front
            swap[row] = int(ankle[row, :, 0].argmax()) != order.legs[0]
        elif now <= time[stays[i].rows[-1]]:
            gap = np.abs(toe[row, :, 0] - stays[i].toe_x_m) + np.abs(
                toe[row, :, 1] - np.median(toe[stays[i].rows, stays[i].legs, 1])
            )
            swap[row] = int(gap.argmin()) != order.legs[i]
        else:
            swap[row] = int(ankle[row, :, 0].argmin()) != order.legs[i]
    for i, (leg, after) in enumerate(pairwise(order.legs)):
        if leg == after:
            _follow(track, stays[i], stays[i + 1], leg, swap)
    if any(leg == after for leg, after in pairwise(order.legs)):
        _follow(track, stays[-1], None, order.legs[-1], swap)
    return swap


def _follow(track: RunwayTrack, one: Stay, other: Stay | None, leg: int, swap: Bools) -> None:
    """Follow the legs from one support to the next by the same foot, or on from the last, and note where their words are wrong."""
    first = int(one.rows[-1])
    last = int(other.rows[0]) if other is not None else len(track.time_s) - 1
    cost, kept, crossed = followed(track, np.arange(first, last + 1))
    if not np.isfinite(cost).all():
        return
    begins = int(one.legs[-1]) != leg
    changed = bool(cost[1] < cost[0]) if other is None else begins != (int(other.legs[0]) != leg)
    swap[first : last + 1] = (crossed if changed else kept) != begins


def _support(track: RunwayTrack, stay: Stay, leg: int) -> Support:
    """Medians over the samples of one stay."""
    at = (stay.rows, stay.legs)
    toe, heel, ankle = (feet_m(track, part)[at] for part in ("toe", "heel", "ankle"))
    early = slice(0, max(len(stay.rows) // 2, 1))
    return Support(
        foot="right" if leg else "left",
        start_s=_across_gap(track, int(stay.rows[0]), -1),
        end_s=_across_gap(track, int(stay.rows[-1]), 1),
        toe_x_m=float(np.median(toe[:, 0])),
        heel_x_m=float(np.median(heel[early, 0])),
        toe_y_m=float(np.median(toe[early, 1])),
        ankle_x_m=float(np.median(ankle[early, 0])),
        start_seen=_seen_beside(track, int(stay.rows[0]), -1),
        end_seen=_seen_beside(track, int(stay.rows[-1]), 1),
    )


def _across_gap(track: RunwayTrack, row: int, way: int) -> float:
    """When a support that is seen from or until a row begins or ends: where rows beside it are missing, midway across the gap."""
    seen = np.flatnonzero(np.any(np.isfinite(feet_m(track, "toe")).all(axis=2), axis=1))
    beyond = seen[seen > row] if way > 0 else seen[seen < row][::-1]
    if len(seen) < 2 or not len(beyond):
        return float(track.time_s[row])
    usual_s = float(np.median(np.diff(track.time_s[seen])))
    gap_s = abs(float(track.time_s[beyond[0]] - track.time_s[row]))
    missing_s = gap_s - usual_s if gap_s > MISSING * usual_s else 0.0
    return float(track.time_s[row]) + way * min(missing_s / 2.0, MOST_ACROSS_S)


def _seen_beside(track: RunwayTrack, row: int, way: int) -> bool:
    """Both toes are seen in one of the two rows beside a row, or within BESIDE_S of it, in one sense of time."""
    gap_s = way * (track.time_s - track.time_s[row])
    order = row + way * np.array([1, 2])
    near = (gap_s > 0.0) & (gap_s <= BESIDE_S)
    near[order[(order >= 0) & (order < len(near))]] = True
    return bool(np.isfinite(feet_m(track, "toe")[near]).all(axis=(1, 2)).any())
