"""Which arm is left and which is right, decided along time; and exchanging the labels of a pair of limbs.

Legs get their labels from the supports (`contacts`); arms only have their own motion to go by.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence

import numpy as np

from penult.model.arrays import Bools, Floats
from penult.model.skeleton import joint
from penult.model.track import PixelTrack

LEG = ("hip", "knee", "ankle", "heel", "toe")
ARM = ("elbow", "wrist")
VOTE_WEIGHT = 0.02
"""Cost of going against the model's own label in a frame, in squared arm lengths per joint: about a seventh of the length,
squared, so that motion decides wherever the arms are apart and the vote only where they are not (common practice)."""


def exchange(track: PixelTrack, rows: Bools, parts: Sequence[str]) -> PixelTrack:
    """Exchange left and right of the named parts in the rows (t,) marked True."""
    xy, score = np.array(track.xy_px), np.array(track.score)
    left = np.array([joint("left", part) for part in parts])
    right = np.array([joint("right", part) for part in parts])
    for array in (xy, score):
        array[np.ix_(rows, left)], array[np.ix_(rows, right)] = array[np.ix_(rows, right)], array[np.ix_(rows, left)]
    return dataclasses.replace(track, xy_px=xy, score=score)


def settle_arms(track: PixelTrack) -> PixelTrack:
    """Put the arms' labels right along time; rows without a body are NaN and stay so."""
    left = track.xy_px[:, [joint("left", part) for part in ARM]]
    right = track.xy_px[:, [joint("right", part) for part in ARM]]
    shoulder = (track.xy_px[:, joint("left", "shoulder")] + track.xy_px[:, joint("right", "shoulder")]) / 2.0
    length_px = float(np.nanmedian(np.linalg.norm(left[:, 0] - left[:, 1], axis=1))) * 2.0
    return exchange(
        track, _cheapest_labels(track.time_s, left - shoulder[:, None], right - shoulder[:, None], length_px), ARM
    )


def _cheapest_labels(time_s: Floats, a: Floats, b: Floats, length_px: float) -> Bools:
    """Shortest path over (label before, label now); the cost of a row is its misfit to straight-line motion."""
    seen = np.flatnonzero(np.isfinite(a).all(axis=(1, 2)) & np.isfinite(b).all(axis=(1, 2)))
    swap = np.zeros(len(time_s), dtype=bool)
    if len(seen) < 3:
        return swap
    pair = np.stack([np.stack([a, b], axis=1), np.stack([b, a], axis=1)], axis=1)[seen] / length_px
    t = time_s[seen]
    ratio = np.minimum(np.diff(t)[1:] / np.diff(t)[:-1], 2.0)[:, None, None, None, None, None]
    before, now, after = pair[:-2, :, None], pair[1:-1, None, :], pair[2:]
    ahead = now + ratio * (now - before)  # (n - 2, label before, label now, side, joint, 2)
    gap = after[:, None, None] - ahead[:, :, :, None]
    step = np.minimum((gap**2).sum(axis=-1), 0.25).sum(axis=(-1, -2))  # capped at half a length: no wild joint decides
    vote = np.array([0.0, VOTE_WEIGHT * a.shape[1]])
    cost = vote[:, None] + vote[None, :]
    back = np.zeros((len(step), 2, 2), dtype=int)
    for i, change in enumerate(step):
        total = cost[:, :, None] + change
        back[i] = total.argmin(axis=0)
        cost = total.min(axis=0) + vote[None, :]
    labels = np.zeros(len(seen), dtype=int)
    labels[-2], labels[-1] = np.unravel_index(int(cost.argmin()), (2, 2))
    for i in range(len(step) - 1, -1, -1):
        labels[i] = back[i, labels[i + 1], labels[i + 2]]
    swap[seen] = labels == 1
    return swap
