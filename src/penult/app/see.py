"""Look at one athlete in a film: joints, supports, shoes. Everything after this works without the film."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from penult.adapters import keypoint_cache, pose
from penult.app.athlete import CROP_BODIES, Progress, find_athlete, follow_joints
from penult.app.poses import PosePool
from penult.app.shoes import look_at_shoes
from penult.core.pipeline import locate
from penult.model.analysis import Notice
from penult.model.calibration import Camera, LaneFit
from penult.model.clip import Clip
from penult.model.settings import Settings
from penult.model.sighting import Sighting
from penult.model.track import PixelTrack


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """What is known before anybody is looked for: clip, lane, the camera of every frame, and what to keep with the result."""

    clip: Clip
    fit: LaneFit
    cameras: tuple[Camera, ...]
    notices: tuple[Notice, ...] = ()
    method: Mapping[str, Any]


def see(clip_path: Path, scene: Scene, settings: Settings, pool: PosePool, progress: Progress) -> Sighting:
    """Find the athlete that the settings name, follow the joints, look at the shoes.

    Raises
    ------
    NotMeasurableError
        Nobody runs along the lane, or no foot ever stands on it.
    """
    joints = _joints(clip_path, scene.clip, scene.cameras, settings, pool, progress)
    seen = Sighting(
        clip=scene.clip,
        fit=scene.fit,
        cameras=scene.cameras,
        settings=settings,
        joints=joints,
        shoes=(),
        notices=scene.notices,
        method=scene.method,
    )
    found = locate(joints, seen.track_cameras(), scene.clip.size_px, settings)
    return replace(seen, shoes=look_at_shoes(clip_path, scene.clip, found, progress))


def _joints(
    clip_path: Path, clip: Clip, cameras: Sequence[Camera], settings: Settings, pool: PosePool, progress: Progress
) -> PixelTrack:
    """Take the joints from the cache, or find the athlete and follow them."""
    run = find_athlete(clip_path, clip, cameras, settings, progress)
    key = keypoint_cache.key_of(
        clip.sha256, pose.MODEL_SHA256, CROP_BODIES, settings.run, settings.at, run.x_m.tolist()
    )
    kept = keypoint_cache.read(key)
    if kept is not None and kept[0].max(initial=0) < len(clip.time_s):
        frame, joints = kept
        return PixelTrack(
            frame=frame,
            time_s=clip.time_s[frame],
            xy_px=joints[..., :2],
            score=joints[..., 2],
            filled=np.zeros(joints.shape[:2], dtype=bool),
        )
    track = follow_joints(clip_path, clip, run, cameras, pool, progress)
    keypoint_cache.write(key, track)
    # in the cache's own precision, so that a rerun gives the same to the last digit
    return replace(
        track, xy_px=track.xy_px.astype(np.float32).astype(float), score=track.score.astype(np.float32).astype(float)
    )
