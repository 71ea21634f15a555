"""Joints that a person put elsewhere: the frame itself follows the hand, its neighbours follow smoothly.

Legs exchanged by hand are kept here too, because a joint dragged before an exchange has the other name after it.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass, field

import numpy as np

from penult.core.joints.sides import LEG, exchange
from penult.model.arrays import Bools, Floats, Ints
from penult.model.corrections import JointDragged, LegsSwapped
from penult.model.skeleton import INDEX, JOINTS
from penult.model.track import PixelTrack

REACH_S = 0.060
"""How far in time a drag reaches: a leg keeps its shape to the pose model for about a third of a step (draws.DRIFT_TIME_S),
so that where it is misread in one frame it is misread alike for some 60 ms. The fits around an instant span 25 ms to
either side: 99 % of a drag comes through them, with half this reach 92 % would (closed form, quadratic at 240 Hz)."""

SURE = 0.5
"""A sample that rests on the hand by more than this share is trusted whatever it looks like."""


@dataclass(slots=True)
class HandTrack:
    """Exchanges and drags as they come, in the order of the corrections; `on` puts them on the settled track."""

    frames: tuple[int, ...]
    swap: Bools = field(init=False)
    drags: dict[tuple[int, str], tuple[float, float]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.swap = np.zeros(len(self.frames), dtype=bool)

    def exchange(self, first_frame: float, last_frame: float) -> bool:
        """Exchange the legs from one frame to another; False when no row lies there."""
        frame = np.array(self.frames)
        rows = (frame >= first_frame) & (frame <= last_frame)
        self.swap ^= rows
        self.drags = {
            (at, _other(joint) if first_frame <= at <= last_frame else joint): place
            for (at, joint), place in self.drags.items()
        }
        return bool(rows.any())

    def take(self, correction: JointDragged | LegsSwapped) -> bool:
        """Take one correction; a later drag of the same joint and frame replaces it. False when no row is meant."""
        if isinstance(correction, LegsSwapped):
            return self.exchange(correction.first_frame, correction.last_frame)
        if correction.frame not in self.frames or correction.joint not in INDEX:
            return False
        self.drags[correction.frame, correction.joint] = correction.to_px
        return True

    def on(self, track: PixelTrack) -> tuple[PixelTrack, Floats | None]:
        """Return the corrected track and how far each sample (t, k) rests on the hand, None where nothing was dragged."""
        track = exchange(track, self.swap, LEG) if self.swap.any() else track
        if not self.drags:
            return track, None
        xy, hand = np.array(track.xy_px), np.zeros(track.xy_px.shape[:2])
        row_of = {frame: row for row, frame in enumerate(self.frames)}
        for k, name in enumerate(JOINTS):
            placed = {row_of[at]: place for (at, joint), place in self.drags.items() if joint == name}
            if placed:
                hand[:, k] = _follow(xy[:, k], track.time_s, placed)
        return dataclasses.replace(track, xy_px=xy, filled=track.filled & (hand < SURE)), hand


def _other(joint: str) -> str:
    """The same joint of the other leg; joints of arms and trunk keep their names."""
    side, _, part = joint.partition("_")
    if part not in LEG:
        return joint
    return f"{'right' if side == 'left' else 'left'}_{part}"


def _follow(xy_px: Floats, time_s: Floats, placed: dict[int, tuple[float, float]]) -> Floats:
    """Move one joint (t, 2) in place so that it passes through the places; returns how far each row rests on them (t,)."""
    rows = np.array(sorted(placed))
    want = np.array([placed[row] for row in rows.tolist()])
    had = _where_it_was(xy_px, time_s, rows, want)
    share = _shares(time_s, time_s[rows])
    xy_px += share @ (want - had)
    xy_px[rows] = want
    return np.asarray(share.sum(axis=1))


def _where_it_was(xy_px: Floats, time_s: Floats, rows: Ints, want: Floats) -> Floats:
    """Return a joint's place (n, 2) in the rows; in a frame not looked at, the straight line between its neighbours."""
    seen = np.isfinite(xy_px).all(axis=1)
    if not seen.any():
        return want
    return np.stack([np.interp(time_s[rows], time_s[seen], xy_px[seen, axis]) for axis in (0, 1)], axis=1)


def _shares(time_s: Floats, at_s: Floats) -> Floats:
    """How far each time follows each place (t, n): raised cosines that meet where neighbours are closer than their reach."""
    gap_before = np.diff(at_s, prepend=-np.inf)
    gap_after = np.diff(at_s, append=np.inf)
    reach = np.where(time_s[:, None] < at_s[None, :], np.minimum(gap_before, REACH_S), np.minimum(gap_after, REACH_S))
    away = np.minimum(np.abs(time_s[:, None] - at_s[None, :]) / reach, 1.0)
    return np.asarray((1.0 + np.cos(np.pi * away)) / 2.0)
