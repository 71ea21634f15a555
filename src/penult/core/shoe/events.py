"""Touchdown and toe-off: which part of the shoe bears first and last, from when its box comes to rest and changes again."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from penult.core.shoe.arrival import arrival
from penult.core.shoe.edges import Edge
from penult.core.shoe.onset import Onset, change, leaves
from penult.core.shoe.pictures import Box, ShoePictures
from penult.model.arrays import Floats
from penult.model.shoe import RoughContact

TOE_BOX_M = (-0.06, 0.02, -0.005, 0.05)
FOREFOOT_BOX_M = (-0.10, 0.02, -0.005, 0.05)
HEEL_BOX_M = (-0.02, 0.06, -0.005, 0.04)
"""Boxes about toe tip and heel (behind, ahead, below, above) that these fill in support: a shoe is 5 cm high at the toes."""

SEARCH_S = 0.05
"""Instants are looked for this far and a frame beyond the rough ones, which are off by up to half of it and a frame."""

SLAP_S = 0.04
"""Longest time from a heel strike until the forefoot is down (20 to 30 ms in running; common practice, no source)."""

SETTLED_S = 0.010
"""After this the impact is over and what has landed stands (2 to 3 frames at 240 per second)."""

STILL_SHARE = 0.6
"""A heel that has landed changes less than this share of its change in landing, until the forefoot is down."""

TURNING_TOE_OFF_M_PER_S, TURNING_TOUCHDOWN_M_PER_S = 0.5, 0.12
"""Usual speeds of the boxes' content in place: the heel rises at 4 m/s at toe-off, 25 cm from the toe tip, and sinks at
1 m/s after a forefoot strike; the boxes' middle is 3 cm away."""

SINKING_M_PER_S, SLAPPING_M_PER_S = 0.06, 0.4
"""How fast, in the mean, what has landed still moves: half of the speed above, as the heel sinks ever more slowly; and 4 cm from
the heel's lower corner while the forefoot slaps down at 10 rad/s (0.2 rad in half of SLAP_S)."""

SHARE_TOE_OFF, SHARE_TOUCHDOWN = 0.6, 0.4
"""Intervals with this share of the largest rate belong to leaving or arriving: the toe turns in place ever faster before it
leaves, an arriving foot stops at once (0.4 to 0.7 tried on films with known truth; at toe-off 0.4 is worse, at touchdown 0.6)."""


def toe_off(scene: ShoePictures, rough: RoughContact, toe: Edge, height: Edge) -> Onset | None:
    """When the toe leaves its place, looked for from mid-support on; None when it is not seen to."""
    rest = _nearest(scene.time_s, (rough.start_s + rough.end_s) / 2.0)
    until = _nearest(scene.time_s, rough.end_s + SEARCH_S + scene.interval_s) + 1
    box = scene.box(toe.at_m, height.at_m, TOE_BOX_M)
    return leaves(
        Box(pictures=box.pictures[rest:until], empty=box.empty),
        scene.time_s[rest:until],
        pixel_m=scene.pixel_m,
        turning_m_per_s=TURNING_TOE_OFF_M_PER_S,
        share=SHARE_TOE_OFF,
    )


def forefoot_down(scene: ShoePictures, rough: RoughContact, toe: Edge, height: Edge) -> Onset | None:
    """When the forefoot comes to rest, looked for from mid-support back; None when it is not seen to."""
    box = scene.box(toe.at_m, height.at_m, FOREFOOT_BOX_M)
    return _settles(scene, box, rough.start_s - SEARCH_S - scene.interval_s, (rough.start_s + rough.end_s) / 2.0)


def touchdown(scene: ShoePictures, toe_x_m: float, heel_x_m: float, height: Edge, fore: Onset) -> Onset:
    """Return when the shoe first bears: the heel if it lands clearly before the forefoot, which is down at `fore`, or that."""
    front = arrival(scene, FOREFOOT_BOX_M, (toe_x_m, height.at_m), fore, SINKING_M_PER_S)
    rear = _heel_down(scene, heel_x_m, height, fore)
    # the heel is judged before it is sharpened: its wider SD keeps out flat strikes, whose heel only seems to be first
    if rear is None or not front.at_s - SLAP_S <= rear.at_s <= front.at_s - math.hypot(front.sd_s, rear.sd_s):
        return front
    return arrival(scene, HEEL_BOX_M, (heel_x_m, height.at_m), rear, SLAPPING_M_PER_S)


def _heel_down(scene: ShoePictures, heel_x_m: float, height: Edge, fore: Onset) -> Onset | None:
    """When the heel comes to rest, if it then stays so until the forefoot is down; else None."""
    box = scene.box(heel_x_m, height.at_m, HEEL_BOX_M)
    rear = _settles(scene, box, fore.at_s - max(SLAP_S, 3.0 * scene.interval_s), fore.at_s + SETTLED_S + fore.sd_s)
    return rear if rear is not None and _stands(scene, box, rear.at_s, fore.at_s) else None


def _stands(scene: ShoePictures, box: Box, start_s: float, end_s: float) -> bool:
    """Whether the content changes much less between two instants than just before them."""
    rates = change(box.pictures) / np.diff(scene.time_s)
    between = (scene.time_s[:-1] >= start_s) & (scene.time_s[1:] <= end_s + SETTLED_S)
    before = (scene.time_s[1:] > start_s - SLAP_S / 2.0) & (scene.time_s[:-1] < start_s)
    return not between.any() or bool(rates[between].mean() < STILL_SHARE * rates[before].max(initial=0.0))


def _settles(scene: ShoePictures, box: Box, from_s: float, rest_s: float) -> Onset | None:
    """Run backwards in time from support: when does the box's content leave its place?"""
    span = slice(_nearest(scene.time_s, from_s), _nearest(scene.time_s, rest_s) + 1)
    found = leaves(
        Box(pictures=box.pictures[span][::-1], empty=box.empty),
        -scene.time_s[span][::-1],
        pixel_m=scene.pixel_m,
        turning_m_per_s=TURNING_TOUCHDOWN_M_PER_S,
        share=SHARE_TOUCHDOWN,
    )
    return None if found is None else replace(found, at_s=-found.at_s)


def _nearest(time_s: Floats, at_s: float) -> int:
    return int(np.abs(time_s - at_s).argmin())
