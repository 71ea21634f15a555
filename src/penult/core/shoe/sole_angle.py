"""Angle of the sole at touchdown: the standing shoe is turned about its heel or toe until it covers the shoe that arrives."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import map_coordinates

from penult.core.shoe.edges import Edge, vertex
from penult.core.shoe.pictures import Pixels, ShoePictures, largest, new_edges
from penult.model.arrays import Floats

STEP_DEG = 2.5
ABOUT_HEEL_DEG = np.arange(-STEP_DEG, 27.6, STEP_DEG)
ABOUT_TOE_DEG = np.arange(-25.0, STEP_DEG + 0.1, STEP_DEG)
"""Angles tried, toe up positive: heel strikes reach 25 degrees, forefoot strikes -20 (Altman and Davis 2012; MEMORY)."""

STANDING_S = (0.022, 0.045)
"""Time after touchdown in which the sole lies flat: later than the slap of a heel strike, before the heel rises."""

FLAT_SD_DEG = 3.0
"""A standing sole lies within this of the surface, one SD: a forefoot striker's heel may stay 1.5 cm up (common practice)."""

LINE_SD_DEG = 1.7
"""SD of a line through the sole's lower border, measured on films with known truth."""

SLOWEST_S = 0.02
"""With pictures farther apart the sole is flat before it is seen (a heel strike lasts 20 to 30 ms)."""

TURN_SD_DEG = 1.2
"""SD of a turn found by matching, measured the same way on turns of 1 to 11 degrees."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """The shoe in support with its share in every pixel (h, w, 4), premultiplied, and the window that it fills."""

    layer: Pixels
    rows: slice
    columns: slice
    ends_m: tuple[float, float]
    height_m: float


def sole_angle(scene: ShoePictures, down_s: float, ends_m: tuple[float, float], height: Edge) -> tuple[float, float]:
    """Return the sole's angle to the runway at touchdown and its SD, degrees, toe up positive; NaN at too low a rate.

    Parameters
    ----------
    scene : ShoePictures
        Pictures of the contact.
    down_s : float
        Touchdown.
    ends_m : (float, float)
        Rear and front edge of the standing shoe along the run.
    height : Edge
        The surface.
    """
    after = min(int(np.searchsorted(scene.time_s, down_s)), len(scene.time_s) - 2)
    if scene.time_s[after + 1] - scene.time_s[after] > SLOWEST_S:
        return float("nan"), float("nan")
    support = scene.between(down_s + STANDING_S[0], down_s + STANDING_S[1])
    standing = _standing(scene, support, ends_m, height.at_m)
    first, pivot_m = _turn(scene, standing, after, ends_m)
    second, _ = _turn(scene, standing, after + 1, (pivot_m,))
    rate = (second - first) / (scene.time_s[after + 1] - scene.time_s[after])
    wait = float(np.clip(scene.time_s[after] - down_s, 0.0, None))
    line, seen = _line_deg(scene, support, ends_m, height.at_m)
    trust = FLAT_SD_DEG**2 / (FLAT_SD_DEG**2 + LINE_SD_DEG**2) if seen else 0.0
    flat_sd = FLAT_SD_DEG * np.sqrt(1.0 - trust)
    turn_sd = np.hypot(TURN_SD_DEG, 0.5 * abs(rate) * wait)
    return float(trust * line + first - rate * wait), float(np.hypot(flat_sd, turn_sd))


def _standing(scene: ShoePictures, support: Pixels, ends_m: tuple[float, float], height_m: float) -> Standing:
    """Cut the standing shoe out of its picture: what differs from the background by more than noise."""
    differs = largest(np.abs(support - scene.background))
    share = np.clip(differs / (8.0 * scene.noise + 15.0) - 0.3, 0.0, 1.0)
    return Standing(
        layer=np.dstack([support * share[..., None], share]).astype(np.float32),
        rows=scene.rows(height_m - 0.01, height_m + 0.09),
        columns=scene.columns(ends_m[0] - 0.05, ends_m[1] + 0.05),
        ends_m=ends_m,
        height_m=height_m,
    )


def _turn(scene: ShoePictures, standing: Standing, picture: int, pivots_m: tuple[float, ...]) -> tuple[float, float]:
    """Return the turn that explains a picture best, and the place about which it turns."""
    best = (np.inf, 0.0, pivots_m[0])
    seen = scene.pictures[picture, standing.rows, standing.columns]
    for pivot_m in pivots_m:
        turns = ABOUT_HEEL_DEG if pivot_m == standing.ends_m[0] else ABOUT_TOE_DEG
        misfit = np.array([np.abs(_turned(scene, standing, pivot_m, turn) - seen).mean() for turn in turns])
        at = int(misfit.argmin())
        if misfit[at] < best[0]:
            best = (float(misfit[at]), float(turns[at] + STEP_DEG * vertex(-misfit, at)), pivot_m)
    return best[1], best[2]


def _turned(scene: ShoePictures, standing: Standing, pivot_m: float, turn_deg: float) -> Pixels:
    """The window with the standing shoe turned about a point of the surface, before the background."""
    x, y = np.meshgrid(scene.x_m[standing.columns] - pivot_m, scene.y_m[standing.rows] - standing.height_m)
    cos, sin = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    columns = (pivot_m + cos * x + sin * y - scene.x_m[0]) / scene.pixel_m
    rows = (scene.y_m[0] - standing.height_m + sin * x - cos * y) / scene.pixel_m
    layer = np.stack([map_coordinates(standing.layer[..., k], (rows, columns), order=1) for k in range(4)], axis=-1)
    empty = scene.background[standing.rows, standing.columns]
    turned: Pixels = layer[..., :3] + (1.0 - layer[..., 3:]) * empty
    return turned


def _line_deg(scene: ShoePictures, support: Pixels, ends_m: tuple[float, float], height_m: float) -> tuple[float, bool]:
    """Slope of the sole's lower border in degrees (median of slopes between columns 5 cm apart), and whether it is a line."""
    _, up = new_edges(scene, support)
    columns = scene.columns(ends_m[0] + 0.02, ends_m[1] - 0.03)
    rows = scene.rows(height_m - 0.03, height_m + 0.12)
    edges = up[rows, columns][::-1].astype(np.float64)
    heights = ((scene.y_m[:-1] + scene.y_m[1:]) / 2.0)[rows][: len(edges)][::-1]
    if edges.shape[0] < 5 or edges.shape[1] < 5:
        return 0.0, False
    low = np.array([_lowest(edges[:, k], heights) for k in range(edges.shape[1])])
    places = scene.x_m[columns][: len(low)]
    apart = places[None, :] - places[:, None]
    pairs = (apart > 0.05) & np.isfinite(low[None, :] - low[:, None])
    if pairs.sum() < 10:
        return 0.0, False
    slope = float(np.median(((low[None, :] - low[:, None])[pairs]) / apart[pairs]))
    rest: Floats = low - slope * places
    return float(np.degrees(np.arctan(slope))), float(np.nanmedian(np.abs(rest - np.nanmedian(rest)))) < 0.002


def _lowest(profile: Floats, heights: Floats) -> float:
    """Height of the lowest edge of a column that is at least half as strong as its strongest; NaN when none is clear."""
    strong = np.flatnonzero(profile >= max(0.5 * profile.max(), 0.1))
    if not len(strong):
        return float("nan")
    at = int(strong[0])
    while at + 1 < len(profile) and profile[at + 1] > profile[at]:
        at += 1
    return float(np.interp(at + vertex(profile, at), np.arange(len(heights)), heights))
