"""One contact from its patches: when the shoe bears, where its toe and heel are, how high the surface is.

The order of the parts only; the method is told in `pictures`, `edges`, `events`, `onset`, `arrival` and `sole_angle`, and, for what
trained networks see, in `bearing` and `fused`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from penult.core.shoe.bearing import AROUND_S, Bearing, bearing
from penult.core.shoe.edges import FOREFOOT_M, Edge, heel_edge, surface, toe_tip
from penult.core.shoe.events import forefoot_down, toe_off, touchdown
from penult.core.shoe.fused import DEPTH_SD_M, together
from penult.core.shoe.network import Network
from penult.core.shoe.onset import Onset
from penult.core.shoe.pictures import Pixels, look
from penult.core.shoe.sole_angle import sole_angle
from penult.model.shoe import RoughContact, ShoeContact, ShoePatches

EARLY_S = (0.005, 0.030)
"""Time after the forefoot is down in which the heel is down too: after the impact, before it rises half way through the
shortest contacts (0.08 s)."""

LOW_S = (0.025, 0.045)
"""Time after a rough touchdown (off by up to 25 ms) in which the heel is low."""

SAME_LENGTH_M = 0.02
"""Toe and heel edges whose distance departs by more than this from the other contacts' are not both right."""

LENGTH_SD_M = 0.008
"""How well a toe is known from the heel edge and the length of the same shoes elsewhere in the clip, one SD."""

FAR_M, FAR_S, OFF_S = 0.05, 0.045, 0.025
"""No toe is farther than this from where the joints show it, and no instant: they are off by up to 4 cm and 25 ms, and a
frame more at low rates. Two looks that know nothing of each other and agree overrule the joints."""

SHORTEST_S = 0.05
"""Shorter contacts do not occur in running (published sprint contacts are 0.08 s and longer)."""

NOT_SEEN = "the shoe does not stand out clearly enough from the ground"

CONTRADICTED = "the joints and the pictures of the shoe tell instants far apart"

LEAST_CONTRAST = 5.0
"""Contrast (see `Onset`) at which the quality is one half."""


def refine_all(
    patches: Sequence[ShoePatches], roughs: Sequence[RoughContact], networks: Sequence[Network] = ()
) -> tuple[ShoeContact, ...]:
    """Refine every contact, then look again where toe and heel are not a shoe's length apart.

    A shoe may have the colour of what lies under its toe (white on a white board); its heel and its length, known from the
    other contacts, then say where the toe is.

    Parameters
    ----------
    patches, roughs : sequences of the same length
        One for every contact of one athlete.
    networks : sequence of Network
        Trained to tell when a shoe bears; without them edges and stillness must do.
    """
    found = [_refine(p, r, None) for p, r in zip(patches, roughs, strict=True)]
    for i, again in enumerate(_second_looks(found, roughs)):
        if again is not None:
            found[i] = _refine(patches[i], again, None)
    if not networks:
        return tuple(_plausible(c, r, p) for c, r, p in zip(found, roughs, patches, strict=True))
    heights = [0.0 if c.reason or math.isnan(c.support_height_m) else c.support_height_m for c in found]
    seen = [bearing(networks, p, r, h) for p, r, h in zip(patches, roughs, heights, strict=True)]
    both = [together(c, b, p, r) for c, b, p, r in zip(found, seen, patches, roughs, strict=True)]
    return tuple(
        _plausible(f, r, p, None if c.reason else c, b)
        for f, r, p, c, b in zip(both, roughs, patches, found, seen, strict=True)
    )


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
    return _plausible(_refine(patches, rough, background), rough, patches)


def _refine(patches: ShoePatches, rough: RoughContact, background: Pixels | None) -> ShoeContact:
    scene = look(patches, rough, background)
    if scene is None:
        return _nothing(rough, "too few pictures of the place with and without the shoe")
    height = surface(scene, scene.support, _forefoot(rough.toe_x_m), rough.y_m, patches.slope_y)
    toe = toe_tip(scene, rough, height.at_m, patches.slope_x)
    fore = forefoot_down(scene, rough, toe, height)
    if fore is None:
        return _nothing(rough, NOT_SEEN)
    early = scene.between(fore.at_s + EARLY_S[0], fore.at_s + EARLY_S[1])
    if height.at_m > 0.0:
        whole = surface(scene, early, (rough.heel_x_m + 0.04, toe.at_m - FOREFOOT_M[1]), rough.y_m, patches.slope_y)
        if whole.at_m > 0.0:  # both must say so
            whole = surface(scene, early, _forefoot(toe.at_m), rough.y_m, patches.slope_y)
        height, toe = whole, toe_tip(scene, rough, whole.at_m, patches.slope_x)
        fore = forefoot_down(scene, rough, toe, height) or fore
    heel = heel_edge(scene, early, rough, height.at_m, patches.slope_x)
    if not heel.seen:  # the forefoot may have been misjudged
        early = scene.between(rough.start_s + LOW_S[0], rough.start_s + LOW_S[1])
        heel = heel_edge(scene, early, rough, height.at_m, patches.slope_x)
    down = touchdown(scene, toe.at_m, heel.at_m, height, fore)
    away = toe_off(scene, rough, toe, height)
    if away is None or away.at_s - down.at_s < SHORTEST_S:
        return _nothing(rough, NOT_SEEN)
    angle = sole_angle(scene, down.at_s, (heel.at_m, toe.at_m), height)
    return _contact(patches, (down, away), (toe, heel, height), angle)


def _second_looks(found: Sequence[ShoeContact], roughs: Sequence[RoughContact]) -> list[RoughContact | None]:
    """Where a toe cannot be right, where to look for it again: a shoe's length from the heel, or where the joints say."""
    pairs = list(zip(found, roughs, strict=True))
    lengths = [c.toe_x_m - c.heel_x_m for c in found if c.heel_x_m is not None and c.toe_seen]
    if len(lengths) < 3:
        return [None] * len(pairs)
    length = float(np.median(lengths))
    toe_ahead = float(np.median([c.toe_x_m - r.toe_x_m for c, r in pairs if c.toe_seen]))
    heel_ahead = float(np.median([c.heel_x_m - r.heel_x_m for c, r in pairs if c.heel_x_m is not None]))
    looks: list[RoughContact | None] = []
    for contact, rough in pairs:
        toe_off_m = abs(contact.toe_x_m - rough.toe_x_m - toe_ahead) if contact.toe_seen else math.inf
        again = None
        if contact.heel_x_m is None:
            if toe_off_m > FAR_M:
                again = replace(rough, toe_x_m=rough.toe_x_m + toe_ahead, toe_sd_m=FAR_M / 2.0)
        elif toe_off_m >= abs(contact.heel_x_m - rough.heel_x_m - heel_ahead):
            toe_x_m = contact.heel_x_m + length
            if not contact.toe_seen or abs(contact.toe_x_m - toe_x_m) > SAME_LENGTH_M:
                again = replace(rough, toe_x_m=toe_x_m, heel_x_m=contact.heel_x_m, toe_sd_m=LENGTH_SD_M)
        looks.append(again)
    return looks


def _plausible(
    contact: ShoeContact,
    rough: RoughContact,
    patches: ShoePatches,
    edges: ShoeContact | None = None,
    seen: Bearing | None = None,
) -> ShoeContact:
    """The contact, unless an instant is farther from the rough one than these are ever off and only one look says so.

    Then neither joints nor pictures are to be believed of that instant: it is NaN, the other one is the joints'. Joints that show
    a stay too short for a contact show but a part of it, and contradict nothing.
    """
    if contact.reason:
        return contact
    partly = rough.end_s - rough.start_s < SHORTEST_S
    far_s = AROUND_S if partly else max(FAR_S, OFF_S + float(np.median(np.diff(patches.time_s))))
    down = abs(contact.touchdown_s - rough.start_s) <= far_s
    away = abs(contact.toe_off_s - rough.end_s) <= far_s
    if edges is not None and seen is not None:
        down = down or _agree(edges.touchdown_s - seen.touchdown_s, edges.touchdown_sd_s, seen.touchdown_sd_s)
        away = away or _agree(edges.toe_off_s - seen.toe_off_s, edges.toe_off_sd_s, seen.toe_off_sd_s)
    if down and away:
        return contact
    nothing = _nothing(rough, CONTRADICTED)
    return replace(
        nothing,
        touchdown_s=rough.start_s if down else math.nan,
        toe_off_s=rough.end_s if away else math.nan,
    )


def _agree(apart_s: float, *sd_s: float) -> bool:
    """Whether two looks tell the same instant: within two SD, and well within what the joints are off by."""
    return abs(apart_s) <= min(2.0 * math.hypot(*sd_s), OFF_S / 2.0)


def _forefoot(toe_x_m: float) -> tuple[float, float]:
    return toe_x_m - FOREFOOT_M[0], toe_x_m - FOREFOOT_M[1]


def _contact(
    patches: ShoePatches, times: tuple[Onset, Onset], edges: tuple[Edge, Edge, Edge], angle: tuple[float, float]
) -> ShoeContact:
    """Put the findings together; the depth of the foot enters every place."""
    (down, away), (toe, heel, height) = times, edges
    contrast = min(down.contrast, away.contrast)
    deep_x, deep_y = DEPTH_SD_M * patches.slope_x, DEPTH_SD_M * patches.slope_y
    # no border seen is no sign of the runway; and in the dark noise has borders too, but a shoe that stands out has an end
    if not height.seen or (height.at_m > 0.0 and not (toe.seen or heel.seen)):
        height = replace(height, at_m=math.nan)
    return ShoeContact(
        touchdown_s=down.at_s,
        touchdown_sd_s=down.sd_s,
        toe_off_s=away.at_s,
        toe_off_sd_s=away.sd_s,
        toe_x_m=toe.at_m,
        toe_x_sd_m=math.hypot(toe.sd_m, deep_x),
        heel_x_m=heel.at_m if heel.seen else None,
        support_height_m=height.at_m,
        support_height_sd_m=math.hypot(height.sd_m, deep_y) if height.at_m else 0.0,
        foot_angle_touchdown_deg=angle[0] if heel.seen else math.nan,
        foot_angle_touchdown_sd_deg=angle[1] if heel.seen else math.nan,
        quality=contrast / (contrast + LEAST_CONTRAST),
        toe_seen=toe.seen,
    )


def _nothing(rough: RoughContact, reason: str) -> ShoeContact:
    nan = math.nan
    return ShoeContact(
        touchdown_s=nan,
        touchdown_sd_s=nan,
        toe_off_s=nan,
        toe_off_sd_s=nan,
        toe_x_m=rough.toe_x_m,
        toe_x_sd_m=rough.toe_sd_m,
        heel_x_m=None,
        support_height_m=rough.y_m,
        support_height_sd_m=rough.toe_sd_m,
        foot_angle_touchdown_deg=nan,
        foot_angle_touchdown_sd_deg=nan,
        quality=0.0,
        toe_seen=False,
        reason=reason,
    )
