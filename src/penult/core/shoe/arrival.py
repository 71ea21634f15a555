"""Touchdown as the end of a way: where the shoe is in the pictures before it, against a picture of it in its place.

The picture of the standing shoe, moved over the empty background, is laid on every picture before; the way so seen is a
fraction of a pixel sharp, and the instant at which it ends is sharper than the frame interval.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from penult.core.shoe.onset import CONTENT_SHARE, SPEED_M_PER_S, SPEED_WEIGHT, Onset
from penult.core.shoe.pictures import Pixels, ShoePictures, largest
from penult.model.arrays import Bools, Floats, Ints

BEHIND_M, AHEAD_M, BELOW_M, ABOVE_M = 0.08, 0.01, 0.006, 0.045
"""How far from its place a shoe is followed: it comes from behind and above, at 240 frames a second by 1 to 3 cm a frame.
Farther up it leaves the window."""

WINDOW_M = 0.09
"""Top of the window above the surface: a shoe of 5 cm, raised by what it is followed (5, 7 and 9 cm tried on films with known
truth: 0.81, 0.83 and 0.71 ms RMS at 240 frames a second)."""

LATER_S = 0.005
"""The rough instant may be so much early, where frames are short: of 48 drawn shoes at 480 and 960 frames a second three were, with
a third of a millisecond stated. A picture taken before the shoe stands makes every way, and the instant, early."""

FASTEST_M_PER_S, STEADY_M_PER_S = 9.0, 3.0
"""No foot comes faster than the runner runs; and from picture to picture its speed changes by no more than this."""

EARLIEST_S = 0.020
"""Earlier pictures say nothing: by then the shoe is 5 cm and more away, and it turns and slows down on the way."""

SLOWING_M_PER_S2 = 200.0
"""SD of the change of speed on that way. On films with known truth it is 85 m/s2 of slowing (50, 100, 200 and 300 tried: 1.00,
0.81, 0.71 and 0.70 ms RMS at 240 frames a second, in their own SD 1.8, 1.2, 0.9 and 0.9)."""

SHAPE_SD_M = 0.0008
"""How truly a shoe that turns by some degrees is laid on itself: a tenth of a pixel (films with known truth: ways are right
to about 1 mm where the picture is sharp)."""

UNEXPLAINED = 0.7
"""A picture that keeps this share of its unlikeness, wherever the shoe is laid, does not show the shoe (it keeps 0.2 to 0.5
where it does, films with known truth) ..."""

HARDLY_MOVED = 0.35
"""... unless that unlikeness is less than this share of the shoe's own against the background: then it has hardly moved."""

LEAST_WAY_M = 0.004
"""A shorter way is none: half a pixel."""

PIXELS_TOGETHER = 4.0
"""Neighbouring pixels of a resampled, coded picture err together: one in four counts (2 by 2)."""

FINEST_PX = 0.05
"""A place is told to a twentieth of a pixel at best (common practice, no source)."""

_PARTS = np.arange(-8, 9) / 8.0
"""Parts of a pixel that are tried to either side."""

_INSTANTS = 201


@dataclass(frozen=True, slots=True, kw_only=True)
class _Placings:
    """The window as it looks with the shoe moved by whole pixels, (up, along, h, w, 3); by how many is in `y_px` and `x_px`."""

    windows: Pixels
    y_px: Floats
    x_px: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class _Seen:
    """Where the shoe is in one picture, x forward and y up, with its SD; what stays unlike there, and what was without a move."""

    x_px: float
    y_px: float
    sd_px: float
    left: float
    unmoved: float


def arrival(
    scene: ShoePictures,
    reach_m: tuple[float, float, float, float],
    place_m: tuple[float, float],
    roughly: Onset,
    turning_m_per_s: float,
) -> Onset:
    """Return when a part of the shoe comes to rest, more sharply than `roughly` does.

    Before the instant t0 the way is v (t0 - t) + a (t0 - t)^2 / 2, plus u times the time in place; v has the prior
    SPEED_WEIGHT, a is normal about 0 with SLOWING_M_PER_S2, u about `turning_m_per_s` with as large an SD. Own derivation.

    Parameters
    ----------
    scene : ShoePictures
        One contact's pictures.
    reach_m : (behind, ahead, below, above)
        The box about that part; the window is as long and WINDOW_M high.
    place_m : (x, height)
        Where the part stands.
    roughly : Onset
        The same instant, right to two SD, a frame or LATER_S.
    turning_m_per_s : float
        Usual speed of the content in its place.

    Returns
    -------
    Onset
        `roughly` itself where the shoe cannot be followed.
    """
    time_s = scene.time_s
    x_m, height_m = place_m
    window = (
        scene.rows(height_m + reach_m[2], height_m + WINDOW_M),
        scene.columns(x_m + reach_m[0], x_m + reach_m[1]),
    )
    surely_later_s = max(float(np.clip(2.0 * roughly.sd_s, scene.interval_s / 3.0, scene.interval_s)), LATER_S)
    rest = int(np.searchsorted(time_s, roughly.at_s + surely_later_s))
    if not 0 < rest < len(time_s) or not scene.background[window].size:
        return roughly
    way = _along(_followed(scene, window, rest, roughly.at_s - EARLIEST_S), scene.pixel_m)
    if way is None:
        return roughly
    at_s, sd_s = _end(way, float(time_s[rest]), turning_m_per_s)
    return replace(roughly, at_s=at_s, sd_s=float(np.hypot(sd_s, roughly.doubt_s)))


def _followed(scene: ShoePictures, window: tuple[slice, slice], rest: int, from_s: float) -> list[tuple[float, _Seen]]:
    """The shoe in the pictures before that in which it stands, latest first, as far as it can be followed."""
    standing, time_s = scene.pictures[rest], scene.time_s
    content = largest(np.abs(standing - scene.background))
    full, strong = float(content[window].mean()), float(np.percentile(content[window], 95))
    if strong <= 0.0:
        return []
    shoe = np.clip(content / (CONTENT_SHARE * strong) - 0.5, 0.0, 1.0)[..., None]
    placings = _placings(standing, scene.background, shoe, window, scene.pixel_m)
    seen: list[tuple[float, _Seen]] = []
    before, expected, change_m_per_s = (0.0, 0.0), (0.0, 0.0), FASTEST_M_PER_S
    for at in range(rest - 1, -1, -1):
        if time_s[at] < from_s:
            break
        reach_px = max(2.0, change_m_per_s * float(time_s[at + 1] - time_s[at]) / scene.pixel_m)
        here = _laid(placings, _softened(scene.pictures[at][window]), expected, reach_px)
        if here is None or not _shows(here, full, scene.pixel_m):
            break
        seen.append((float(time_s[at]), here))
        expected = 2.0 * here.x_px - before[0], 2.0 * here.y_px - before[1]
        before, change_m_per_s = (here.x_px, here.y_px), STEADY_M_PER_S
    return seen


def _shows(here: _Seen, full: float, pixel_m: float) -> bool:
    """Whether the picture truly shows the shoe there, within what is followed."""
    explained = here.left <= UNEXPLAINED * here.unmoved or here.unmoved <= HARDLY_MOVED * full
    along = -BEHIND_M <= here.x_px * pixel_m <= AHEAD_M
    return explained and along and -BELOW_M <= here.y_px * pixel_m <= ABOVE_M


def _placings(standing: Pixels, empty: Pixels, shoe: Pixels, window: tuple[slice, slice], pixel_m: float) -> _Placings:
    """Lay the shoe (`shoe` is 1 where it is, 0 where not) at every whole pixel that it is followed to, and one beyond."""
    reach = [int(np.ceil(way / pixel_m)) + 1 for way in (BEHIND_M, AHEAD_M, BELOW_M, ABOVE_M)]
    margin = max(reach)
    wide = ((margin, margin), (margin, margin), (0, 0))
    paint, cover = np.pad(standing * shoe, wide), np.pad(shoe, wide)
    ground = empty[window]
    h, w = ground.shape[:2]
    top, left = (side.start + margin for side in window)
    y_px, x_px = np.arange(-reach[2], reach[3] + 1), np.arange(-reach[0], reach[1] + 1)
    windows = np.empty((len(y_px), len(x_px), h, w, 3), dtype=np.float32)
    for i, up in enumerate(y_px.tolist()):
        for j, on in enumerate(x_px.tolist()):
            here = slice(top + up, top + up + h), slice(left - on, left - on + w)
            windows[i, j] = ground * (1.0 - cover[here]) + paint[here]
    return _Placings(windows=_softened(windows), y_px=y_px.astype(np.float64), x_px=x_px.astype(np.float64))


def _softened(pictures: Pixels) -> Pixels:
    """Pictures (..., h, w, 3) under the binomial filter 1 2 1: else whole pixels look sharper, and likelier, than parts of one."""
    out = pictures
    for axis in (-3, -2):
        edges = [(0, 0)] * out.ndim
        edges[axis] = (1, 1)
        wide = np.moveaxis(np.pad(out, edges, mode="edge"), axis, 0)
        out = np.moveaxis((wide[:-2] + 2.0 * wide[1:-1] + wide[2:]) / 4.0, 0, axis)
    return np.asarray(out, dtype=np.float32)


def _laid(placings: _Placings, picture: Pixels, expected: tuple[float, float], reach_px: float) -> _Seen | None:
    """Where the shoe is likest to the picture, near where it is expected; None where nothing of that is tried."""
    near_y = _inner(np.abs(placings.y_px - expected[1]) <= reach_px)
    near_x = _inner(np.abs(placings.x_px - expected[0]) <= reach_px)
    if not near_y.size or not near_x.size:
        return None
    unlike = _unlikeness(placings.windows[np.ix_(near_y, near_x)], picture)
    i, j = np.unravel_index(int(unlike.argmin()), unlike.shape)
    y, x = int(near_y[i]), int(near_x[j])
    # the window with the shoe between whole pixels is the mean of its neighbours: laying is linear
    around = placings.windows[y - 1 : y + 2, x - 1 : x + 2].reshape(9, -1)
    to = np.stack([np.clip(-_PARTS, 0, 1), 1.0 - np.abs(_PARTS), np.clip(_PARTS, 0, 1)], axis=-1)
    shares = (to[:, None, :, None] * to[None, :, None, :]).reshape(-1, 9).astype(np.float32)
    finer = _unlikeness((shares @ around).reshape(-1, *picture.shape), picture)
    least = float(finer.min())
    counted = picture.shape[0] * picture.shape[1] / PIXELS_TOGETHER
    weight = np.exp(-counted * (finer - least) / max(least, 1.0))  # Laplace noise of the size of what stays unlike
    weight /= weight.sum()
    parts = np.stack([np.repeat(_PARTS, len(_PARTS)), np.tile(_PARTS, len(_PARTS))])
    mean = parts @ weight
    variance = (parts - mean[:, None]) ** 2 @ weight + FINEST_PX**2
    nowhere = placings.windows[int(np.abs(placings.y_px).argmin()), int(np.abs(placings.x_px).argmin())]
    return _Seen(
        x_px=float(placings.x_px[x] + mean[1]),
        y_px=float(placings.y_px[y] + mean[0]),
        sd_px=float(np.sqrt(variance.mean())),
        left=least,
        unmoved=float(_unlikeness(nowhere[None], picture)[0]),
    )


def _inner(chosen: Bools) -> Ints:
    """Which are chosen, without the outermost that only serve as neighbours."""
    chosen[[0, -1]] = False
    return np.flatnonzero(chosen)


def _unlikeness(windows: Pixels, picture: Pixels) -> Floats:
    """Mean absolute difference (...) of windows (..., h, w, 3) to a picture, largest colour."""
    return np.asarray(largest(np.abs(windows - picture)).mean(axis=(-2, -1)), dtype=np.float64)


def _along(seen: list[tuple[float, _Seen]], pixel_m: float) -> Floats | None:
    """Time, way and its SD (n, 3) along the direction from which the shoe comes; None when there is no way."""
    if not seen:
        return None
    places_m = pixel_m * np.array([(s.x_px, s.y_px) for _, s in seen])
    from_behind_and_above = np.stack([np.minimum(places_m[:, 0], 0.0), np.maximum(places_m[:, 1], 0.0)], axis=1)
    lengths = np.hypot(*from_behind_and_above.T)
    longest = int(lengths.argmax())
    if lengths[longest] < LEAST_WAY_M:
        return None
    ways_m = places_m @ (from_behind_and_above[longest] / lengths[longest])
    sd_m = np.hypot([pixel_m * s.sd_px for _, s in seen], SHAPE_SD_M)
    return np.stack([np.array([at for at, _ in seen]), ways_m, sd_m], axis=1)


def _end(way: Floats, rest_s: float, turning_m_per_s: float) -> tuple[float, float]:
    """Mean and SD of the instant at which a way (n, 3) ends: the posterior over instants, summed over speeds."""
    at_s, ways_m, sd_m = way.T
    instants = np.linspace(at_s.min(), rest_s, _INSTANTS)
    still_to_go = np.clip(instants[:, None] - at_s, 0.0, None)
    in_place = np.minimum(rest_s - at_s, rest_s - instants[:, None])
    slowing = SLOWING_M_PER_S2 * still_to_go**2 / 2.0
    turning = turning_m_per_s * in_place
    covariance = (
        np.diag(sd_m**2) + slowing[:, :, None] * slowing[:, None, :] + turning[:, :, None] * turning[:, None, :]
    )
    rest = (
        ways_m - turning[:, None, :] - SPEED_M_PER_S[None, :, None] * still_to_go[:, None, :]
    )  # (instants, speeds, n)
    misfit = np.einsum("isn,inm,ism->is", rest, np.linalg.inv(covariance), rest)
    logp = -0.5 * misfit - 0.5 * np.linalg.slogdet(covariance)[1][:, None] + SPEED_WEIGHT
    weight = np.exp(logp - logp.max()).sum(axis=1)
    weight /= weight.sum()
    mean = float(weight @ instants)
    return mean, float(np.sqrt(weight @ (instants - mean) ** 2))
