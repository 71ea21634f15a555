"""The first look at a clip, in one pass: where the camera is in every frame, and what moves over the lane."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from penult.adapters import video
from penult.adapters.background import Follower
from penult.adapters.lane_file import read_still
from penult.adapters.movers import lane_profile
from penult.adapters.video_colour import reduced
from penult.app.progress import Progress
from penult.core.followed import FollowedClip, FollowedFrame, Following
from penult.errors import CalibrationError, PenultError
from penult.model.analysis import Notice
from penult.model.arrays import Floats, Ints
from penult.model.calibration import Camera, LaneFit
from penult.model.clip import Clip
from penult.model.lane_profile import LaneProfile

SEARCH_RATE_HZ = 30.0
"""Pictures a second in which the athlete is looked for: at 12 m/s they move 0.4 m between two, half a body."""

SEARCH_WIDTH_PX = 480
"""Width of those pictures: a person of 1.8 m in a 12 m wide view is still 70 pixels tall."""

STEADY_PX = 0.5
"""A picture shifted by less than this against the still needs no warping for the search, at an eighth of its resolution."""

Grey = NDArray[np.uint8]
Pictures = Iterator[tuple[int, float, Grey]]
"""Index, capture time and grey picture of every frame."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Scan:
    """One camera for a still clip, or one for every frame, what the coach should know of it, and what moves over the lane."""

    cameras: tuple[Camera, ...]
    profile: LaneProfile
    notices: tuple[Notice, ...] = ()

    def of(self, frame: Ints) -> tuple[Camera, ...]:
        """Return the cameras of a track's rows."""
        return self.cameras if len(self.cameras) == 1 else tuple(self.cameras[i] for i in frame.tolist())


def first_look(reading: video.FirstReading, fit: LaneFit, lane_path: Path, progress: Progress) -> tuple[Clip, Scan]:
    """Scan a clip while it is read for the first time; again from its start if it is not what it promised to be.

    Returns
    -------
    Clip, Scan

    Raises
    ------
    ClipError
        If there is no film in it, or one that cannot be analysed.
    ViewError, CalibrationError
        As for `scan`.
    """
    if reading.expected is None:
        return reading.clip(), scan(reading.path, reading.clip(), fit, lane_path, progress)
    try:
        found = _scanned(reading.grey(), reading.expected, fit, lane_path, progress)
    except PenultError:
        reading.clip()
        if reading.was_as_expected:
            raise
    else:
        if reading.clip() and reading.was_as_expected:
            return reading.clip(), found
    return reading.clip(), scan(reading.path, reading.clip(), fit, lane_path, progress)


def scan(clip_path: Path, clip: Clip, fit: LaneFit, lane_path: Path, progress: Progress) -> Scan:
    """Register the clip's background on the lane file's still, and measure movement over the lane.

    Raises
    ------
    ViewError
        If the clip was filmed from elsewhere, or the calibrated scene is lost.
    CalibrationError
        If the still is missing or does not fit.
    """
    return _scanned(video.grey_frames(clip_path, clip), clip, fit, lane_path, progress)


def _scanned(pictures: Pictures, clip: Clip, fit: LaneFit, lane_path: Path, progress: Progress) -> Scan:
    watch = _Watch(clip, fit, lane_path)
    profile = lane_profile(watch.search_pictures(pictures, progress), fit.camera, watch.reduce)
    followed = watch.judged()
    return Scan(
        cameras=followed.cameras if followed else (fit.camera,),
        profile=profile,
        notices=followed.notices if followed else (),
    )


class _Watch:
    """Follows the camera through all frames while small, stabilised pictures are handed on."""

    def __init__(self, clip: Clip, fit: LaneFit, lane_path: Path) -> None:
        self._clip = clip
        self.reduce = max(clip.size_px[0] // SEARCH_WIDTH_PX, 1)
        still = read_still(lane_path, fit.lane)
        self._follower: Follower | None = Follower(fit, still)
        self._following = Following(fit, has_still=still is not None)
        self._has_still = still is not None
        self._shown = None if still is None else reduced(cv2.cvtColor(still, cv2.COLOR_RGB2GRAY), self.reduce)

    def search_pictures(self, pictures: Pictures, progress: Progress) -> Iterator[tuple[float, Grey]]:
        """Yield time and small picture, as the still's camera would have seen it."""
        next_s = -np.inf
        for index, time_s, grey in pictures:
            progress("looking for the athlete", index / len(self._clip.time_s))
            found = self._followed(index, time_s, grey)
            if time_s >= next_s - 1e-6:
                next_s = time_s + 1.0 / SEARCH_RATE_HZ
                yield time_s, self._search_picture(reduced(grey, self.reduce), found)

    def _search_picture(self, small: Grey, found: FollowedFrame | None) -> Grey:
        """Stabilise one picture; a frame that was not found shows nothing new."""
        if found is None and self._follower is not None and self._shown is not None:
            return self._shown
        to_still = found.homography_to_still if found is not None and found.shift_px > STEADY_PX else None
        self._shown = _stabilised(small, to_still, self.reduce, self._shown)
        return self._shown

    def _followed(self, index: int, time_s: float, grey: Grey) -> FollowedFrame | None:
        """Follow the camera into one frame."""
        if self._follower is None:
            return None
        try:
            found = self._follower.camera_of(grey)
        except CalibrationError:
            if self._has_still:
                raise
            self._follower = None  # a bare background and no still: nothing to hold on to, nothing to compare with
            return None
        self._following.add(index, time_s, found)
        return found

    def judged(self) -> FollowedClip | None:
        """Return the judgement over the clip, or None where there was nothing to hold on to."""
        return self._following.result() if self._follower is not None else None


def _stabilised(small: Grey, to_still: Floats | None, reduce: int, before: Grey | None) -> Grey:
    """Warp a small picture by a homography of full-size pixels; where a panning camera no longer looks, keep what was there."""
    if to_still is None:
        return small
    centre = (reduce - 1) / 2.0  # of a small pixel, in full-size pixels
    to_full = np.array([[reduce, 0.0, centre], [0.0, reduce, centre], [0.0, 0.0, 1.0]])
    matrix = np.linalg.inv(to_full) @ to_still @ to_full
    size = (small.shape[1], small.shape[0])
    if before is None:
        return np.asarray(cv2.warpPerspective(small, matrix, size, borderMode=cv2.BORDER_REPLICATE))
    return np.asarray(cv2.warpPerspective(small, matrix, size, dst=before.copy(), borderMode=cv2.BORDER_TRANSPARENT))
