"""How far each sample of a joint is to be trusted, and gaps filled for drawing. Nothing is smoothed here:
every measure fits its own stretch of the raw samples, so that no filter ever runs through a touchdown."""

from __future__ import annotations

import dataclasses
from itertools import pairwise

import numpy as np
from scipy.ndimage import median_filter

from penult.core.joints.confusion import confused
from penult.core.numeric.slopes import local_quadratics
from penult.model.arrays import Bools, Floats
from penult.model.skeleton import INDEX, joint
from penult.model.track import RunwayTrack

SEGMENTS = (
    ("hip", "knee"),
    ("knee", "ankle"),
    ("ankle", "heel"),
    ("heel", "toe"),
    ("shoulder", "elbow"),
    ("elbow", "wrist"),
)

LENGTH_SPREAD = 0.35
"""A segment this far from its median length over the clip is not trusted: limbs keep their length and move in planes nearly
parallel to the run; three times the usual length noise of the pose model (about 2 cm at either end of 0.25 to 0.45 m)."""

LENGTH_LEAST_M = 0.085
"""Short segments (ankle to heel, 7 to 10 cm) may differ by this much: three times that noise of either end together."""

LEAST_SHARE = 0.5
"""A row with fewer of its joints to be trusted shows another body or none: all of it is refused."""

JUMP_M = 0.10
"""A sample this far from the median of its neighbours in time is an outlier: five times the white noise of the foot joints,
the noisiest (1.6 to 2.2 cm)."""

GAP_S = 0.05
"""Gaps up to this long are filled in for drawing and marked; a limb turns by less than a right angle in it."""


def trust(track: RunwayTrack) -> Floats:
    """Weights (t, k), 1 for a sample to be used and 0 for one that is missing or refused."""
    good = np.isfinite(track.xy_m).all(axis=2)
    good &= ~_jumps(track)
    for side in ("left", "right"):
        for near, far in SEGMENTS:
            a, b = joint(side, near), joint(side, far)
            length = np.linalg.norm(track.xy_m[:, a] - track.xy_m[:, b], axis=1)
            usual = np.nanmedian(length) if np.isfinite(length).any() else np.nan
            spread = (
                LENGTH_SPREAD if (near, far) != ("elbow", "wrist") and far != "elbow" else 1.0
            )  # arms leave the plane
            good[:, b] &= ~(np.abs(length - usual) > max(spread * usual, LENGTH_LEAST_M))
    good[good.sum(axis=1) < LEAST_SHARE * good.shape[1]] = False
    good &= ~confused(track)
    return good.astype(float)


def _jumps(track: RunwayTrack) -> Bools:
    """Samples far from the running median of five, relative to the hips (which never jump)."""
    out = np.zeros(track.xy_m.shape[:2], dtype=bool)
    rows = np.flatnonzero(np.isfinite(track.xy_m).any(axis=(1, 2)))  # the pose model may not have looked at all of them
    if len(rows) < 2:
        return out
    xy_m, time_s = track.xy_m[rows], track.time_s[rows]
    hips = (xy_m[:, INDEX["left_hip"]] + xy_m[:, INDEX["right_hip"]]) / 2.0
    relative = xy_m - hips[:, None]
    filled = np.where(np.isfinite(relative), relative, 0.0)
    centre = median_filter(filled, size=(5, 1, 1), mode="nearest")
    step_s = np.diff(time_s)
    usual = np.maximum(np.median(step_s), np.minimum(np.r_[step_s[0], step_s], np.r_[step_s, step_s[-1]]))
    swing_m = 12.0 * 2.0 * usual  # a swing foot moves up to 12 m/s against the hips; two frames to the median's edge
    out[rows] = np.linalg.norm(filled - centre, axis=2) > JUMP_M + swing_m[:, None]
    return out


def fill_gaps(track: RunwayTrack, weight: Floats) -> RunwayTrack:
    """Put straight lines into gaps and over refused samples, up to GAP_S long, and mark them as filled."""
    xy, filled = np.array(track.xy_m), np.array(track.filled)
    for k in range(xy.shape[1]):
        good = np.flatnonzero(weight[:, k] > 0)
        if len(good) < 2:
            continue
        for a, b in pairwise(good.tolist()):
            if b > a + 1 and track.time_s[b] - track.time_s[a] <= GAP_S:
                inner = slice(a + 1, b)
                for d in (0, 1):
                    xy[inner, k, d] = np.interp(track.time_s[inner], track.time_s[[a, b]], xy[[a, b], k, d])
                filled[inner, k] = True
    return dataclasses.replace(track, xy_m=xy, filled=filled)


DRAWN_S = 0.05
"""Span of the quadratic that smooths a path for drawing (never for measuring)."""


def smooth_path(path_m: Floats, time_s: Floats) -> Floats:
    """Smooth a path (t, 2) for drawing, by local quadratics (Savitzky and Golay) over about DRAWN_S; gaps stay gaps."""
    usual = float(np.median(np.diff(time_s)))
    span = max(int(DRAWN_S / usual) | 1, 3)
    if span < 5 or len(path_m) < span:
        return path_m
    seen: Bools = np.asarray(np.isfinite(path_m).all(axis=1))
    if seen.sum() < span:
        return path_m
    rows = np.arange(len(path_m))
    whole = np.stack([np.interp(rows, rows[seen], path_m[seen, d]) for d in (0, 1)], axis=1)
    return np.where(seen[:, None], local_quadratics(whole, span), np.nan)
