"""A drawn shoe over textured ground, with known instants and places, for tests of what its pixels say."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from penult.model.arrays import Floats
from penult.model.shoe import RoughContact, ShoePatches

LENGTH_M = 0.28
PIXEL_M = 0.006


@dataclass(frozen=True, kw_only=True)
class Drawing:
    """What is drawn: instants, place, strike angle, surface, colours, and how it is filmed."""

    touchdown_s: float = 0.100
    toe_off_s: float = 0.210
    toe_x_m: float = -1.0
    strike_deg: float = 0.0
    height_m: float = 0.0
    shoe: tuple[float, float, float] = (225.0, 220.0, 60.0)
    stripes: float = 40.0
    ground: tuple[float, float, float] = (150.0, 75.0, 60.0)
    board: tuple[float, float, float] | None = None
    speed_m_per_s: float = 3.0
    slowing_m_per_s2: float = 0.0
    rate_hz: float = 240.0
    phase: float = 0.0
    noise: float = 2.0
    shadow: float = 0.3
    seed: int = 0
    still: bool = False


def patches(d: Drawing) -> ShoePatches:
    """Draw the pictures, two by two samples a pixel."""
    rng = np.random.default_rng(d.seed)
    time = np.arange(d.touchdown_s - 0.09 + d.phase / d.rate_hz, d.toe_off_s + 0.09, 1.0 / d.rate_hz)
    x = np.arange(d.toe_x_m - 0.5, d.toe_x_m + 0.25, PIXEL_M)
    y = np.arange(max(d.height_m, 0.0) + 0.30, -0.08, -PIXEL_M)
    fine_x = (x[:, None] + PIXEL_M * np.array([-0.25, 0.25])).ravel()
    fine_y = (y[:, None] + PIXEL_M * np.array([0.25, -0.25])).ravel()
    xx, yy = np.meshgrid(fine_x, fine_y)
    empty = _background(d, xx, yy)
    images = []
    for t in time:
        picture = empty if d.still else _with_shoe(d, empty, xx, yy, t)
        small = picture.reshape(len(y), 2, len(x), 2, 3).mean(axis=(1, 3))
        images.append(np.clip(small + rng.normal(0.0, d.noise, small.shape), 0, 255).round().astype(np.uint8))
    return ShoePatches(time_s=time, images=np.stack(images), x_m=x, y_m=y, z_m=0.05)


def rough(d: Drawing, *, late_s: float = 0.0, ahead_m: float = 0.0, up_m: float = 0.0) -> RoughContact:
    """The drawn contact as the joints would show it, off by the given amounts."""
    return RoughContact(
        foot="right",
        start_s=d.touchdown_s + late_s,
        end_s=d.toe_off_s + late_s,
        toe_x_m=d.toe_x_m + ahead_m,
        heel_x_m=d.toe_x_m - LENGTH_M + ahead_m,
        y_m=d.height_m + up_m,
        z_m=0.05,
    )


def angle_deg(d: Drawing, t: float) -> float:
    """Angle of the sole: the strike angle until touchdown, flat 25 ms later, heel up by 50 degrees at toe-off."""
    flat_s, rise_s = d.touchdown_s + 0.025, d.touchdown_s + 0.055
    strike = d.strike_deg * np.clip((flat_s - t) / 0.025, 0.0, 1.0)
    return float(strike - 50.0 * np.clip((t - rise_s) / (d.toe_off_s - rise_s), 0.0, 1.3))


def _background(d: Drawing, xx: Floats, yy: Floats) -> Floats:
    """Ground with a faint texture up to a wall 6 cm above the surface, a mat's side below the surface, perhaps a board."""
    texture = 6.0 * np.sin(xx / 0.013) * np.cos(yy / 0.009)
    picture = np.array(d.ground) + texture[..., None]
    if d.board is not None:
        picture = np.where((xx > d.toe_x_m - 0.12)[..., None] & (yy < 0.05)[..., None], np.array(d.board), picture)
    if d.height_m > 0.0:
        picture = np.where((yy < d.height_m)[..., None], np.array([40.0, 60.0, 150.0]) + texture[..., None], picture)
    wall = np.array([120.0, 130.0, 140.0]) + 10.0 * np.sin(xx / 0.05)[..., None]
    return np.where((yy > d.height_m + 0.06)[..., None], wall, picture)


def _with_shoe(d: Drawing, empty: Floats, xx: Floats, yy: Floats, t: float) -> Floats:
    """Lay a soft shadow and then the shoe over the background."""
    before, after = max(d.touchdown_s - t, 0.0), max(t - d.toe_off_s, 0.0)
    away = d.speed_m_per_s * (before + after) + d.slowing_m_per_s2 * before**2 / 2.0
    angle = angle_deg(d, t)
    pivot_at_heel = angle > 0.0
    pivot_x = d.toe_x_m - (LENGTH_M if pivot_at_heel else 0.0) + 0.5 * away * (1.0 if after else -1.0)
    cos, sin = np.cos(np.radians(angle)), np.sin(np.radians(angle))
    px, py = xx - pivot_x, yy - d.height_m - away
    u = cos * px + sin * py + (0.0 if pivot_at_heel else LENGTH_M)
    v = -sin * px + cos * py
    middle = pivot_x + (0.5 - (0.0 if pivot_at_heel else 1.0)) * LENGTH_M
    dark = d.shadow * np.exp(-(((xx - middle) / 0.18) ** 2) - ((yy - d.height_m) / 0.03) ** 2)
    picture = empty * (1.0 - dark)[..., None]
    inside = (u >= 0.0) & (u <= LENGTH_M) & (v >= 0.0) & (v <= 0.045 + 0.06 * np.clip(1.0 - u / LENGTH_M, 0.0, 1.0))
    colour = np.array(d.shoe) + d.stripes * np.sign(np.sin(2.0 * np.pi * (u + 0.5 * v) / 0.05))[..., None]
    return np.where(inside[..., None], np.clip(colour, 5.0, 250.0), picture)
