"""Which leg is left and which is right, decided along time.

A pose model's left and right are a vote, frame by frame; legs cannot jump. Nothing but labels changes here.
"""

from __future__ import annotations

import dataclasses

import numpy as np

from penult.model.arrays import Bools, Floats
from penult.model.skeleton import joint
from penult.model.track import PixelTrack

LEG = ("hip", "knee", "ankle", "heel", "toe")
ARM = ("elbow", "wrist")
SWITCH_WEIGHT = 0.02
"""Cost of going against the model's own label in a frame, in squared leg lengths per joint: about a seventh of a leg
length, squared, so that motion decides wherever the legs are apart and the vote only where they are not (common practice)."""


def settle_sides(track: PixelTrack) -> tuple[PixelTrack, Bools]:
    """Put left and right along time for legs, then arms.

    Parameters
    ----------
    track : PixelTrack
        As the pose model labelled it; rows without a body are NaN.

    Returns
    -------
    track : PixelTrack
        The same samples under settled labels.
    swapped : (t,) bool
        Rows whose leg labels changed.
    """
    xy, score = np.array(track.xy_px), np.array(track.score)
    length_px = leg_length_px(xy)
    swapped = np.zeros(len(xy), dtype=bool)
    for names in (LEG, ARM):
        left = np.array([joint("left", n) for n in names])
        right = np.array([joint("right", n) for n in names])
        moving = 1 if names is LEG else 0  # the hips hardly differ from the side and would only add noise
        swap = _cheapest_labels(track.time_s, xy[:, left[moving:]], xy[:, right[moving:]], length_px)
        for array in (xy, score):
            array[np.ix_(swap, left)], array[np.ix_(swap, right)] = (
                array[np.ix_(swap, right)],
                array[np.ix_(swap, left)].copy(),
            )
        if names is LEG:
            swapped = swap
    return dataclasses.replace(track, xy_px=xy, score=score), swapped


def leg_length_px(xy_px: Floats) -> float:
    """Median hip-knee-ankle length in pixels; `xy_px` is (t, k, 2)."""
    lengths = [
        np.linalg.norm(xy_px[:, joint(s, "hip")] - xy_px[:, joint(s, "knee")], axis=1)
        + np.linalg.norm(xy_px[:, joint(s, "knee")] - xy_px[:, joint(s, "ankle")], axis=1)
        for s in ("left", "right")
    ]
    return float(np.nanmedian(lengths))


def _cheapest_labels(time_s: Floats, a: Floats, b: Floats, length_px: float) -> Bools:
    """Shortest path over (label before, label now); the cost of a row is its misfit to straight-line motion."""
    seen = np.flatnonzero(np.isfinite(a).all(axis=(1, 2)) & np.isfinite(b).all(axis=(1, 2)))
    swap = np.zeros(len(time_s), dtype=bool)
    if len(seen) < 3:
        return swap
    pair = np.stack([np.stack([a, b], axis=1), np.stack([b, a], axis=1)], axis=1)[seen] / length_px  # (n, 2, side, j, 2)
    t = time_s[seen]
    vote = np.array([0.0, SWITCH_WEIGHT * a.shape[1]])
    cost = vote[:, None] + vote[None, :]  # (before, now)
    back = np.zeros((len(seen), 2, 2), dtype=int)
    for i in range(2, len(seen)):
        ratio = min((t[i] - t[i - 1]) / (t[i - 1] - t[i - 2]), 2.0)
        step = np.empty((2, 2, 2))
        for p in range(2):
            for q in range(2):
                ahead = pair[i - 1, q] + ratio * (pair[i - 1, q] - pair[i - 2, p])
                for r in range(2):
                    step[p, q, r] = _misfit(pair[i, r] - ahead)
        total = cost[:, :, None] + step
        back[i] = total.argmin(axis=0)
        cost = total.min(axis=0) + vote[None, :]
    q, r = np.unravel_index(int(cost.argmin()), (2, 2))
    labels = np.zeros(len(seen), dtype=int)
    labels[-1], labels[-2] = r, q
    for i in range(len(seen) - 1, 1, -1):
        labels[i - 2] = back[i, labels[i - 1], labels[i]]
    swap[seen] = labels == 1
    return swap


def _misfit(gap: Floats) -> float:
    """Sum of squared gaps, each capped at half a leg length: one wild joint must not decide."""
    return float(np.minimum((gap**2).sum(axis=-1), 0.25).sum())
