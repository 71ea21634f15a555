"""Where the film's picture lies in the clip's picture: it goes along with the athlete's hips, steadily.

The hips' path along the runway is smoothed, the runway's place under it projected by each frame's own camera, and the
picture laid about that: the ground stays at one height, and a camera in the hand is steadied. It never leaves the picture.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from penult.core.lane.camera import project
from penult.model.arrays import Floats
from penult.model.showing import Shape
from penult.model.track import Motion
from penult.outputs.pictures.figure import View, on_plane

SIZES_PX: dict[str, tuple[int, int]] = {"landscape": (960, 540), "portrait": (540, 960)}
"""As many pixels as a quarter of full HD, whichever way up: what a phone's screen shows of a film in a message."""

WIDEST_PX = 960
"""Of the whole picture as filmed."""

SMOOTH_S = 0.1
"""Spread of the kernel that smooths the path: a step lasts 0.25 s, and its swing of a few centimetres is to stay in the
picture while the picture goes evenly (a kernel of this width leaves a tenth of an oscillation of 0.25 s: exp(-(2 pi 0.1 /
0.25)^2 / 2) = 0.04)."""

SKULL_M = 0.13
"""From the middle of the ears to the top of the head (de Leva 1996: 0.11 m and more with hair)."""

ABOVE_M = 0.28
"""Free picture above the highest that the head comes."""

LEAST_HEIGHT_M, LEAST_WIDTH_M = 2.7, 2.0
"""Shown at least: a small athlete shall not fill the picture, and a stride with its arms is 1.8 m wide."""

AS_FILMED = (0.92, 1.25)
"""Within these the clip's own pixels are shown: sharper than any others, and at no cost. At 0.92 the free picture above the
head becomes 0.25 m less, which `ABOVE_M` leaves."""

GROUND = {"landscape": 0.2, "portrait": 0.22}
"""Share of the picture's height below the ground line, for distances and contact times."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Path:
    """The film's picture for every row of the motion.

    Parameters
    ----------
    size_px : (int, int)
        Of the film's picture.
    origin_px : (t, 2) float64
        Clip pixel at the film's top left pixel.
    scale : (t,) float64
        Film pixels per clip pixel.
    """

    size_px: tuple[int, int]
    origin_px: Floats
    scale: Floats

    def view(self, row: int) -> View:
        """Return the picture of a row."""
        x, y = self.origin_px[row].tolist()
        return View(origin_px=(x, y), scale=float(self.scale[row]), size_px=self.size_px)


def whole_size_px(clip_size_px: tuple[int, int]) -> tuple[int, int]:
    """Return width and height of the whole picture in a film: the clip's, reduced to at most 960 wide."""
    width, height = clip_size_px
    scale = min(1.0, WIDEST_PX / width)
    return round(width * scale), round(height * scale)


def shown_height_m(motion: Motion) -> float:
    """Return how much of the runway's air a film that follows shows above the ground: to above the highest head."""
    heights = motion.runway.xy_m[..., 1]
    seen = heights[np.isfinite(heights)]
    top = float(np.percentile(seen, 99.9)) if len(seen) else 1.8
    return min(top, 3.0) + SKULL_M + ABOVE_M


def follow(
    motion: Motion, shape: Shape, *, size_px: tuple[int, int] | None = None, above_m: float | None = None
) -> Path:
    """Return where the film's picture lies in every frame.

    Parameters
    ----------
    motion : Motion
        The hips' path and the cameras.
    shape : {'landscape', 'portrait', 'whole'}
        Of the picture.
    size_px : (int, int), optional
        Another size of the same shape, for a picture beside another.
    above_m : float, optional
        Height shown above the ground, for a picture in the scale of another; else `shown_height_m`.

    Returns
    -------
    Path
        Inside the clip's picture in every row.
    """
    clip_px = motion.cameras[0].image_size_px
    rows = len(motion.hip_m)
    if shape == "whole":
        size = size_px or whole_size_px(clip_px)
        return Path(size_px=size, origin_px=np.zeros((rows, 2)), scale=np.full(rows, size[0] / clip_px[0]))
    size = size_px or SIZES_PX[shape]
    share = GROUND[shape]
    x_m = smoothed(_filled(motion.hip_m[:, 0], motion.pixels.time_s), motion.pixels.time_s, SMOOTH_S)
    ground_px, metre_px = _under(motion, x_m)
    scale = _scale(
        metre_px, size, (above_m or shown_height_m(motion)) / (1.0 - share), clip_px, is_free=above_m is None
    )
    room_px = np.array(clip_px) - np.array(size) / scale[:, None]  # as far as the origin may go
    wanted = ground_px - np.array([0.5, 1.0 - share]) * np.array(size) / scale[:, None]
    origin = np.clip(wanted, 0.0, room_px)
    if len(motion.cameras) == 1:
        origin = np.stack([smoothed(origin[:, d], motion.pixels.time_s, SMOOTH_S) for d in (0, 1)], axis=1)
        # whole pixels of the film: the ground then moves by whole pixels, which a coder takes over as it is
        origin = np.clip(np.floor(origin * scale[:, None] + 0.5), 0.0, np.floor(room_px * scale[:, None] + 1e-9))
        origin = origin / scale[:, None]
    return Path(size_px=size, origin_px=origin, scale=scale)


def smoothed(values: Floats, time_s: Floats, spread_s: float) -> Floats:
    """Return values (t,) smoothed by a Gaussian in rows, continued straight on at both ends: a mean of what lies about."""
    if len(values) < 3:
        return values
    spread = max(spread_s / float(np.median(np.diff(time_s))), 1e-6)
    reach = int(np.ceil(3.0 * spread))
    kernel = np.exp(-0.5 * (np.arange(-reach, reach + 1) / spread) ** 2)
    before, after = (_straight_on(v, reach) for v in (values[::-1], values))
    padded = np.concatenate([before[::-1], values, after])
    return np.asarray(np.convolve(padded, kernel / kernel.sum(), mode="valid"))


def _straight_on(values: Floats, count: int) -> Floats:
    """Return `count` values that go on as the last tenth did."""
    tail = values[-max(3, len(values) // 10) :]
    slope = (tail[-1] - tail[0]) / (len(tail) - 1)
    return np.asarray(values[-1] + slope * np.arange(1, count + 1))


def _filled(x_m: Floats, time_s: Floats) -> Floats:
    """Return the path without gaps: straight between what is seen, at the run's own speed before and after."""
    seen = np.isfinite(x_m)
    if seen.sum() < 2:
        return np.full(len(x_m), float(x_m[seen][0]) if seen.any() else 0.0)
    out = np.interp(time_s, time_s[seen], x_m[seen])
    first, last = np.flatnonzero(seen)[[0, -1]]
    speed = (x_m[last] - x_m[first]) / (time_s[last] - time_s[first])
    for rows, at in ((slice(0, first), first), (slice(last + 1, None), last)):
        out[rows] = x_m[at] + speed * (time_s[rows] - time_s[at])
    return np.asarray(out)


def _under(motion: Motion, x_m: Floats) -> tuple[Floats, Floats]:
    """Return the runway's pixel under each place (t, 2), and the pixels of an upright metre there (t,)."""
    feet, heads = (on_plane(np.stack([x_m, np.full_like(x_m, y)], axis=1)) for y in (0.0, 1.0))
    if len(motion.cameras) == 1:
        low, high = (project(motion.cameras[0], places) for places in (feet, heads))
    else:
        low, high = (
            np.concatenate([project(c, p[None]) for c, p in zip(motion.cameras, places, strict=True)])
            for places in (feet, heads)
        )
    return np.asarray(low), np.asarray(np.hypot(*(high - low).T))


def _scale(
    metre_px: Floats, size: tuple[int, int], height_m: float, clip_px: tuple[int, int], *, is_free: bool
) -> Floats:
    """Return film pixels per clip pixel: one for all where the athlete's size changes little."""
    height_m = max(height_m, LEAST_HEIGHT_M)
    film_metre = min(size[1] / height_m, size[0] / LEAST_WIDTH_M)
    low, high = np.percentile(metre_px, [2, 98])
    wanted = film_metre / (metre_px if high > 1.5 * low else np.full_like(metre_px, high))
    if is_free and wanted.min() == wanted.max() and AS_FILMED[0] <= wanted[0] <= AS_FILMED[1]:
        wanted = np.ones_like(wanted)
    return np.asarray(np.maximum(wanted, max(size[0] / clip_px[0], size[1] / clip_px[1])))
