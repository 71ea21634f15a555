"""Whether the joints are one and the same body all along: rows of somebody else are refused, a cut is noticed.

The trunk of a runner moves by nearly the same way from frame to frame and never jumps. Frames of another person, for whom
the pose model fell, break that; so does a piece cut out of the clip, after which the athlete is elsewhere for good.
"""

from __future__ import annotations

import dataclasses

import numpy as np

from penult.core.joints.supports import feet_m
from penult.core.numeric.slopes import median_slope
from penult.errors import NotMeasurableError
from penult.model.arrays import Bools, Floats
from penult.model.track import PixelTrack, RunwayTrack

OFF_M = 0.08
"""The trunk's middle in two frames in a row may disagree by this much beyond its way: four times the noise of the mean of
four joints (2 cm, measured on films with known truth)."""

SPEED_SPREAD = 0.35
"""... and by this share of its way: a run-up from slow to fast, or the plant of a take-off."""

RISE_M_PER_S = 4.5
"""The fastest that a trunk moves up or down (take-offs reach 4 m/s, published)."""

LONGEST_GAP_S = 0.5
"""Hidden for longer than this, somebody else may have come out."""

ISLAND_S = 0.04
"""A shorter stretch of right-looking rows between refused ones is somebody else passing the athlete's place."""

CUT_M = 0.25
"""A jump by more than this that lasts is a cut: the trunk's way strays by 3 cm at most from a line over CUT_SPAN_S."""

CUT_SPAN_S = 0.08


def one_body(track: RunwayTrack) -> Bools:
    """Return the rows (t,) that show one and the same moving body; the longest such chain.

    Parameters
    ----------
    track : RunwayTrack
        Joints under the pose model's labels.

    Returns
    -------
    (t,) bool
        False also where there is no trunk. All True rows are within reach of each other.
    """
    trunk = trunk_m(track)
    seen = np.flatnonzero(np.isfinite(trunk).all(axis=1))
    good = np.zeros(len(trunk), dtype=bool)
    if len(seen) < 8:
        good[seen] = True
        return good
    time, place = track.time_s[seen], trunk[seen]
    chain = seen[_longest_chain(time, place, _speed_m_per_s(time, place))]
    good[chain] = True
    there: Bools = np.asarray(np.isfinite(trunk).all(axis=1))
    return _without_islands(good, there, track.time_s)


def without(track: PixelTrack, refused: Bools) -> PixelTrack:
    """Return the track with the joints of some rows taken out."""
    return dataclasses.replace(track, xy_px=np.where(refused[:, None, None], np.nan, track.xy_px))


def trunk_m(track: RunwayTrack) -> Floats:
    """Return the middle of hips and shoulders (t, 2)."""
    return np.asarray((feet_m(track, "hip").mean(axis=1) + feet_m(track, "shoulder").mean(axis=1)) / 2.0)


def refuse_cut(track: RunwayTrack) -> None:
    """Refuse a clip in which the athlete jumps ahead for good (a jump back is somebody who follows, see `one_body`).

    Raises
    ------
    NotMeasurableError
        With the time and the size of the jump.
    """
    trunk = trunk_m(track)
    seen = np.flatnonzero(np.isfinite(trunk).all(axis=1))
    time, x = track.time_s[seen], trunk[seen, 0]
    for i in range(3, len(seen) - 3):
        before = (time >= time[i - 1] - CUT_SPAN_S) & (time <= time[i - 1])
        after = (time >= time[i]) & (time <= time[i] + CUT_SPAN_S)
        if min(before.sum(), after.sum()) < 3 or time[i] - time[i - 1] > CUT_SPAN_S:
            continue
        middle = (time[i] + time[i - 1]) / 2.0
        ends, slopes, noise = [], [], 0.0
        for rows in (before, after):
            slope, level = np.polyfit(time[rows] - middle, x[rows], 1)
            noise = max(noise, float(np.std(x[rows] - level - slope * (time[rows] - middle))))
            ends.append(level)
            slopes.append(slope)
        jump = float(ends[1] - ends[0])
        alike = abs(slopes[1] - slopes[0]) < 0.5 * max(abs(slopes[0]), abs(slopes[1]))
        if jump > CUT_M and noise < CUT_M / 6.0 and alike and slopes[0] > 0.0:
            raise NotMeasurableError(
                "the clip has a cut in the run",
                f"the athlete jumps ahead by {jump:.1f} m between two frames at {time[i]:.2f} s",
                next_step="use the clip as it came from the camera, or cut the whole run out of it in one piece",
            )


def _speed_m_per_s(time_s: Floats, place_m: Floats) -> float:
    some = slice(None, None, max(len(time_s) // 200, 1))
    return max(median_slope(place_m[some, 0], time_s[some]), 0.1)


def _longest_chain(time_s: Floats, place_m: Floats, speed: float) -> list[int]:
    """Return the longest chain of rows of which each is within reach of the one before it (dynamic programming)."""
    length = np.ones(len(time_s))
    back = np.full(len(time_s), -1)
    for i in range(1, len(time_s)):
        first = int(np.searchsorted(time_s, time_s[i] - LONGEST_GAP_S))
        dt = time_s[i] - time_s[first:i]
        apart = place_m[i] - place_m[first:i]
        fits = np.abs(apart[:, 0] - speed * dt) <= OFF_M + SPEED_SPREAD * speed * dt
        fits &= np.abs(apart[:, 1]) <= OFF_M + RISE_M_PER_S * dt
        if fits.any():
            # of chains as long, the one with the nearest row
            score = np.where(fits, length[first:i], 0.0)
            best = len(score) - 1 - int(score[::-1].argmax())
            length[i], back[i] = score[best] + 1.0, first + best
    chain = [int(length.argmax())]
    while back[chain[-1]] >= 0:
        chain.append(int(back[chain[-1]]))
    return chain[::-1]


def _without_islands(good: Bools, seen: Bools, time_s: Floats) -> Bools:
    """Take out short stretches between refused rows: the other body passes through the athlete's place there."""
    out = good.copy()
    state = good[seen]
    rows = np.flatnonzero(seen)
    edges = np.flatnonzero(np.diff(state.astype(int))) + 1
    parts = np.split(np.arange(len(rows)), edges)
    for k, part in enumerate(parts):
        inner = 0 < k < len(parts) - 1
        if inner and state[part[0]] and time_s[rows[part[-1]]] - time_s[rows[part[0]]] < ISLAND_S:
            out[rows[part]] = False
    return out
