"""Look at one athlete in a film: joints, supports, shoes. Everything after this works without the film."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from penult.adapters import keypoint_cache, pose
from penult.app.athlete import BODY_M, CROP_BODIES, HIP_M, find_athlete, follow_joints, rows_of
from penult.app.poses import PosePool
from penult.app.progress import Progress
from penult.app.shoes import look_at_shoes
from penult.core.athlete import Path as AthletePath
from penult.core.athlete import position_at
from penult.core.camera import project
from penult.core.crossing import crossing_notices, crossings, without_crossed
from penult.core.pipeline import locate
from penult.model.analysis import Notice
from penult.model.arrays import Floats, Ints
from penult.model.calibration import Camera, LaneFit
from penult.model.clip import Clip
from penult.model.lane_profile import LaneProfile
from penult.model.settings import Settings
from penult.model.sighting import Sighting
from penult.model.track import PixelTrack


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """What is known before anybody is looked for: clip, lane, cameras, what moves, and what to keep with the result."""

    clip: Clip
    fit: LaneFit
    cameras: tuple[Camera, ...]
    profile: LaneProfile
    notices: tuple[Notice, ...] = ()
    method: Mapping[str, Any]


def see(clip_path: Path, scene: Scene, settings: Settings, pool: PosePool, progress: Progress) -> Sighting:
    """Find the athlete that the settings name, follow the joints, look at the shoes.

    Raises
    ------
    NotMeasurableError
        Nobody runs along the lane, or no foot ever stands on it.
    """
    run = find_athlete(scene.profile, scene.clip, scene.cameras, settings)
    crossed = crossings(scene.profile, run)
    joints = _joints(clip_path, scene, run, settings, pool, progress)
    seen = Sighting(
        clip=scene.clip,
        fit=scene.fit,
        cameras=scene.cameras,
        settings=settings,
        joints=joints,
        profile=scene.profile,
        shoes=(),
        notices=(*scene.notices, *crossing_notices(crossed)),
        method=scene.method,
    )
    found = locate(joints, seen.track_cameras(), scene.clip.size_px, settings)
    shoes = look_at_shoes(clip_path, scene.clip, found, progress)
    return replace(seen, shoes=without_crossed(shoes, crossed, found.time_scale))


REUSE_SHARE = 0.95
"""Kept joints serve another lane file when they cover this share of the frames now wanted (it sees a little more or less)."""

REUSE_OFF = 0.3
"""... and when the athlete is where they are, within this share of a body's height, in the median frame."""


def _joints(
    clip_path: Path, scene: Scene, run: AthletePath, settings: Settings, pool: PosePool, progress: Progress
) -> PixelTrack:
    """Take the joints from the cache, or follow the athlete."""
    clip, cameras = scene.clip, scene.cameras
    key = keypoint_cache.key_of(clip.sha256, pose.MODEL_SHA256, CROP_BODIES, settings.run, settings.at)
    kept = keypoint_cache.read(key)
    if kept is not None:
        track = _kept(*kept, clip)
        if track is not None and _serves(track, run, clip, cameras):
            return track
    track = follow_joints(clip_path, clip, run, cameras, pool, progress)
    keypoint_cache.write(key, track)
    # in the cache's own precision, so that a rerun gives the same to the last digit
    return replace(
        track, xy_px=track.xy_px.astype(np.float32).astype(float), score=track.score.astype(np.float32).astype(float)
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
