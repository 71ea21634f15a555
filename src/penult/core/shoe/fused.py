"""One contact from two looks: edges and stillness of the shoe, and the trained networks."""

from __future__ import annotations

import math
from dataclasses import replace

from penult.core.shoe.bearing import Bearing
from penult.model.shoe import RoughContact, ShoeContact, ShoePatches

DEPTH_SD_M = 0.03
"""How well the depth of a foot is known, one SD (common practice, no source)."""

ROUGH_SD_S = 0.012
"""How well the joints alone know an instant, one SD (see `events.ROUGH_TIME_S`): a network that knows less has not seen it."""

CONTRARY, EXPLAINED = 0.05, 0.003
"""Chance that the other look is right where the two disagree. A shoe that lands rolled and toe up comes to rest up to 30 ms after
it first bears, and turns in its place before it leaves: a later rest and an earlier stir are explained. The contrary is not."""

NET_SHARE, AGREE_M = 0.7, 0.02
"""Weight of the networks' toe where both looks agree, and how far apart they may then be (twelve films with known truth: alone 0.58
and 0.60 cm RMS, together 0.50). An edge on ground of its own colour is 5 to 7 cm off, unaware."""

NETWORK_QUALITY = 0.5
"""Quality of a contact that only the networks saw."""


def together(edges: ShoeContact, seen: Bearing | None, patches: ShoePatches, rough: RoughContact) -> ShoeContact:
    """Put the two looks together.

    Instants, toe and foot angle are the networks'; what the other look says against them widens their SD, and its toe is
    averaged in where both agree. The height of the surface is that of the edges.

    Parameters
    ----------
    edges : ShoeContact
        From edges and stillness; with a reason where these failed.
    seen : Bearing or None
        From the networks.
    patches, rough : ShoePatches, RoughContact
        What both looked at.
    """
    if seen is None or min(seen.touchdown_sd_s, seen.toe_off_sd_s) > ROUGH_SD_S:
        return edges
    timed = not edges.reason
    down_s, down_sd_s = _instant(seen.touchdown_s, seen.touchdown_sd_s, rough.start_s)
    away_s, away_sd_s = _instant(seen.toe_off_s, seen.toe_off_sd_s, rough.end_s)
    if timed:
        down_sd_s = _doubted(down_sd_s, edges.touchdown_s - down_s)
        away_sd_s = _doubted(away_sd_s, away_s - edges.toe_off_s)
    toe_m, toe_sd_m = _toe(edges, seen)
    return replace(
        edges,
        touchdown_s=down_s,
        touchdown_sd_s=down_sd_s,
        toe_off_s=away_s,
        toe_off_sd_s=away_sd_s,
        toe_x_m=toe_m,
        toe_x_sd_m=math.hypot(toe_sd_m, DEPTH_SD_M * patches.slope_x),
        heel_x_m=seen.heel_x_m,
        support_height_m=edges.support_height_m if timed else math.nan,
        foot_angle_touchdown_deg=seen.foot_angle_touchdown_deg,
        foot_angle_touchdown_sd_deg=seen.foot_angle_touchdown_sd_deg,
        quality=edges.quality if timed else NETWORK_QUALITY,
        toe_seen=True,
        reason="",
        touchdown_seen=seen.touchdown_sd_s <= ROUGH_SD_S,
        toe_off_seen=seen.toe_off_sd_s <= ROUGH_SD_S,
    )


def _instant(at_s: float, sd_s: float, rough_s: float) -> tuple[float, float]:
    """The networks' instant, or the joints' where those know better."""
    return (at_s, sd_s) if sd_s <= ROUGH_SD_S else (rough_s, ROUGH_SD_S)


def _doubted(sd_s: float, rests_longer_s: float) -> float:
    """The SD with the chance that the other look is right; `rests_longer_s` is how much less long it says that the shoe bears."""
    chance = EXPLAINED if rests_longer_s >= 0.0 else CONTRARY
    return math.hypot(sd_s, math.sqrt(chance) * rests_longer_s)


def _toe(edges: ShoeContact, seen: Bearing) -> tuple[float, float]:
    if edges.reason or not edges.toe_seen:
        return seen.toe_x_m, seen.toe_x_sd_m
    apart_m = edges.toe_x_m - seen.toe_x_m
    if abs(apart_m) <= AGREE_M:
        return seen.toe_x_m + (1.0 - NET_SHARE) * apart_m, seen.toe_x_sd_m
    return seen.toe_x_m, math.hypot(seen.toe_x_sd_m, math.sqrt(CONTRARY) * apart_m)
