"""Where the shoe's toe tip, its heel and the surface under it are, from the edges that it brings into the picture."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from penult.core.shoe.pictures import Pixels, ShoePictures, new_edges
from penult.model.arrays import Floats
from penult.model.shoe import RoughContact


@dataclass(frozen=True, slots=True, kw_only=True)
class Edge:
    """A place or a height in metres, its SD, and whether it was seen (else it is the rough one)."""

    at_m: float
    sd_m: float
    seen: bool


FOREFOOT_M = (0.15, 0.03)
"""Columns behind the toe tip whose sole is flat on the surface in support: the front 3 cm are curved up or missed by the
rough place (shoes of 0.24 to 0.33 m)."""

REACH_SD, AROUND_M = 2.4, 0.07
"""How many SD of the rough place an edge may be away from it, and how far around the usual edges are taken from."""

SHARE = 0.10
"""Share of the new edges' energy outside of the shoe's border: shadows and noise together hold less."""

FAINT, AT_RUNWAY_M = 0.2, (0.025, 0.005)
"""A mat is claimed only if the edges at the height of the bare runway (from below to above it) are weaker than this share of
the edge at its top: a shoe on the runway shows at least its contact shadow there, even white on white."""

ROUGH_HEIGHT_SD_M = 0.02
"""How well the joints know the height of the surface, one SD: it may make a mat likelier or less likely."""

CLEAR = 2.5
"""A border's edge is at least this many times the median edge around it."""

THIN_MAT_M = 0.015
"""Thinnest mat told from the bare runway (gym mats are 2 cm and thicker; common practice, no source)."""

SOLE_M = 0.02
"""Height above the surface in which the toe tip is looked for: the thickness of a sole at the toe."""

BLUNT_M, BLUNT_SD_M = 0.022, 0.01
"""Half the width over which a toe cap or heel is blunt, and its SD: seen at an angle, its far or near side stands out by this
times the angle. Shoes are 9 to 10 cm wide, their caps rounded (common practice, no source)."""

HALF_SOLE_M = 0.045
"""Half the width of a sole at the ball (common practice, no source): its near border seems lower than its middle."""

EDGE_SD_PX, ROUND_SD_M = 0.5, 0.002
"""SD of an edge's place: half a pixel, and the roundness of shoes."""


def surface(
    scene: ShoePictures, support: Pixels, ends_m: tuple[float, float], rough_y_m: float, slope_y: float
) -> Edge:
    """Height of the surface under the columns between two places: the lower border of the shoe, 0 unless a mat is clear.

    Parameters
    ----------
    scene : ShoePictures
        For the background.
    support : (h, w, 3) float32
        Median picture of the standing shoe.
    ends_m : (float, float)
        First and last column.
    rough_y_m : float
        Rough height of the surface.
    slope_y : float
        See `ShoePatches`.
    """
    _, up = new_edges(scene, support)
    rows = scene.rows(min(rough_y_m, 0.0) - 0.07, max(rough_y_m, 0.0) + 0.07)
    heights = ((scene.y_m[:-1] + scene.y_m[1:]) / 2.0)[rows]
    profile = up[rows, scene.columns(*ends_m)].mean(axis=1)[: len(heights)].astype(np.float64)
    clear = _clear(profile)[::-1]
    if not clear.any():
        return Edge(at_m=0.0, sd_m=edge_sd_m(scene), seen=False)
    rising, heights = profile[::-1], heights[::-1]
    at = _climb(rising, _passed(clear, SHARE))
    bare = (heights > -AT_RUNWAY_M[0]) & (heights < AT_RUNWAY_M[1])
    quiet = 2.0 * float(np.percentile(rising, 25.0))  # well below the surface there is but noise
    likelier = (heights[at] * rough_y_m - heights[at] ** 2 / 2.0) / ROUGH_HEIGHT_SD_M**2
    faint = FAINT * float(np.exp(np.clip(likelier / 2.0, -1.0, 1.0)))
    unlikely = heights[at] < THIN_MAT_M or abs(heights[at] - rough_y_m) > REACH_SD * ROUGH_HEIGHT_SD_M
    if unlikely or (bare.any() and rising[bare].max() > faint * rising[at] + quiet):
        return Edge(at_m=0.0, sd_m=edge_sd_m(scene), seen=True)
    about = slice(max(at - 1, 0), at + 2)
    border = float(np.average(heights[about], weights=rising[about] ** 2))
    return Edge(at_m=border + HALF_SOLE_M * abs(slope_y), sd_m=1.5 * edge_sd_m(scene), seen=True)


def toe_tip(scene: ShoePictures, rough: RoughContact, height_m: float, slope_x: float) -> Edge:
    """Front border of the shoe's edges, within a sole's thickness above the surface."""
    rows = scene.rows(height_m, height_m + SOLE_M)
    along, _ = new_edges(scene, scene.support)
    found = _end(scene, along[rows][:, ::-1], rough.toe_x_m, rough.toe_sd_m, sense=-1)
    return _seen_from(found, Edge(at_m=rough.toe_x_m, sd_m=rough.toe_sd_m, seen=False), abs(slope_x), edge_sd_m(scene))


def heel_edge(scene: ShoePictures, support: Pixels, rough: RoughContact, height_m: float, slope_x: float) -> Edge:
    """Rear border of the shoe's edges while the heel is low, up to 5 cm above the surface."""
    rows = scene.rows(height_m + 0.005, height_m + 0.05)
    along, _ = new_edges(scene, support)
    found = _end(scene, along[rows], rough.heel_x_m, rough.toe_sd_m, sense=1)
    return _seen_from(
        found, Edge(at_m=rough.heel_x_m, sd_m=rough.toe_sd_m, seen=False), -abs(slope_x), edge_sd_m(scene)
    )


def vertex(profile: Floats, at: int) -> float:
    """Offset of a peak between samples, by the parabola through three of them."""
    if not 0 < at < len(profile) - 1:
        return 0.0
    before, here, after = profile[at - 1 : at + 2]
    bend = before - 2.0 * here + after
    return float(np.clip(0.5 * (before - after) / bend, -0.5, 0.5)) if bend < 0.0 else 0.0


def _end(scene: ShoePictures, rows: Pixels, rough_m: float, sd_m: float, *, sense: int) -> float | None:
    """The outer border of edges along the run near a rough place, coming from outside (rows in that order)."""
    places = ((scene.x_m[:-1] + scene.x_m[1:]) / 2.0)[::sense]
    near = np.abs(places - rough_m) <= max(REACH_SD * sd_m, AROUND_M)
    profile, places = rows.mean(axis=0)[near].astype(np.float64), places[near]
    away = (places - rough_m) / sd_m
    clear = _clear(profile) * np.exp(-0.5 * (away / 1.3) ** 2) * (np.abs(away) <= REACH_SD)
    if not clear.any():
        return None
    at = _climb(profile, _passed(clear, SHARE))
    return float(np.interp(at + vertex(profile, at), np.arange(len(places)), places))


def _clear(profile: Floats) -> Floats:
    """Energy of what stands out of the usual edges; all zero when nothing is clear."""
    if len(profile) < 5:
        return np.zeros(len(profile))
    floor = max(float(np.median(profile)), 0.01)
    if profile.max() < CLEAR * floor:
        return np.zeros(len(profile))
    return np.asarray(np.clip(profile - 1.5 * floor, 0.0, None) ** 2)


def _passed(clear: Floats, share: float) -> int:
    """First sample at which a share of the energy is reached."""
    return int(np.searchsorted(np.cumsum(clear) / clear.sum(), share))


def _climb(profile: Floats, at: int) -> int:
    """The peak that is reached from a sample on."""
    while at + 1 < len(profile) and profile[at + 1] > profile[at]:
        at += 1
    return at


def _seen_from(found: float | None, unseen: Edge, outward: float, sd_m: float) -> Edge:
    """Take off what a blunt end stands out when seen at an angle."""
    if found is None:
        return unseen
    return Edge(at_m=float(found - outward * BLUNT_M), sd_m=float(np.hypot(sd_m, outward * BLUNT_SD_M)), seen=True)


def edge_sd_m(scene: ShoePictures) -> float:
    """SD of an edge's place at the scene's resolution."""
    return float(np.hypot(EDGE_SD_PX * scene.pixel_m, ROUND_SD_M))
