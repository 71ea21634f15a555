"""The athlete's joints in every frame that needs them: remembered from an earlier run, or found by the pose model.

At capture rates that show more than the joints need, the model looks at some of the frames first; where that shows a
support, in which the measures lie, it then looks at every frame. Frames not looked at hold NaN.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from penult.adapters.pose import Crop
from penult.app.athlete import camera_of, crop_at, rows_of
from penult.app.footage import Footage, Shot
from penult.app.memory import Memory
from penult.app.plan import DITHER, LEAD_S, every_at_first, every_in_supports
from penult.app.poses import PosePool
from penult.app.progress import Progress
from penult.core.joints.runs import Path as AthletePath
from penult.core.joints.runs import position_at
from penult.core.pipeline import Located
from penult.model.arrays import Bools
from penult.model.calibration import Camera
from penult.model.clip import Clip
from penult.model.skeleton import JOINTS
from penult.model.track import PixelTrack


class Looking:
    """The frames of one run, and what the pose model sees in them: remembered from an earlier time, or asked for now.

    Which frames are looked at depends on clip, lane and settings alone, never on what is remembered. `within`: first and
    last frame, where not all of the run is wanted.
    """

    def __init__(
        self,
        clip: Clip,
        cameras: Sequence[Camera],
        run: AthletePath,
        pool: PosePool,
        within: tuple[int, int] | None = None,
    ) -> None:
        self._clip, self._cameras, self._run, self.pool = clip, cameras, run, pool
        self._memory = Memory(clip.sha256)
        first, last = within or rows_of(run, clip)
        self.frames = np.arange(first, last + 1)
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
        return True

    def later_crops(self) -> list[Crop | None]:
        """Return what `look` may be asked for, frame by frame."""
        rows = zip(self.frames.tolist(), self._placed, self._second.tolist(), strict=True)
        return [
            crop if second and crop is not None and self._memory.recalled(frame, crop, height) is None else None
            for frame, (crop, height), second in rows
        ]

    def first_track(self, footage: Footage, progress: Progress) -> PixelTrack:
        """Return the joints in as many frames as it takes to find the supports, NaN in the others."""

        def seen(shot: Shot) -> int:
            self.look(shot)
            return shot.index

        begin, wanted = int(self.frames[0]), self._unknown(self._first & ~np.isfinite(self._joints[:, 0, 2]))
        if wanted.any():
            for index in footage.passing(self.pool.in_order, seen, lambda index: bool(wanted[index - begin])):
                progress("following the joints", (index - begin) / len(self.frames))
        # nothing that was seen besides: what an earlier look saw must lead to the same closer look
        every = self.track()
        xy_px = np.where(self._first[:, None, None], every.xy_px, np.nan)
        return replace(every, xy_px=xy_px, score=np.where(self._first[:, None], every.score, np.nan))

    def more(self, found: Located) -> Bools:
        """Return the rows (t,) that are to be looked at besides: in supports, some of those that the first look left out."""
        inside = np.zeros(len(self.frames), dtype=bool)
        time_s = found.runway.time_s
        for support in found.supports:
            inside |= (time_s >= support.start_s - LEAD_S) & (time_s <= support.end_s)
        placed = np.array([crop is not None for crop, _ in self._placed])
        return self._unknown(np.asarray(inside & self._second & placed))

    def _unknown(self, wanted: Bools) -> Bools:
        """Take what is remembered of the rows wanted (t,), and return those that are left."""
        left = wanted.copy()
        for row in np.flatnonzero(wanted):
            crop, height = self._placed[row]
            joints = None if crop is None else self._memory.recalled(int(self.frames[row]), crop, height)
            if joints is not None:
                self._joints[row], left[row] = joints, False
        return left

    def look(self, shot: Shot) -> None:
        """Look at a frame; to be called by the pool's threads."""
        row = shot.index - int(self.frames[0])
        crop, height = self._placed[row]
        if crop is None:
            return
        seen = self.pool.look(shot.square(crop), crop, height)
        # in the cache's own precision, so that a rerun gives the same to the last digit
        self._joints[row] = (np.nan, np.nan, 0.0) if seen is None else seen.astype(np.float32)
        self._memory.keep(shot.index, crop, height, self._joints[row].copy())

    def whole_track(self) -> PixelTrack:
        """Return all joints, and keep them for another time."""
        self._memory.save()
        return self.track()

    def track(self) -> PixelTrack:
        """Return what has been seen so far."""
        return PixelTrack(
            frame=self.frames,
            time_s=self._clip.time_s[self.frames],
            xy_px=self._joints[..., :2].copy(),
            score=self._joints[..., 2].copy(),
            filled=np.zeros(self._joints.shape[:2], dtype=bool),
        )


_STEPS = (0.8191725, 0.6710436, 0.5497005)
"""Powers of 1/1.2207441, the root of x**4 = x + 1: multiples of them fill a cube evenly (Kronecker's sequence in three
dimensions with the generalised golden ratio, from memory)."""


def _dithered(crop: Crop | None, height_px: float, frame: int, by: float) -> tuple[Crop | None, float]:
    """Return the crop moved by up to `by` body heights and resized by up to that share, as the frame alone says."""
    if crop is None:
        return None, height_px
    x, y, wider = (by * (2.0 * (frame * step % 1.0) - 1.0) for step in _STEPS)
    centre_px = (crop.centre_px[0] + x * height_px, crop.centre_px[1] + y * height_px)
    return Crop(centre_px=centre_px, side_px=crop.side_px * (1.0 + wider)), height_px
