"""Rows in which the pose model confuses the legs: nothing is to be taken from them below the hips.

Where one leg passes the other, the model at times puts both feet to one leg for a frame or two, or half a foot here and half
there; in blurred and dim pictures for longer. Both are told without knowing which leg is which.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Sequence

import numpy as np

from penult.core.joints.supports import WINDOW_M, Support, feet_m
from penult.model.analysis import Foot
from penult.model.arrays import Bools
from penult.model.skeleton import joint
from penult.model.track import RunwayTrack

TOGETHER = 0.4
"""Ankles nearer to each other than this share of a shank, 16 cm in an adult, are one ankle seen twice. In the runs of twelve
films with known truth they pass at 26 cm and more; joints that are right show 28 cm and more, confused ones 0 to 20."""

FOOT_SPREAD = 0.35
"""From ankle to toe a foot keeps its length but for this share of it: twice the noise of both ends (3 cm over 20), and more than
it is shortened by when the toes bend. Of feet in clear pictures it refuses 1 in 100 (films with known truth)."""

STRAY_M = 1.5 * WINDOW_M
"""A standing toe seen farther from its place than this, 13 cm, belongs to a leg put somewhere between both (on a blurred film
with known truth 20 cm, its ankle 18, the knee bent by 25 deg too much)."""

LEG = ("knee", "ankle", "heel", "toe")
FOOT = ("ankle", "heel", "toe")

_LEFT: Foot = "left"
_RIGHT: Foot = "right"


def confused(track: RunwayTrack) -> Bools:
    """Return which joints (t, k) are of legs seen as one: all below the hips of some rows."""
    ankle, knee = feet_m(track, "ankle"), feet_m(track, "knee")
    shank = np.linalg.norm(knee - ankle, axis=-1)
    if not np.isfinite(shank).any():
        return np.zeros(track.xy_m.shape[:2], dtype=bool)
    with np.errstate(invalid="ignore"):
        together = np.linalg.norm(ankle[:, 0] - ankle[:, 1], axis=-1) < TOGETHER * np.nanmedian(shank)
    return _marked(track, together, _LEFT, LEG) | _marked(track, together, _RIGHT, LEG)


def misshapen(track: RunwayTrack) -> Bools:
    """Return which joints (t, k) are of feet that are no feet: much longer or shorter than they mostly are."""
    foot = np.linalg.norm(feet_m(track, "toe") - feet_m(track, "ankle"), axis=-1)
    if not np.isfinite(foot).any():
        return np.zeros(track.xy_m.shape[:2], dtype=bool)
    with np.errstate(invalid="ignore"):
        wrong = np.abs(foot / np.nanmedian(foot) - 1.0) > FOOT_SPREAD
    return _marked(track, wrong[:, 0], _LEFT, FOOT) | _marked(track, wrong[:, 1], _RIGHT, FOOT)


def straying(track: RunwayTrack, supports: Sequence[Support]) -> Bools:
    """Return which joints (t, k) are of a standing leg whose toe is seen away from where it stands."""
    out = np.zeros(track.xy_m.shape[:2], dtype=bool)
    for support in supports:
        during = (track.time_s >= support.start_s) & (track.time_s <= support.end_s)
        off_m = np.abs(track.xy_m[:, joint(support.foot, "toe"), 0] - support.toe_x_m)
        out |= _marked(track, during & (off_m > STRAY_M), support.foot, LEG)
    return out


def without_joints(track: RunwayTrack, refused: Bools) -> RunwayTrack:
    """Return the track without some of its samples (t, k)."""
    return dataclasses.replace(track, xy_m=np.where(refused[..., None], np.nan, track.xy_m))


def _marked(track: RunwayTrack, rows: Bools, side: Foot, parts: Sequence[str]) -> Bools:
    """Joints (t, k) of one side in some rows."""
    out = np.zeros(track.xy_m.shape[:2], dtype=bool)
    for part in parts:
        out[rows, joint(side, part)] = True
    return out
