"""The athlete's joints in every frame that needs them: kept from an earlier run, or found by the pose model.

At capture rates that show more than the joints need, the model looks at some of the frames first; where that shows a
support, in which the measures lie, it then looks at every frame. Frames not looked at hold NaN.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from penult.adapters.caches import keypoint_cache
from penult.adapters.pose import Crop
from penult.app.athlete import BODY_M, HIP_M, camera_of, crop_at, rows_of
from penult.app.footage import Footage, Shot
from penult.app.plan import DITHER, LEAD_S, cache_key, every_at_first, every_in_supports
from penult.app.poses import PosePool
from penult.app.progress import Progress
from penult.core.joints.runs import Path as AthletePath
from penult.core.joints.runs import position_at
from penult.core.lane.camera import project
from penult.core.pipeline import Located
from penult.model.arrays import Bools, Floats, Ints
from penult.model.calibration import Camera
from penult.model.clip import Clip
from penult.model.settings import Settings
from penult.model.skeleton import JOINTS
from penult.model.track import PixelTrack

REUSE_SHARE = 0.95
"""Kept joints serve another lane file when they cover this share of the frames now wanted (it sees a little more or less)."""

REUSE_OFF = 0.3
"""... and when the athlete is where they are, within this share of a body's height, in the median frame."""


class Looking:
    """The frames of one run, and what the pose model sees in them: kept from an earlier time, or asked for now."""

    def __init__(
        self, clip: Clip, cameras: Sequence[Camera], run: AthletePath, settings: Settings, pool: PosePool
    ) -> None:
        self._clip, self._cameras, self._run, self.pool = clip, cameras, run, pool
        self._key = cache_key(clip.sha256, settings)
        self._kept = _kept(self._key, clip, run, cameras)
        if self._kept is not None and not _looked_at(self._kept, every_at_first(clip.capture_rate_hz)):
            self._kept = None
        first, last = rows_of(run, clip)
        self.frames = np.arange(first, last + 1) if self._kept is None else self._kept.frame
        self._joints = np.full((len(self.frames), len(JOINTS), 3), np.nan)
        self._plan(clip.capture_rate_hz)

    def _plan(self, rate_hz: float) -> None:
        """Choose the frames of both looks for a capture rate, and where each is to be looked at."""
        self.rate_hz = rate_hz
        rows = np.arange(len(self.frames))
        self._first = rows % every_at_first(rate_hz) == 0
        self._second = ~self._first & (rows % every_in_supports(rate_hz) == 0)
        x_m = position_at(self._run, self._clip.time_s)
        self._placed = [
            _dithered(*crop_at(camera_of(self._cameras, frame), float(x_m[frame])), frame, 0.0 if is_first else DITHER)
            for frame, is_first in zip(self.frames.tolist(), self._first.tolist(), strict=True)
        ]

    def as_at(self, rate_hz: float) -> bool:
        """Look first as at another capture rate: of a clip whose clock runs too fast, too few frames were looked at.

        Returns
        -------
        bool
            Whether there are more frames to look at than before.
        """
        if every_at_first(rate_hz) >= every_at_first(self.rate_hz):
            return False
        self._plan(rate_hz)
        if self._kept is not None and not _looked_at(self._kept, every_at_first(rate_hz)):
            self._kept = None
        return True

    def later_crops(self) -> list[Crop | None]:
        """Return what `look` may be asked for, frame by frame."""
        pairs = zip(self._placed, self._second.tolist(), strict=True)
        return [crop if second and self._kept is None else None for (crop, _), second in pairs]

    def first_track(self, footage: Footage, progress: Progress) -> PixelTrack:
        """Return the joints in as many frames as it takes to find the supports, NaN in the others."""

        def seen(shot: Shot) -> int:
            self.look(shot)
            return shot.index

        if self._kept is None:
            begin, wanted = int(self.frames[0]), self._first & ~np.isfinite(self._joints[:, 0, 2])
            for index in footage.passing(self.pool.in_order, seen, lambda index: bool(wanted[index - begin])):
                progress("following the joints", (index - begin) / len(self.frames))
        # nothing that was seen besides: kept joints, and what an earlier look saw, must lead to the same closer look
        every = self._kept or self.track()
        xy_px = np.where(self._first[:, None, None], every.xy_px, np.nan)
        return replace(every, xy_px=xy_px, score=np.where(self._first[:, None], every.score, np.nan))

    def more(self, found: Located) -> Bools:
        """Return the rows (t,) that are to be looked at besides: in supports, some of those that the first look left out."""
        inside = np.zeros(len(self.frames), dtype=bool)
        if self._kept is not None:
            return inside
        time_s = found.runway.time_s
        for support in found.supports:
            inside |= (time_s >= support.start_s - LEAD_S) & (time_s <= support.end_s)
        return np.asarray(inside & self._second & np.array([crop is not None for crop, _ in self._placed]))

    def look(self, shot: Shot) -> None:
        """Look at a frame; to be called by the pool's threads."""
        row = shot.index - int(self.frames[0])
        crop, height = self._placed[row]
        if crop is None:
            return
        seen = self.pool.look(shot.square(crop), crop, height)
        self._joints[row] = (np.nan, np.nan, 0.0) if seen is None else seen

    def whole_track(self) -> PixelTrack:
        """Return all joints, and keep them for another time."""
        if self._kept is not None:
            return self._kept
        track = self.track()
        keypoint_cache.write(self._key, track)
        return track

    def track(self) -> PixelTrack:
        """Return what has been seen so far."""
        # in the cache's own precision, so that a rerun gives the same to the last digit
        joints = self._joints.astype(np.float32).astype(float)
        return _track(self.frames, joints, self._clip)


_STEPS = (0.8191725, 0.6710436, 0.5497005)
"""Powers of 1/1.2207441, the root of x**4 = x + 1: multiples of them fill a cube evenly (Kronecker's sequence in three
dimensions with the generalised golden ratio, from memory)."""


def _dithered(crop: Crop | None, height_px: float, frame: int, by: float) -> tuple[Crop | None, float]:
    """Return the crop moved by up to `by` body heights and resized by up to that share, in a way that hangs on the frame alone."""
    if crop is None:
        return None, height_px
    x, y, wider = (by * (2.0 * (frame * step % 1.0) - 1.0) for step in _STEPS)
    centre_px = (crop.centre_px[0] + x * height_px, crop.centre_px[1] + y * height_px)
    return Crop(centre_px=centre_px, side_px=crop.side_px * (1.0 + wider)), height_px


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


def _looked_at(track: PixelTrack, every: int) -> bool:
    """Whether every so many-th row, or nearly, was looked at: where nobody was found there is a score, of 0."""
    return bool(np.isfinite(track.score[::every, 0]).mean() >= REUSE_SHARE)


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
        camera = camera_of(cameras, int(track.frame[row]))
        feet, hips = project(camera, np.array([[x_m[row], 0.0, 0.0], [x_m[row], HIP_M, 0.0]]))
        body_px = float(np.linalg.norm(feet - hips)) / HIP_M * BODY_M
        off.append(abs(float(track.xy_px[row, :, 0].mean() - hips[0])) / body_px)
    return bool(off) and float(np.median(off)) <= REUSE_OFF
