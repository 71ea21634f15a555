"""The first look at a clip whose camera turns after the athlete: where every frame looks on the panorama, and what moves."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from scipy.spatial.transform import Rotation, RotationSpline, Slerp

from penult.adapters.film import video
from penult.adapters.film.colour import reduced
from penult.adapters.pictures.movers import panned_movement, panned_profile
from penult.adapters.pictures.panned import PannedFollower, PannedFrame
from penult.adapters.pictures.sweep import Grey
from penult.app.cameras import SEARCH_RATE_HZ, SEARCH_WIDTH_PX, Scan
from penult.app.lanes import Place
from penult.app.progress import Progress
from penult.core.moving_camera.panorama import turned_camera
from penult.core.moving_camera.turning import motion_from
from penult.errors import ViewError
from penult.model.analysis import Notice
from penult.model.arrays import Floats
from penult.model.calibration import Camera
from penult.model.clip import Clip
from penult.model.panorama import Panorama

PANNED_HZ = 60.0
"""Frames a second that are laid on the panorama; those between turn evenly. A hand shakes at 12 Hz at most (common practice)."""

MOST_ZOOM = 0.025
"""Focusing anew changes the focal length by 1 % or so; more is another zoom setting (as in `camera_path`)."""

UNPLACED_VARIANCE = 0.05**2
"""Of the turn of a frame that was not found, in radians squared: three degrees, so that nobody takes its places for known."""

BRIDGED_S = 0.1
"""Frames without a place for longer are left without one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Looked:
    """Frames that were laid on the panorama: index and what was found."""

    index: list[int]
    found: list[PannedFrame]


def panned_look(path: Path, clip: Clip, place: Place, progress: Progress) -> Scan:
    """Lay a clip on its panorama and measure movement over the lane.

    Returns
    -------
    Scan
        One camera a frame; one that was not found carries a wide covariance (`core.checks.turned_view`).

    Raises
    ------
    ViewError
        If hardly any frame is found on the panorama, or the picture is zoomed.
    """
    panorama, keys, factor = place
    follower = PannedFollower(panorama, keys, factor)
    looked = _Looked(index=[], found=[])
    reduce = max(clip.size_px[0] // SEARCH_WIDTH_PX, 1)
    pictures = _searched(path, clip, follower, looked, reduce, progress)
    small = list(pictures)
    _refuse(clip, looked)
    cameras, placed = _cameras(clip, looked, panorama)
    views = [(clip.time_s[i], picture, cameras[i]) for i, picture in small if placed[i]]
    profile = panned_profile(panned_movement(views, reduce), reduce)
    text = (
        f"The camera turns by {_span_deg(looked):.0f} degrees in this clip; it was laid on the panorama of its tripod frame "
        "by frame."
    )
    notices = [Notice(code="camera-panned", text=text)]
    if not placed.all():
        gone = f"{int((~placed).sum())} of {len(placed)} frames show nothing of known place; nothing is measured there."
        notices.append(Notice(code="camera-unplaced", text=gone))
    # what changes from picture to picture while the camera turns tells nothing of repeated or missing pictures
    return Scan(cameras=cameras, profile=profile, notices=tuple(notices), changes=None)


def _searched(
    path: Path, clip: Clip, follower: PannedFollower, looked: _Looked, reduce: int, progress: Progress
) -> Iterator[tuple[int, Grey]]:
    """Yield index and small picture of every frame in which the athlete is looked for, following the camera meanwhile."""
    every = max(int(1.01 * clip.capture_rate_hz / PANNED_HZ), 1)
    next_s = -np.inf
    for index, time_s, grey in video.grey_frames(path, clip):
        progress("laying the clip on its panorama", index / len(clip.time_s))
        if index % every == 0 or index == len(clip.time_s) - 1:
            found = follower.frame_of(grey)
            if found is not None:
                looked.index.append(index)
                looked.found.append(found)
        if time_s >= next_s - 1e-6:
            next_s = time_s + 1.0 / SEARCH_RATE_HZ
            yield index, reduced(grey, reduce)


def _refuse(clip: Clip, looked: _Looked) -> None:
    if len(looked.found) < 3:
        raise ViewError(
            "the clip was not filmed from where the sweep was",
            "its background is not found on the panorama",
            next_step="use the lane file made for this tripod place, or film the sweep again",
        )
    zoom = float(np.median([f.turn.motion[3] for f in looked.found]))
    if abs(zoom) > MOST_ZOOM:
        raise ViewError(
            "the clip was filmed with another zoom than the sweep",
            f"its picture is {100.0 * abs(zoom):.0f} % {'larger' if zoom > 0.0 else 'smaller'}",
            next_step="film sweep and runs with one zoom setting, or make a lane file for this one",
        )


def _cameras(clip: Clip, looked: _Looked, panorama: Panorama) -> tuple[tuple[Camera, ...], np.ndarray]:
    """Return a camera for every frame, and whether it has a place: frames between turn evenly from one to the next.

    Frames without a place carry their nearest neighbour's camera, so that every frame has one.
    """
    at = np.array(looked.index)
    time_s = np.asarray(clip.time_s)
    known = Rotation.from_matrix(np.stack([f.rotation for f in looked.found]))
    zoom = np.interp(time_s, time_s[at], [f.turn.motion[3] for f in looked.found])
    turns = _between(known, time_s[at], np.clip(time_s, time_s[at[0]], time_s[at[-1]]))
    after = np.clip(np.searchsorted(at, np.arange(len(time_s))), 0, len(at) - 1)
    before = np.maximum(after - 1, 0)
    nearest = np.where(
        np.abs(at[before] - np.arange(len(time_s))) < np.abs(at[after] - np.arange(len(time_s))), before, after
    )
    gap_s = np.minimum(np.abs(time_s[at[nearest]] - time_s), BRIDGED_S * 2.0)
    placed = gap_s <= BRIDGED_S / 2.0
    cameras = []
    for i in range(len(time_s)):
        found = looked.found[int(nearest[i])]
        motion = motion_from(panorama, turns[i], found.picture, float(zoom[i]))
        known_to = found.turn.covariance if placed[i] else UNPLACED_VARIANCE * np.eye(4)
        cameras.append(turned_camera(panorama, found.picture, motion, np.asarray(known_to)))
    return tuple(cameras), placed


def _between(known: Rotation, known_s: Floats, wanted_s: Floats) -> Floats:
    """Return rotations (t, 3, 3) at wanted times: cubic between the known ones where there are four, else along great arcs."""
    if len(known_s) >= 4:
        return np.asarray(RotationSpline(known_s, known)(wanted_s).as_matrix())
    return np.asarray(Slerp(known_s, known)(wanted_s).as_matrix())


def _span_deg(looked: _Looked) -> float:
    """Return the angle between the two frames that look farthest apart, along the level."""
    ahead = np.array([f.rotation[2] for f in looked.found])
    angles = np.degrees(np.unwrap(np.arctan2(ahead[:, 0], -ahead[:, 2])))
    return float(np.ptp(angles))
