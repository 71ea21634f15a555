"""The athlete's joints in every frame that needs them: kept from an earlier run, or found by the pose model.

At capture rates that show more than the joints need, the model looks at some of the frames first; where that shows a
support, in which the measures lie, it then looks at every frame. Frames not looked at hold NaN.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from penult.adapters import keypoint_cache, pose
from penult.app.athlete import BODY_M, CROP_BODIES, HIP_M, crop_at, rows_of
from penult.app.poses import PosePool, Stretch
from penult.app.progress import Progress
from penult.core.athlete import Path as AthletePath
from penult.core.athlete import position_at
from penult.core.camera import project
from penult.core.pipeline import locate
from penult.errors import NotMeasurableError
from penult.model.arrays import Bools, Floats, Ints
from penult.model.calibration import Camera
from penult.model.clip import Clip
from penult.model.settings import Settings
from penult.model.track import PixelTrack

ENOUGH_HZ = 100.0
"""The model looks at no fewer frames a second than this: films with known truth at 120 Hz keep the bars set for them."""

AROUND_S = 0.03
"""Every frame this near to a support is looked at too: its rough ends are up to 25 ms off."""

DENSE_CONTACTS = 3
"""So many last contacts get every frame: the ones whose joint angles and hip heights are measured and shown as stills."""

REUSE_SHARE = 0.95
"""Kept joints serve another lane file when they cover this share of the frames now wanted (it sees a little more or less)."""

REUSE_OFF = 0.3
"""... and when the athlete is where they are, within this share of a body's height, in the median frame."""


def cache_key(clip_sha256: str, settings: Settings) -> str:
    """Return the name under which the joints of this athlete in this clip are kept."""
    method = (CROP_BODIES, ENOUGH_HZ, AROUND_S, DENSE_CONTACTS)
    return keypoint_cache.key_of(clip_sha256, pose.MODEL_SHA256, method, settings.run, settings.at)


def joints_of(
    clip_path: Path,
    clip: Clip,
    cameras: Sequence[Camera],
    run: AthletePath,
    settings: Settings,
    pool: PosePool,
    progress: Progress,
) -> PixelTrack:
    """Take the joints from the cache, or follow the athlete of a run."""
    key = cache_key(clip.sha256, settings)
    kept = keypoint_cache.read(key)
    if kept is not None:
        track = _kept(*kept, clip)
        if track is not None and _serves(track, run, clip, cameras):
            return track
    track = _followed(_Looking(clip_path, clip, cameras, run, pool, progress), settings)
    keypoint_cache.write(key, track)
    # in the cache's own precision, so that a rerun gives the same to the last digit
    return replace(
        track, xy_px=track.xy_px.astype(np.float32).astype(float), score=track.score.astype(np.float32).astype(float)
    )


def _followed(looking: _Looking, settings: Settings) -> PixelTrack:
    """Look at enough frames to find the supports, then at all that lie in the last ones."""
    every = max(int(looking.clip.capture_rate_hz / ENOUGH_HZ), 1)
    first = np.arange(len(looking.rows)) % every == 0
    joints = looking.at(first, 0.0)
    if every > 1:
        more = _in_supports(looking, joints, settings) & ~first
        joints = np.where(more[:, None, None], looking.at(more, 1.0), joints)
    return looking.track(joints)


def _in_supports(looking: _Looking, joints: Floats, settings: Settings) -> Bools:
    """Rows (t,) in or near one of the last supports."""
    near = np.zeros(len(looking.rows), dtype=bool)
    cameras = looking.cameras
    own = cameras if len(cameras) == 1 else [cameras[row] for row in looking.rows.tolist()]
    try:
        found = locate(looking.track(joints), own, looking.clip.size_px, settings)
    except NotMeasurableError:
        return near  # said again, and better, by whoever measures
    for support in found.supports[-DENSE_CONTACTS:]:
        time_s = found.runway.time_s
        near |= (time_s >= support.start_s - AROUND_S) & (time_s <= support.end_s + AROUND_S)
    return near


class _Looking:
    """The frames of one run, and the pose model to look at any of them."""

    def __init__(
        self,
        clip_path: Path,
        clip: Clip,
        cameras: Sequence[Camera],
        run: AthletePath,
        pool: PosePool,
        progress: Progress,
    ) -> None:
        self.clip, self.cameras = clip, cameras
        self._path, self._pool, self._progress = clip_path, pool, progress
        first, last = rows_of(run, clip)
        self.rows = np.arange(first, last + 1)
        x_m = position_at(run, clip.time_s)
        self._placed = [
            crop_at(cameras[0] if len(cameras) == 1 else cameras[row], float(x_m[row])) for row in self.rows.tolist()
        ]

    def at(self, wanted: Bools, round_: float) -> Floats:
        """Joints (t, k, 3) in the rows wanted, NaN in the others; `round_` is 0 for the first look and 1 for the second."""
        pairs = zip(self._placed, wanted.tolist(), strict=True)
        stretch = Stretch(
            first=int(self.rows[0]),
            crops=tuple(crop if want else None for (crop, _), want in pairs),
            height_px=tuple(height for _, height in self._placed),
        )
        share = 0.7  # of the time, for the first look
        return self._pool.joints(
            self._path,
            self.clip,
            stretch,
            lambda done: self._progress("following the joints", share * done if not round_ else share + 0.3 * done),
        )

    def track(self, joints: Floats) -> PixelTrack:
        """Return joints (t, k, 3) of all rows as a track."""
        return PixelTrack(
            frame=self.rows,
            time_s=self.clip.time_s[self.rows],
            xy_px=joints[..., :2],
            score=joints[..., 2],
            filled=np.zeros(joints.shape[:2], dtype=bool),
        )


def _kept(frame: Ints, joints: Floats, clip: Clip) -> PixelTrack | None:
    """A track from a cache entry, None when it cannot be of this clip."""
    if not len(frame) or frame.min() < 0 or frame.max() >= len(clip.time_s):
        return None
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
