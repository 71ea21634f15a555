"""Moving foreground over the lane, from small grey pictures (OpenCV); the background is their median over time."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

import cv2
import numpy as np
from numpy.typing import NDArray

from penult.core.joints.runs import BIN_M
from penult.core.lane.camera import at_height, project
from penult.errors import NoAthleteError
from penult.model.arrays import Bools, Floats
from penult.model.calibration import Camera
from penult.model.lane_profile import LaneProfile

BODY_HEIGHT_M = 1.8
LEAP_HEIGHT_M = 2.7
"""A standing body, and how high its head gets in a jump."""

GROUND_REACH_M = 4.0
"""Foreground is followed down to where the runway lies this far towards the camera, to tell lanes apart."""

BLOCK_S = 20.0
"""Pictures of this long share one background: hall light drifts slowly, and memory stays bounded for any length of clip."""

BACKGROUND_PICTURES = 41
"""Pictures in the median: somebody who is at one place in less than half of them leaves no trace."""

LEAST_CONTRAST = 12.0
NOISE_TIMES = 5.0
"""Foreground differs from the background by this many grey levels and robust noise SDs: five for one in 10,000 pixels with
the heavier tails of compressed video, 12 levels for the softest contrast of cloth on a hall wall (common practice)."""

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
        change = _change(picture.astype(np.float32), background)
        noise = 1.4826 * float(np.median(np.abs(change)))
        mask = (np.abs(cv2.blur(change, (3, 3))) > max(LEAST_CONTRAST, NOISE_TIMES * noise)).astype(np.uint8)
        yield time_s, cv2.morphologyEx(mask, cv2.MORPH_CLOSE, np.ones((5, 3), np.uint8)) > 0


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


class _Lane:
    """Where the lane's bins lie in the small picture, worked out once."""

    def __init__(self, camera: Camera, reduce: int, shape: tuple[int, int]) -> None:
        self.shape = shape
        self.x_m = _visible_bins(camera)
        y = np.arange(0.05, LEAP_HEIGHT_M, 0.05)
        grid = np.stack(np.broadcast_arrays(self.x_m[:, None], y[None, :], 0.0), axis=-1)
        self.body = self._small(project(camera, grid), reduce)
        z_near = _towards(camera)
        z = np.linspace(-GROUND_REACH_M, GROUND_REACH_M, 161) * z_near  # from far to near
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
        last = touched.shape[1] - 1 - touched[:, ::-1].argmax(axis=1)
        z = np.where(touched.any(axis=1), self.z_m[np.arange(len(last)), last], np.nan)
        return cover, z


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
    seen = np.ones(len(x), dtype=bool)
    for height in (0.0, 1.0):
        pixel = project(camera, np.stack([x, np.full_like(x, height), 0 * x], axis=-1))
        for axis in (0, 1):
            seen &= (pixel[:, axis] >= 0) & (pixel[:, axis] < camera.image_size_px[axis])
    if seen.sum() < 10:
        raise NoAthleteError(
            "less than 1 m of the calibrated lane lies in the picture",
            next_step="calibrate from the place and zoom that the clip was filmed with",
        )
    return x[seen]
