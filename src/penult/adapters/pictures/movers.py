"""Moving foreground over the lane, from small grey pictures (OpenCV); the background is their median over time."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from penult.core.joints.runs import BIN_M
from penult.core.lane.camera import at_height, project, to_matrix
from penult.errors import NoAthleteError
from penult.model.arrays import Bools, Floats
from penult.model.calibration import Camera
from penult.model.lane_profile import LaneProfile

BODY_HEIGHT_M = 1.8
LEAP_HEIGHT_M = 2.7
"""A standing body, and how high its head gets in a jump."""

GROUND_REACH_M = 4.0
"""Foreground is followed down to where the runway lies this far towards the camera, to tell lanes apart."""

DEPTH_SAMPLES, LANE_SAMPLE = 161, 91
"""Depths looked at, 5 cm apart from far to near, and the first beyond a foot's reach (0.5 m) on the camera's side of the lane."""

GAP_SAMPLES = 20
"""A body may be broken by so many samples of 5 cm of depth, 1 m, 14 rows of a picture of 1080 at 12 m: socks of the ground's
colour. A head in front of the lane, below the feet of those on it, lies farther down or hides those feet."""

BLOCK_S = 20.0
"""Pictures of this long share one background: hall light drifts slowly, and memory stays bounded for any length of clip."""

BACKGROUND_PICTURES = 41
"""Pictures in the median: somebody who is at one place in less than half of them leaves no trace."""

LEAST_CONTRAST = 12.0
NOISE_TIMES = 5.0
"""Foreground differs from the background by this many grey levels and robust noise SDs: five for one in 10,000 pixels with
the heavier tails of compressed video, 12 levels for the softest contrast of cloth on a hall wall (common practice)."""

PANNED_NEAR = 0.17
PANNED_PICTURES = 15
PANNED_APART_S = 0.25
"""Of a turning camera: pictures within a third of a phone's view, so many of them, none in which the athlete, followed by the
camera, still stands before the same part of the background (2 m at 8 m/s)."""

_DARK = 8.0
"""Grey levels added before a ratio is taken, so that noise in the dark does not look like light."""

_BAND_ROWS = 9

Grey = NDArray[np.uint8]


def movement(pictures: Iterable[tuple[float, Grey]]) -> Iterator[tuple[float, Bools]]:
    """Yield of every picture its time and where it shows what is not the background's, (h, w).

    Parameters
    ----------
    pictures : iterable of (time_s, grey picture)
        At about 30 Hz, reduced, and all as seen by one camera (stabilised).
    """
    block: list[tuple[float, Grey]] = []
    for time_s, picture in pictures:
        block.append((time_s, picture))
        if time_s - block[0][0] > BLOCK_S:
            yield from _moving(block)
            block = []
    yield from _moving(block)


def _moving(block: list[tuple[float, Grey]]) -> Iterator[tuple[float, Bools]]:
    sample = [picture for _, picture in block[:: max(len(block) // BACKGROUND_PICTURES, 1)]]
    background = np.median(np.stack(sample), axis=0).astype(np.float32) if sample else None
    for time_s, picture in block:
        assert background is not None
        yield time_s, _moved(picture, background)


def _moved(picture: Grey, background: NDArray[np.float32]) -> Bools:
    """Return where a picture differs from its background."""
    change = _change(picture.astype(np.float32), background)
    noise = 1.4826 * float(np.median(np.abs(change)))
    mask = (np.abs(cv2.blur(change, (3, 3))) > max(LEAST_CONTRAST, NOISE_TIMES * noise)).astype(np.uint8)
    return np.asarray(cv2.morphologyEx(mask, cv2.MORPH_CLOSE, np.ones((5, 3), np.uint8)) > 0)


def profile_of(masks: Iterable[tuple[float, Bools]], camera: Camera, reduce: int) -> LaneProfile:
    """Measure how much of the lane is covered by movers, over time.

    Parameters
    ----------
    masks : iterable of (time_s, (h, w) bool)
        From `movement`.
    camera : Camera
        Of the full-size picture.
    reduce : int
        Full-size pixels a small pixel.

    Returns
    -------
    LaneProfile

    Raises
    ------
    NoAthleteError
        Without a picture, or if the lane is not in it.
    """
    lane: _Lane | None = None
    times: list[float] = []
    rows: list[tuple[Floats, Floats]] = []
    for time_s, mask in masks:
        lane = lane or _Lane(camera, reduce, mask.shape[:2])
        times.append(time_s)
        rows.append(lane.measure(mask))
    if lane is None:
        raise NoAthleteError("the clip has no picture in which anybody could be found")
    return LaneProfile(
        time_s=np.array(times),
        x_m=lane.x_m,
        cover=np.stack([cover for cover, _ in rows]),
        ground_z_m=np.stack([z for _, z in rows]),
    )


def panned_movement(views: Sequence[tuple[float, Grey, Camera]], reduce: int) -> Iterator[tuple[float, Bools, Camera]]:
    """Yield of every picture of a turning camera its time, where it shows what is not the background's, and its camera.

    The background of a picture is the median over others that look nearly the same way, laid over it; where they do not
    reach, nothing is said to move.

    Parameters
    ----------
    views : sequence of (time_s, grey picture, camera)
        At about 30 Hz, reduced.
    reduce : int
        Full-size pixels a small pixel.
    """
    turns = [_small_lens(camera, reduce) for _, _, camera in views]
    ahead = np.array([turn[1][2] for turn in turns]).reshape(-1, 3)
    for i, (time_s, picture, camera) in enumerate(views):
        others = _others(ahead, np.array([v[0] for v in views]), i)
        height, width = picture.shape
        laid = [picture.astype(np.uint8)]
        for j in others:
            matrix = turns[i][0] @ turns[i][1] @ turns[j][1].T @ np.linalg.inv(turns[j][0])
            there = picture.copy()
            cv2.warpPerspective(views[j][1], matrix, (width, height), dst=there, borderMode=cv2.BORDER_TRANSPARENT)
            laid.append(there)
        background = np.median(np.stack(laid), axis=0).astype(np.float32)
        yield time_s, _moved(picture, background), camera


def _small_lens(camera: Camera, reduce: int) -> tuple[Floats, Floats]:
    """Return the reduced picture's camera matrix and the rotation."""
    lens, _, rotation, _ = to_matrix(camera)
    half = (reduce - 1) / 2.0
    small = np.array([[1.0 / reduce, 0.0, -half / reduce], [0.0, 1.0 / reduce, -half / reduce], [0.0, 0.0, 1.0]])
    return np.asarray(small @ lens), rotation


def _others(ahead: Floats, time_s: Floats, row: int) -> list[int]:
    """Return pictures that look within a sixth of a radian of one, spread over time, none of its own quarter second."""
    near = np.flatnonzero((ahead @ ahead[row] > np.cos(PANNED_NEAR)) & (np.abs(time_s - time_s[row]) > PANNED_APART_S))
    if len(near) < 3:  # a fast pan: take what looks most nearly the same way
        away = np.abs(np.arange(len(time_s)) - row)
        order = np.argsort(-(ahead @ ahead[row]), kind="stable")
        near = np.sort([j for j in order if away[j] > 1][:PANNED_PICTURES])
    few = np.unique(np.linspace(0, len(near) - 1, min(len(near), PANNED_PICTURES)).round().astype(int))
    return [int(near[k]) for k in few]


def panned_profile(masks: Iterable[tuple[float, Bools, Camera]], reduce: int) -> LaneProfile:
    """Measure how much of the lane is covered by movers while the camera turns; places out of the picture are not covered.

    Raises
    ------
    NoAthleteError
        Without a picture, or if the lane is in none.
    """
    every = np.arange(-60.0, 30.0, BIN_M) + BIN_M / 2
    times, rows, seen = [], [], np.zeros(len(every), dtype=bool)
    for time_s, mask, camera in masks:
        bins = _bins_in_picture(camera, every)
        cover, ground = np.zeros(len(every)), np.full(len(every), np.nan)
        if bins.sum() >= 2:
            lane = _Lane(camera, reduce, mask.shape[:2], every[bins])
            cover[bins], ground[bins] = lane.measure(mask)
        times.append(time_s)
        rows.append((cover, ground))
        seen |= bins
    if not times or seen.sum() < 10:
        raise NoAthleteError(
            "the lane is not in the picture",
            next_step="make the lane file from a sweep that shows the whole run-up",
        )
    return LaneProfile(
        time_s=np.array(times),
        x_m=every[seen],
        cover=np.stack([cover[seen] for cover, _ in rows]),
        ground_z_m=np.stack([ground[seen] for _, ground in rows]),
    )


class _Lane:
    """Where the lane's bins lie in the small picture, worked out once."""

    def __init__(self, camera: Camera, reduce: int, shape: tuple[int, int], x_m: Floats | None = None) -> None:
        self.shape = shape
        self.x_m = _visible_bins(camera) if x_m is None else x_m
        y = np.arange(0.05, LEAP_HEIGHT_M, 0.05)
        grid = np.stack(np.broadcast_arrays(self.x_m[:, None], y[None, :], 0.0), axis=-1)
        self.body = self._small(project(camera, grid), reduce)
        z_near = _towards(camera)
        z = np.linspace(-GROUND_REACH_M, GROUND_REACH_M, DEPTH_SAMPLES) * z_near  # from far to near
        ground = np.stack(np.broadcast_arrays(self.x_m[:, None], 0.0, z[None, :]), axis=-1)
        below = project(camera, ground)
        columns = project(camera, np.stack([self.x_m, 0 * self.x_m, 0 * self.x_m], axis=-1))[:, 0]
        line = np.stack([np.broadcast_to(columns[:, None], below.shape[:2]), below[..., 1]], axis=-1)
        self.ground = self._small(line, reduce)
        self.z_m = at_height(camera, line, 0.0)[..., 1]

    def _small(self, pixels: Floats, reduce: int) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.bool_]]:
        """Rows and columns in the small picture, and which of them lie inside it."""
        at = np.nan_to_num((pixels + 0.5) / reduce, nan=-1.0).astype(int)
        inside = (at[..., 0] >= 0) & (at[..., 0] < self.shape[1]) & (at[..., 1] >= 0) & (at[..., 1] < self.shape[0])
        return np.clip(at[..., 1], 0, self.shape[0] - 1), np.clip(at[..., 0], 0, self.shape[1] - 1), inside

    def measure(self, mask: Bools) -> tuple[Floats, Floats]:
        """Cover and ground depth of every bin in one picture."""
        row, column, inside = self.body
        cover = (mask[row, column] & inside).sum(axis=1) * 0.05 / BODY_HEIGHT_M
        row, column, inside = self.ground
        touched = mask[row, column] & inside
        stands = touched[:, :LANE_SAMPLE].any(
            axis=1
        )  # what begins nearer than the lane is a head before it, with its feet elsewhere
        return cover, np.where(stands, self.z_m[np.arange(len(touched)), _foot(touched)], np.nan)


def _foot(touched: Bools) -> NDArray[np.int64]:
    """Where the uppermost body in every column (n, z from far to near) ends: what begins again below a gap is somebody else's
    head."""
    gap = np.zeros(len(touched), dtype=int)
    out = touched.argmax(axis=1)
    for i in range(touched.shape[1]):
        begun = i > out
        gap = np.where(touched[:, i], gap, gap + begun)
        ends_here = begun & touched[:, i] & (gap <= GAP_SAMPLES)
        out = np.where(ends_here, i, out)
        gap = np.where(ends_here, 0, gap)
    return np.asarray(out)


def _change(picture: NDArray[np.float32], background: NDArray[np.float32]) -> NDArray[np.float32]:
    """What differs from the background besides its brightness: exposure moves, and lamps flicker in bands that roll by.

    A rolling shutter turns flicker into bands of rows; a person covers less than half of a row, so its median ratio is the
    light's.
    """
    light = np.median((picture + _DARK) / (background + _DARK), axis=1)
    light = cv2.blur(light[:, None].astype(np.float32), (1, _BAND_ROWS))
    return np.asarray(picture - ((background + _DARK) * light - _DARK), dtype=np.float32)


def _towards(camera: Camera) -> float:
    """+1 if larger z lies nearer to the camera, else -1."""
    heights = project(camera, np.array([[0.0, 0.0, -0.5], [0.0, 0.0, 0.5]]))[:, 1]
    return 1.0 if heights[1] > heights[0] else -1.0


def _visible_bins(camera: Camera) -> Floats:
    """Bins of the lane's centre line that lie in the picture, feet and hips."""
    x = np.arange(-60.0, 30.0, BIN_M) + BIN_M / 2
    seen = _bins_in_picture(camera, x)
    if seen.sum() < 10:
        raise NoAthleteError(
            "less than 1 m of the calibrated lane lies in the picture",
            next_step="calibrate from the place and zoom that the clip was filmed with",
        )
    return x[seen]


def _bins_in_picture(camera: Camera, x: Floats) -> Bools:
    """Return which places (n,) of the lane's centre line lie in the picture, feet and hips."""
    seen = np.ones(len(x), dtype=bool)
    for height in (0.0, 1.0):
        pixel = project(camera, np.stack([x, np.full_like(x, height), 0 * x], axis=-1))
        with np.errstate(invalid="ignore"):
            for axis in (0, 1):
                seen &= (pixel[:, axis] >= 0) & (pixel[:, axis] < camera.image_size_px[axis])
    return seen
