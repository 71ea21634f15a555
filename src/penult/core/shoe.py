"""One contact from its patches: when the shoe bears, where its toe and heel are, how high the surface is."""

from __future__ import annotations

import math

import numpy as np

from penult.core.shoe_edges import Edge, heel_edge, surface, toe_tip
from penult.core.shoe_onset import Onset, leaves
from penult.core.shoe_scene import Pixels, Scene, look
from penult.model.arrays import Floats
from penult.model.shoe import RoughContact, ShoeContact, ShoePatches

TOE_BOX_M = (-0.06, 0.02, -0.005, 0.05)
"""Box about the toe tip that the toe fills in support and leaves at toe-off: from behind to ahead, from below to above."""

FOREFOOT_BOX_M = (-0.10, 0.02, -0.005, 0.05)
HEEL_BOX_M = (-0.02, 0.08, -0.005, 0.06)

SEARCH_S = 0.05
"""Instants are looked for this far from the rough ones (off by up to 25 ms, and a heel strike settles its toe 25 ms later)."""

TURNING_TOE_OFF_PER_S = 25.0
TURNING_TOUCHDOWN_PER_S = 8.0
"""Usual rates of change of the boxes in place, see `shoe_onset.TURNING_PER_S`: the heel rises at 4 m/s at toe-off and sinks at
1 m/s after a forefoot strike."""

DEPTH_SD_M = 0.03
"""How well the depth of a foot is known, one SD, as in `locate`."""


def refine(patches: ShoePatches, rough: RoughContact, background: Pixels | None = None) -> ShoeContact:
    """Find touchdown, toe-off, edges and surface of one contact from its pictures.

    Parameters
    ----------
    patches : ShoePatches
        From about 90 ms before to 90 ms after the rough contact.
    rough : RoughContact
        As the joints show it.
    background : (h, w, 3) array, optional
        The place without the shoe; else the median of the pictures farther than AWAY_S from the contact.

    Returns
    -------
    ShoeContact
        With a reason instead of times where the pictures do not support them.
    """
    scene = look(patches, rough, background)
    if scene is None:
        return _nothing(rough, "too few pictures of the place with and without the shoe")
    height = surface(scene, rough, patches.slope_y)
    toe = toe_tip(scene, rough, height.at_m, patches.slope_x)
    away = toe_off(scene, rough, toe, height)
    down = touchdown(scene, rough, toe, height)
    if away is None or down is None:
        return _nothing(rough, "the shoe does not stand out from the ground")
    early = np.median(scene.pictures[scene.during(down.at_s + 0.010, down.at_s + 0.045)], axis=0)
    heel = heel_edge(scene, early, rough, height.at_m, patches.slope_x)
    return ShoeContact(
        touchdown_s=down.at_s,
        touchdown_sd_s=down.sd_s,
        toe_off_s=away.at_s,
        toe_off_sd_s=away.sd_s,
        toe_x_m=toe.at_m,
        toe_x_sd_m=float(np.hypot(toe.sd_m, DEPTH_SD_M * patches.slope_x)),
        heel_x_m=heel.at_m if heel.seen else None,
        support_height_m=height.at_m,
        support_height_sd_m=float(np.hypot(height.sd_m, DEPTH_SD_M * patches.slope_y)) if height.at_m else 0.0,
        foot_angle_touchdown_deg=math.nan,
        foot_angle_touchdown_sd_deg=math.nan,
        quality=1.0,
        toe_seen=toe.seen,
        reason="",
    )


def _box(scene: Scene, x_m: float, height_m: float, box_m: tuple[float, float, float, float]) -> Pixels:
    rows = scene.rows(height_m + box_m[2], height_m + box_m[3])
    return scene.pictures[:, rows, scene.columns(x_m + box_m[0], x_m + box_m[1])]


def toe_off(scene: Scene, rough: RoughContact, toe: Edge, height: Edge) -> Onset | None:
    """When the toe leaves its place, looked for from mid-support on."""
    box = _box(scene, toe.at_m, height.at_m, TOE_BOX_M)
    rest = _nearest(scene.time_s, (rough.start_s + rough.end_s) / 2.0)
    until = _nearest(scene.time_s, rough.end_s + SEARCH_S) + 1
    return leaves(box[:until], scene.time_s[:until], rest, TURNING_TOE_OFF_PER_S)


def touchdown(scene: Scene, rough: RoughContact, toe: Edge, height: Edge) -> Onset | None:
    """The first of forefoot and heel to come to rest."""
    middle = (rough.start_s + rough.end_s) / 2.0
    fore = _settles(scene, _box(scene, toe.at_m, height.at_m, FOREFOOT_BOX_M), rough, middle)
    if fore is None:
        return None
    rear = _settles(scene, _box(scene, rough.heel_x_m, height.at_m, HEEL_BOX_M), rough, fore.at_s + 0.010)
    if rear is not None and rear.at_s < fore.at_s - math.hypot(fore.sd_s, rear.sd_s):
        return rear
    return fore


def _settles(scene: Scene, box: Pixels, rough: RoughContact, rest_s: float) -> Onset | None:
    """Run backwards in time from support: when does the box's content leave its place?"""
    start = _nearest(scene.time_s, rough.start_s - SEARCH_S)
    back = -scene.time_s[start:][::-1]
    found = leaves(box[start:][::-1], back, _nearest(back, -rest_s), TURNING_TOUCHDOWN_PER_S)
    return None if found is None else Onset(at_s=-found.at_s, sd_s=found.sd_s, contrast=found.contrast)


def _nearest(time_s: Floats, at_s: float) -> int:
    return int(np.abs(time_s - at_s).argmin())


def _nothing(rough: RoughContact, reason: str) -> ShoeContact:
    nan = math.nan
    return ShoeContact(
        touchdown_s=nan,
        touchdown_sd_s=nan,
        toe_off_s=nan,
        toe_off_sd_s=nan,
        toe_x_m=rough.toe_x_m,
        toe_x_sd_m=nan,
        heel_x_m=None,
        support_height_m=rough.y_m,
        support_height_sd_m=nan,
        foot_angle_touchdown_deg=nan,
        foot_angle_touchdown_sd_deg=nan,
        quality=0.0,
        toe_seen=False,
        reason=reason,
    )
