"""Where the shoe's toe tip, its heel and the surface under it are, from the edges that the shoe brings into the picture."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from penult.core.shoe_scene import Pixels, Scene, new_edges
from penult.model.arrays import Floats
from penult.model.shoe import RoughContact


@dataclass(frozen=True, slots=True, kw_only=True)
class Edge:
    """A place or a height in metres, its SD, and whether it was seen (else it is the rough one)."""

    at_m: float
    sd_m: float
    seen: bool


FOREFOOT_M = (0.15, 0.03)
"""Columns behind the toe tip whose sole is flat on the surface in support; the front 3 cm are curved up or may be missed by
the rough place (shoes of 0.24 to 0.33 m)."""

REACH_M = 0.07
"""How far from the rough place an edge is looked for: rough places are off by up to 4 cm and the model's toe lies behind the tip."""

ROUGH_SD_M = 0.025
"""SD of a rough toe when no edge is seen: 2 cm and the shoe's tip beyond the model's toe."""

SHARE = 0.10
"""Share of the new edges' energy left outside when the shoe's border is passed: shadows and noise together hold less."""

THIN_MAT_M = 0.015
"""Thinnest mat told from the bare runway (gym mats are 2 cm and thicker; common practice, no source)."""

BLUNT_M = 0.022
"""Half the width over which a toe cap or heel is blunt: seen at an angle, its far or near side stands out by this times the
angle. Shoes are 9 to 10 cm wide, their caps rounded: 1 to 3.5 cm (common practice, no source); its SD is BLUNT_SD_M."""

BLUNT_SD_M = 0.01


def surface(scene: Scene, rough: RoughContact, slope_y: float) -> Edge:
    """Height of the surface under the forefoot: the lower border of the shoe's edges, 0 unless a mat is clear."""
    _, up = new_edges(scene)
    columns = scene.columns(rough.toe_x_m - FOREFOOT_M[0], rough.toe_x_m - FOREFOOT_M[1])
    rows = scene.rows(min(rough.y_m, 0.0) - REACH_M, max(rough.y_m, 0.0) + REACH_M)
    heights = (scene.y_m[:-1] + scene.y_m[1:])[rows] / 2.0
    profile = up[rows, columns].mean(axis=1)[: len(heights)]
    border = _border(profile[::-1].astype(np.float64), heights[::-1])
    near_side = 0.045 * slope_y  # the near edge of a sole 9 cm wide seems lower than its middle
    if border is None or border < THIN_MAT_M:
        return Edge(at_m=0.0, sd_m=0.0, seen=border is not None)
    return Edge(at_m=border - near_side, sd_m=0.004, seen=True)


def toe_tip(scene: Scene, rough: RoughContact, height_m: float, slope_x: float) -> Edge:
    """Front border of the sole's edges, a sole's thickness above the surface."""
    along, _ = new_edges(scene)
    rows = scene.rows(height_m, height_m + 0.02)
    return _end(scene, along, rows, rough.toe_x_m, 1.0, slope_x)


def heel_edge(scene: Scene, support: Pixels, rough: RoughContact, height_m: float, slope_x: float) -> Edge:
    """Rear border of the shoe's edges while the heel is low."""
    along, _ = new_edges(scene, support)
    rows = scene.rows(height_m + 0.005, height_m + 0.05)
    return _end(scene, along, rows, rough.heel_x_m, -1.0, slope_x)


def _end(scene: Scene, along: Pixels, rows: slice, rough_x_m: float, sense: float, slope_x: float) -> Edge:
    """The outer border of edges along the run near a rough place; outer is forward for the toe, backward for the heel."""
    columns = scene.columns(rough_x_m - REACH_M, rough_x_m + REACH_M)
    places = (scene.x_m[:-1] + scene.x_m[1:])[columns] / 2.0
    profile = along[rows, columns].mean(axis=0)[: len(places)].astype(np.float64)
    if sense > 0:
        profile, places = profile[::-1], places[::-1]
    border = _border(profile, places)
    if border is None:
        return Edge(at_m=rough_x_m, sd_m=ROUGH_SD_M, seen=False)
    blunt = sense * abs(slope_x)
    return Edge(at_m=border - blunt * BLUNT_M, sd_m=float(np.hypot(0.004, blunt * BLUNT_SD_M)), seen=True)


def _border(profile: Floats, places: Floats) -> float | None:
    """Place of the first strong edge, coming from outside; None when nothing stands out of the noise."""
    floor = float(np.median(profile))
    clear = np.clip(profile - floor, 0.0, None) ** 2
    if profile.max() < 3.0 * max(floor, 0.01) or len(profile) < 5:
        return None
    passed = np.cumsum(clear) / clear.sum()
    first = int(np.searchsorted(passed, SHARE))
    while first + 1 < len(profile) and profile[first + 1] > profile[first]:
        first += 1
    return float(np.interp(first + _vertex(profile, first), np.arange(len(places)), places))


def _vertex(profile: Floats, at: int) -> float:
    """Offset of a peak between samples, by the parabola through three of them."""
    if not 0 < at < len(profile) - 1:
        return 0.0
    before, here, after = profile[at - 1 : at + 2]
    bend = before - 2.0 * here + after
    return float(np.clip(0.5 * (before - after) / bend, -0.5, 0.5)) if bend < 0.0 else 0.0
