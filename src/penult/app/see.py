"""Look at one athlete in a film: joints, supports, shoes. Everything after this works without the film."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from penult.app.athlete import find_athlete
from penult.app.closer import look_closer
from penult.app.joints import joints_of
from penult.app.poses import PosePool
from penult.app.progress import Progress
from penult.core.camera import position_m
from penult.core.crossing import crossing_notices, crossings, without_crossed
from penult.core.pipeline import locate
from penult.model.analysis import Notice
from penult.model.calibration import Camera, LaneFit
from penult.model.clip import Clip
from penult.model.lane_profile import LaneProfile
from penult.model.settings import Settings
from penult.model.sighting import Sighting


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
    """Find the athlete that the settings name, follow the joints, look at shoes and trunk.

    Raises
    ------
    NotMeasurableError
        Nobody runs along the lane, or no foot ever stands on it.
    """
    run = find_athlete(scene.profile, scene.clip, scene.cameras, settings)
    crossed = crossings(scene.profile, run, float(position_m(scene.cameras[0])[2]))
    joints = joints_of(clip_path, scene.clip, scene.cameras, run, settings, pool, progress)
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
    shoes, trunks = look_closer(clip_path, scene.clip, found, progress)
    return replace(seen, shoes=without_crossed(shoes, crossed, found.time_scale), trunks=trunks)
