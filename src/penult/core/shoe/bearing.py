"""When a shoe first and last bears on the surface, and where its toe stands, as trained networks see it in the pictures.

A shoe may land on its outer edge, tip and heel up, or heel first, and leave over its tip: no one edge and no stillness tells then
when it bears. The networks have seen how shoes of many kinds come down and leave in rendered films whose instants are known
exactly. They answer with distributions, so that where the pictures do not tell, the SD says so.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import ndtr

from penult.core.shoe.network import Array, Network, answers
from penult.model.arrays import Bools, Floats
from penult.model.shoe import RoughContact, ShoePatches

PIXEL_M, COLUMNS, ROWS = 0.006, 96, 40
LEFT_M, TOP_M = -0.42, 0.183
"""Grid on which the networks look, about the rough toe and from the surface up: they were trained on it."""

AROUND_S, AWAY_S, CORE = 0.09, 0.05, (0.35, 0.70)
"""Pictures looked at before and after the rough contact; those without the shoe; part of the contact in which it stands."""

LEAST_PICTURES, LEAST_AWAY = 5, 2

USUAL_RATE_HZ, USUAL_PIXEL_M, FINEST_M = 240.0, 0.006, 0.004

SLOWEST_HZ, FASTEST_HZ = 48.0, 300.0
"""Most were trained on 60 to 240 pictures a second: of more, every second or third is shown them; of fewer they know nothing."""

LEAST_HZ = 23.0
"""The slow ones were trained on 24 and 30 pictures a second, each sharp or a mean over up to 17 ms."""

GRID_S = np.arange(-0.12, 0.42, 0.0002)
"""Instants about the rough touchdown at which distributions are read."""

DOWN, AWAY = 0, 3
"""Where in a network's answers at a picture those about touchdown and toe-off begin."""

LOW, MIDDLE, HIGH = 0.0228, 0.5, 0.9772
"""Two SD of a normal distribution to either side: a far and unlikely second answer then widens by what it is worth."""

WIDER, SHARE_OF_FRAME = 1.4, 0.12
"""One network's own SD holds 84 to 92 % of the instants of people and shoes that it was not trained on (rendered films at 240 and
120 a second, 2 SD), which asks for 1.4 times as much; and no instant is better known than to this share of a frame. On 27 films
with known truth four networks so widened hold 99 %: room for feet and films unlike rendered ones."""

WIDER_SLOW, SHARE_FAR_APART, FAR_APART_HZ = 2.0, 0.2, 100.0
"""A slow one's own 2 SD held 67 to 80 % of contacts held out in training. On 188 views of 19 films with known truth (every 8th or
10th picture, or means of three) twice as much holds 99 to 100 %; real phones blur for longer than these, hence the larger share
of a frame. Of touchdowns at 60 a second it holds 19 of 19 instead of 17 (on half of the films 0.16 did, on the others 0.2)."""

TOE_SD_M, ANGLE_SD_DEG = 0.003, 1.2
"""What the place of the toe and the foot's angle at touchdown are off by beside what the networks say of themselves (0.6 cm and 1.4
deg RMS on 27 films with known truth)."""

RECENTRED_M = 0.035
"""A toe found farther from the rough one than this is looked at again about its place: in training 9 in 10 were nearer."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Bearing:
    """First and last instant at which a shoe bears, its toe while the forefoot stands, its angle at touchdown; with SD."""

    touchdown_s: float
    touchdown_sd_s: float
    toe_off_s: float
    toe_off_sd_s: float
    toe_x_m: float
    toe_x_sd_m: float
    heel_x_m: float
    foot_angle_touchdown_deg: float
    foot_angle_touchdown_sd_deg: float


@dataclass(frozen=True, slots=True, kw_only=True)
class _View:
    """What the networks are shown of one contact; times from the rough touchdown on."""

    planes: Array
    scalars: Array
    time_s: Floats
    interval_s: float


def bearing(networks: Sequence[Network], patches: ShoePatches, rough: RoughContact, height_m: float) -> Bearing | None:
    """Let the networks look at one contact.

    Parameters
    ----------
    networks : sequence of Network
        Trained alike from different beginnings: where they differ, none of them knows. Those for the pictures' rate are asked.
    patches : ShoePatches
        From about 90 ms before to 90 ms after the rough contact.
    rough : RoughContact
        As the joints show it.
    height_m : float
        Of the surface.

    Returns
    -------
    Bearing or None
        None when too few pictures show the place with and without the shoe, or they do not reach to both instants.
    """
    found = _look(networks, patches, rough, height_m)
    if found is None or abs(found.toe_x_m - rough.toe_x_m) <= RECENTRED_M:
        return found
    return _look(networks, patches, replace(rough, toe_x_m=found.toe_x_m), height_m)


def _look(networks: Sequence[Network], patches: ShoePatches, rough: RoughContact, height_m: float) -> Bearing | None:
    view = _view(patches, rough, height_m)
    if view is None:
        return None
    slow = view.interval_s > 1.0 / SLOWEST_HZ
    networks = [n for n in networks if n.slow is slow]
    if not networks:
        return None
    said = answers(networks, view.planes, view.scalars)
    each, whole = [frames for frames, _ in said], np.array([of_all for _, of_all in said], dtype=np.float64)
    down, down_sd = _instant(each, view, DOWN)
    away, away_sd = _instant(each, view, AWAY)
    if down < view.time_s[0] or away > view.time_s[-1]:
        return None
    toe_m, heel_m, angle_deg = whole[:, 0] / 100.0, whole[:, 2] / 100.0, whole[:, 4]
    scale_m, scale_deg = 0.01 * np.exp(_between(whole[:, 1], -2.3, 2.0)), np.exp(_between(whole[:, 5], -2.0, 3.0))
    return Bearing(
        touchdown_s=rough.start_s + down,
        touchdown_sd_s=down_sd,
        toe_off_s=rough.start_s + away,
        toe_off_sd_s=away_sd,
        toe_x_m=rough.toe_x_m + float(toe_m.mean()),
        toe_x_sd_m=_spread(toe_m, scale_m, TOE_SD_M),
        heel_x_m=rough.toe_x_m + float(heel_m.mean()),
        foot_angle_touchdown_deg=float(angle_deg.mean()),
        foot_angle_touchdown_sd_deg=_spread(angle_deg, scale_deg, ANGLE_SD_DEG),
    )


def _view(patches: ShoePatches, rough: RoughContact, height_m: float) -> _View | None:
    time = patches.time_s
    used = (time >= rough.start_s - AROUND_S) & (time <= rough.end_s + AROUND_S)
    if used.sum() < LEAST_PICTURES:
        return None
    rate_hz = 1.0 / float(np.median(np.diff(time[used])))
    used &= np.arange(len(time)) % int(np.ceil(rate_hz / FASTEST_HZ)) == 0
    time = time[used]
    away = (time < rough.start_s - AWAY_S) | (time > rough.end_s + AWAY_S)
    if rate_hz < LEAST_HZ or away.sum() < LEAST_AWAY or min(patches.images.shape[1:3]) < 2:
        return None
    core = _core(time, rough)
    if not core.any() and rate_hz < SLOWEST_HZ:  # pictures are farther apart than that part of a contact lasts
        core[np.abs(time - rough.start_s - np.mean(CORE) * (rough.end_s - rough.start_s)).argmin()] = True
    if not core.any():
        return None
    pictures = _on_grid(patches, used, rough.toe_x_m, height_m)
    empty, support = (np.floor(np.median(p, axis=0)) for p in (pictures[away], pictures[core]))
    interval_s = float(np.median(np.diff(time)))
    pixel_m = max(float(patches.x_m[1] - patches.x_m[0]), FINEST_M)
    near = float(patches.z_m * -patches.slope_y > 0.0)  # a camera above the ground sees what is nearer to it lower
    known = np.empty((len(time), 5), dtype=np.float32)
    known[:, 0] = np.log2(interval_s * USUAL_RATE_HZ)
    known[:, 1] = (time - rough.start_s) / AWAY_S
    known[:, 2] = (time - rough.end_s) / AWAY_S
    known[:, 3] = near - 0.5
    known[:, 4] = (pixel_m - USUAL_PIXEL_M) / 0.002
    planes = _planes(pictures, empty, support)
    return _View(planes=planes, scalars=known, time_s=time - rough.start_s, interval_s=interval_s)


def _core(time_s: Floats, rough: RoughContact) -> Bools:
    """Which pictures show the shoe standing."""
    lasts = rough.end_s - rough.start_s
    core = (time_s >= rough.start_s + CORE[0] * lasts) & (time_s <= rough.start_s + CORE[1] * lasts)
    return np.asarray(core)


def _on_grid(patches: ShoePatches, used: Bools, toe_x_m: float, height_m: float) -> Array:
    """The pictures on the networks' own grid, linear between pixels (n, ROWS, COLUMNS, 3)."""
    x_m = toe_x_m + LEFT_M + PIXEL_M * (np.arange(COLUMNS) + 0.5)
    y_m = height_m + TOP_M - PIXEL_M * (np.arange(ROWS) + 0.5)
    across = _interpolation((x_m - patches.x_m[0]) / (patches.x_m[1] - patches.x_m[0]), len(patches.x_m))
    down = _interpolation((patches.y_m[0] - y_m) / (patches.y_m[0] - patches.y_m[1]), len(patches.y_m))
    images = patches.images[used].astype(np.float32)
    narrow = np.matmul(across, images)  # columns lie before colours
    n, h = images.shape[:2]
    return np.asarray(np.matmul(down, narrow.reshape(n, h, -1)).reshape(n, ROWS, COLUMNS, 3))


def _interpolation(at: Floats, size: int) -> Array:
    """Matrix (len(at), size) that reads samples at fractional places; the ends repeated."""
    at = np.clip(at, 0.0, size - 1.0)
    first = np.minimum(at.astype(np.int64), size - 2)
    share = at - first
    out = np.zeros((len(at), size), dtype=np.float32)
    rows = np.arange(len(at))
    out[rows, first] = 1.0 - share
    out[rows, first + 1] = share
    return out


def _planes(pictures: Array, empty: Array, support: Array) -> Array:
    """What is seen: against the empty place, against the standing shoe, as it is, against its neighbours in time, and where."""
    grey = pictures.mean(axis=-1)
    out = np.empty((*grey.shape, 13), dtype=np.float32)
    out[..., 0:3] = (pictures - empty) / 32.0
    out[..., 3:6] = (pictures - support) / 32.0
    out[..., 6:9] = (pictures - 110.0) / 64.0
    out[..., 9] = (grey - np.concatenate([grey[:1], grey[:-1]])) / 24.0
    out[..., 10] = (grey - np.concatenate([grey[1:], grey[-1:]])) / 24.0
    out[..., 11] = np.linspace(-1.0, 1.0, COLUMNS)
    out[..., 12] = np.linspace(1.0, -1.0, ROWS)[:, None]
    return out


def _instant(each: Sequence[Array], view: _View, at: int) -> tuple[float, float]:
    """Median and SD of an instant: every network gives normal distributions about the pictures' times, with weights."""
    below = np.zeros(len(GRID_S))
    for frames in each:
        said = frames[:, at : at + 3].astype(np.float64)
        weight = np.exp(said[:, 0] - said[:, 0].max())
        mean_s = view.time_s + 2.0 * np.tanh(said[:, 1] / 2.0) * view.interval_s
        sd_s = 0.001 * np.exp(np.clip(said[:, 2], -1.6, 3.4))
        below += ndtr((GRID_S[:, None] - mean_s) / sd_s) @ (weight / weight.sum())
    low, middle, high = np.interp((LOW, MIDDLE, HIGH), below / len(each), GRID_S)
    rate_hz = 1.0 / view.interval_s
    wider = WIDER_SLOW if rate_hz < SLOWEST_HZ else WIDER
    far_apart = rate_hz < (FAR_APART_HZ if at == DOWN else SLOWEST_HZ)
    share = SHARE_FAR_APART if far_apart else SHARE_OF_FRAME
    return float(middle), float(np.hypot(wider * (high - low) / 4.0, share * view.interval_s))


def _between(raw: Floats, low: float, high: float) -> Floats:
    return np.asarray(low + (high - low) / (1.0 + np.exp(-raw)))


def _spread(values: Floats, scales: Floats, least: float) -> float:
    """SD of the mean of the networks' figures, from their own scales and from how far they are apart."""
    return float(np.sqrt(np.mean(scales**2) + values.var() / len(values) + least**2))
