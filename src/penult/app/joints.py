"""The athlete's joints in every frame that needs them: kept from an earlier run, or found by the pose model.

At capture rates that show more than the joints need, the model looks at some of the frames first; where that shows a
support, in which the measures lie, it then looks at every frame. Frames not looked at hold NaN.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np

from penult.adapters import keypoint_cache, pose
from penult.app.athlete import BODY_M, CROP_BODIES, HIP_M, crop_at, rows_of
from penult.app.poses import PosePool, Stretch
from penult.app.progress import Progress
from penult.core.athlete import Path as AthletePath
from penult.core.athlete import position_at
from penult.core.camera import project
from penult.core.pipeline import Located
from penult.model.arrays import Bools, Floats, Ints
from penult.model.calibration import Camera
from penult.model.clip import Clip, Frame
from penult.model.settings import Settings
from penult.model.track import PixelTrack

ENOUGH_HZ = 75.0
"""The model looks at no fewer frames a second than this: on five films of 240 Hz with known truth all measures stayed the same,
within 5 % of their errors, when it looked at 80 and at every one in supports."""

REUSE_SHARE = 0.95
"""Kept joints serve another lane file when they cover this share of the frames now wanted (it sees a little more or less)."""

REUSE_OFF = 0.3
"""... and when the athlete is where they are, within this share of a body's height, in the median frame."""


def cache_key(clip_sha256: str, settings: Settings) -> str:
    """Return the name under which the joints of this athlete in this clip are kept."""
    method = (CROP_BODIES, ENOUGH_HZ)
    return keypoint_cache.key_of(clip_sha256, pose.MODEL_SHA256, method, settings.run, settings.at)


class Looking:
    """The frames of one run, and what the pose model sees in them: kept from an earlier time, or asked for now."""

    def __init__(
        self,
        clip_path: Path,
        clip: Clip,
        cameras: Sequence[Camera],
        run: AthletePath,
        settings: Settings,
        pool: PosePool,
    ) -> None:
        self._path, self._clip, self.pool = clip_path, clip, pool
        self._key = cache_key(clip.sha256, settings)
        self._kept = _kept(self._key, clip, run, cameras)
        first, last = rows_of(run, clip)
        self._rows = np.arange(first, last + 1) if self._kept is None else self._kept.frame
        self._joints = np.zeros(0)
        self._every = max(int(clip.capture_rate_hz / ENOUGH_HZ), 1)
        x_m = position_at(run, clip.time_s)
        self._placed = [
            crop_at(cameras[0] if len(cameras) == 1 else cameras[row], float(x_m[row])) for row in self._rows.tolist()
        ]

    def first_track(self, progress: Progress) -> PixelTrack:
        """Return the joints in as many frames as it takes to find the supports, NaN in the others."""
        first = np.arange(len(self._rows)) % self._every == 0
        if self._kept is not None:  # only what the first look saw: the closer look must be the same
            xy_px = np.where(first[:, None, None], self._kept.xy_px, np.nan)
            return replace(self._kept, xy_px=xy_px, score=np.where(first[:, None], self._kept.score, np.nan))
        pairs = zip(self._placed, first.tolist(), strict=True)
        stretch = Stretch(
            first=int(self._rows[0]),
            crops=tuple(crop if look else None for (crop, _), look in pairs),
            height_px=tuple(height for _, height in self._placed),
        )
        told = partial(progress, "following the joints")
        self._joints = self.pool.joints(self._path, self._clip, stretch, told)
        return self._track()

    def more(self, found: Located) -> Bools:
        """Return the rows (t,) that are to be looked at besides: those in a support that the first look left out."""
        inside = np.zeros(len(self._rows), dtype=bool)
        if self._kept is not None or self._every == 1:
            return inside
        time_s = found.runway.time_s
        for support in found.supports:
            inside |= (time_s >= support.start_s) & (time_s <= support.end_s)
        inside[:: self._every] = False
        return np.asarray(inside & np.array([crop is not None for crop, _ in self._placed]))

    def look(self, frame: Frame, row: int) -> None:
        """Look at one of those rows; to be called by the pool's threads."""
        crop, height = self._placed[row]
        seen = self.pool.look(frame, crop, height) if crop is not None else None
        if seen is not None:
            self._joints[row] = seen

    def whole_track(self) -> PixelTrack:
        """Return all joints, and keep them for another time."""
        if self._kept is not None:
            return self._kept
        track = self._track()
        keypoint_cache.write(self._key, track)
        return track

    def _track(self) -> PixelTrack:
        # in the cache's own precision, so that a rerun gives the same to the last digit
        joints = self._joints.astype(np.float32).astype(float)
        return _track(self._rows, joints, self._clip)


def _kept(key: str, clip: Clip, run: AthletePath, cameras: Sequence[Camera]) -> PixelTrack | None:
    """Return the joints of an earlier time, None when there are none or they are not of the athlete asked for."""
    entry = keypoint_cache.read(key)
    if entry is None:
        return None
    frame, joints = entry
    if not len(frame) or frame.min() < 0 or frame.max() >= len(clip.time_s):
        return None
    track = _track(frame, joints, clip)
    return track if _serves(track, run, clip, cameras) else None


def _track(frame: Ints, joints: Floats, clip: Clip) -> PixelTrack:
    return PixelTrack(
        frame=frame,
        time_s=clip.time_s[frame],
        xy_px=joints[..., :2],
        score=joints[..., 2],
        filled=np.zeros(joints.shape[:2], dtype=bool),
    )


def _serves(track: PixelTrack, run: AthletePath, clip: Clip, cameras: Sequence[Camera]) -> bool:
    """Whether kept joints are of the athlete and the frames that are asked for now."""
    first, last = rows_of(run, clip)
    wanted = np.arange(first, last + 1)
    if np.isin(wanted, track.frame).mean() < REUSE_SHARE:
        return False
    x_m = position_at(run, track.time_s)
    off = []
    for row in np.flatnonzero(np.isfinite(x_m) & np.isfinite(track.xy_px).all(axis=(1, 2)))[::5]:
        camera = cameras[0] if len(cameras) == 1 else cameras[int(track.frame[row])]
        feet, hips = project(camera, np.array([[x_m[row], 0.0, 0.0], [x_m[row], HIP_M, 0.0]]))
        body_px = float(np.linalg.norm(feet - hips)) / HIP_M * BODY_M
        off.append(abs(float(track.xy_px[row, :, 0].mean() - hips[0])) / body_px)
    return bool(off) and float(np.median(off)) <= REUSE_OFF
