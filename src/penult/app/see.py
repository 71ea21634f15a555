"""Look at one athlete in a film: joints, supports, shoes. Everything after this works without the film."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from penult.app.athlete import camera_of, find_athlete, rows_of
from penult.app.closer import look_closer
from penult.app.film_size import film_size_of
from penult.app.footage import Footage, surroundings
from penult.app.joints import Looking
from penult.app.poses import PosePool
from penult.app.progress import Progress
from penult.core.checks.compression import Loss, coarser, hides_movement, loss_notice, refuse_lost
from penult.core.checks.pace import jump_notice, pace_notice, paces, picture_jumps, steady_part, trunk_x_m, unseen_side
from penult.core.checks.sequence import ODD_FRAMES, Edited, edited, edited_notice, leaps, refuse_edited
from penult.core.joints.crossing import crossing_notices, crossings, without_crossed
from penult.core.joints.locate import joint_depths, to_runway
from penult.core.joints.runs import Path as AthletePath
from penult.core.joints.runs import position_at
from penult.core.lane.camera import position_m
from penult.core.lane.view import athlete_height_px, check_picture
from penult.core.pipeline import Located, locate
from penult.errors import NoContactError
from penult.model.analysis import Notice
from penult.model.arrays import Floats
from penult.model.calibration import Camera, LaneFit
from penult.model.clip import Clip
from penult.model.lane_profile import LaneProfile
from penult.model.settings import Settings
from penult.model.sighting import Sighting


@dataclass(frozen=True, slots=True, kw_only=True)
class Surroundings:
    """What is known before anybody is looked for: clip, lane, cameras, what moves, and what to keep with the result."""

    clip: Clip
    fit: LaneFit
    cameras: tuple[Camera, ...]
    profile: LaneProfile
    notices: tuple[Notice, ...] = ()
    method: Mapping[str, Any]
    changes: Floats | None = None
    """How much changes from picture to picture, where the clip was looked through (see `adapters.pictures.changes`)."""
    loss: Loss | None = None
    """What the coder lost, where the clip was looked through."""


def see(
    clip_path: Path, scene: Surroundings, settings: Settings, pool: PosePool, progress: Progress
) -> tuple[Sighting, Footage]:
    """Find the athlete that the settings name, follow the joints, look at shoes and trunk.

    Returns
    -------
    Sighting, Footage
        What was seen, and the pictures of the run for those who draw on them.

    Raises
    ------
    NotMeasurableError
        The picture lies on its side, the athlete is too small, nobody runs along the lane, or no foot ever stands on it.
    """
    camera, x_m = scene.fit.camera if scene.fit.lane.panorama else scene.cameras[0], scene.profile.x_m
    small = check_picture(camera, x_m, settings.height_m)
    run = find_athlete(scene.profile, scene.clip, scene.cameras, settings)
    crossed = crossings(scene.profile, run, float(position_m(camera)[2]))
    refuse_lost(scene.loss)
    odd, loss = _odd_pictures(scene, run), scene.loss
    told = [n for n in (edited_notice(odd) if odd else None, loss_notice(loss)) if n]
    looking = Looking(scene.clip, scene.cameras, run, pool)
    nothing = Sighting(
        clip=scene.clip,
        fit=scene.fit,
        cameras=scene.cameras,
        settings=settings,
        joints=looking.track(),
        profile=scene.profile,
        shoes=(),
        crossed_s=tuple((c.start_s, c.end_s) for c in crossed),
        notices=(
            *scene.notices,
            *small,
            *crossing_notices(crossed),
            *told,
        ),
        method={
            **scene.method,
            "athlete_height_px": round(athlete_height_px(camera, x_m, settings.height_m)),
            **({ODD_FRAMES: odd.frame.tolist()} if odd else {}),
        },
    )
    whole_run, found = nothing, None
    while found is None:
        footage = _footage(clip_path, scene, run, looking)
        seen = replace(nothing, joints=looking.first_track(footage, progress))
        kept = _of_one_pace(seen, scene.changes) if nothing is whole_run else None
        if kept is not None:
            within, notice = kept
            nothing = replace(nothing, notices=(notice, *nothing.notices))
            looking = Looking(scene.clip, scene.cameras, run, pool, within)
            continue
        seen = seen if odd else _without_leaps(seen, scene.changes)
        found = _supports(seen, looking)
    shoes, trunks, strides = look_closer(footage, found, looking, progress)
    seen = replace(seen, joints=looking.whole_track())
    whole = locate(seen.joints, seen.track_cameras(), scene.clip.size_px, settings)
    if not _same_supports(found, whole):  # rare: what was looked at closely does not belong to what is measured
        found = whole
        shoes, trunks, strides = look_closer(footage, found, looking, progress)
    return replace(
        seen,
        shoes=coarser(without_crossed(shoes, crossed, found.time_scale), loss, camera),
        trunks=trunks,
        strides=strides,
    ), footage


def _odd_pictures(scene: Surroundings, run: AthletePath) -> Edited | None:
    """Return pictures of the run that are none of their own; a clip full of them is refused."""
    if scene.changes is None:
        return None
    found = edited(scene.changes, scene.clip.time_s, *rows_of(run, scene.clip))
    if found is not None and found.kind != "repeated" and (len(scene.cameras) > 1 or hides_movement(scene.loss)):
        return None  # a camera that moves, and a coder that sends late, change more, or less, from picture to picture
    refuse_edited(found)
    return found


def _without_leaps(seen: Sighting, changes: Floats | None) -> Sighting:
    """Return what was seen, with pictures that are missing by the body's way named; a clip full of gaps is refused."""
    track = to_runway(seen.joints, seen.track_cameras(), joint_depths(0.0))
    found = leaps(seen.joints.frame, track.time_s, trunk_x_m(track), changes)
    if found is None:
        return seen
    refuse_edited(found)
    method = {**seen.method, ODD_FRAMES: found.frame.tolist()}
    return replace(seen, notices=(*seen.notices, edited_notice(found)), method=method)


JUMP_ROOM_S = 0.1
"""Pictures so long before and after the run are looked at too: shoes are compared over 90 ms."""


def _of_one_pace(seen: Sighting, changes: Floats | None) -> tuple[tuple[int, int], Notice] | None:
    """Return first and last frame of the part in which the stated clock can be right, where the clip changes its pace."""
    track = to_runway(seen.joints, seen.track_cameras(), joint_depths(0.0))
    x_m, frame = trunk_x_m(track), seen.joints.frame
    parts = paces(track.time_s, x_m)
    kept = steady_part(parts, track.time_s)
    if kept is not None:
        return (int(frame[kept.first]), int(frame[kept.last])), pace_notice(parts, kept, track.time_s, frame)
    if changes is None or len(seen.cameras) > 1:  # a camera that moves changes everything
        return None
    room = round(JUMP_ROOM_S * seen.clip.capture_rate_hz)
    within = unseen_side(picture_jumps(changes, int(frame[0]) - room, int(frame[-1]) + room), frame, x_m)
    return None if within is None else (within, jump_notice(within))


def _supports(seen: Sighting, looking: Looking) -> Located | None:
    """Return where the feet stand; None when more frames are to be looked at first, because the clip's clock runs too fast or may.

    Raises
    ------
    NoContactError
        If no foot stands anywhere, however often one looks.
    """
    try:
        found = locate(seen.joints, seen.track_cameras(), seen.clip.size_px, seen.settings)
    except NoContactError:
        if looking.as_at(looking.rate_hz / 2.0):
            return None
        raise
    return None if looking.as_at(seen.clip.capture_rate_hz * found.time_scale) else found


def _footage(clip_path: Path, scene: Surroundings, run: AthletePath, looking: Looking) -> Footage:
    frames = looking.frames
    x_m = position_at(run, scene.clip.time_s)
    boxes = [surroundings(camera_of(scene.cameras, frame), float(x_m[frame])) for frame in frames.tolist()]
    return Footage(clip_path, scene.clip, frames, film_size_of(scene.clip, scene.method), boxes, looking.later_crops())


SAME_S = 0.02
"""Rough supports may move by this when frames between are looked at; what is gathered about them allows for 25 ms."""


def _same_supports(one: Located, other: Located) -> bool:
    """Whether both show the same supports on the same clock."""
    if len(one.supports) != len(other.supports) or one.time_scale != other.time_scale:
        return False
    return all(
        a.foot == b.foot and abs(a.start_s - b.start_s) <= SAME_S and abs(a.end_s - b.end_s) <= SAME_S
        for a, b in zip(one.supports, other.supports, strict=True)
    )
