"""The first look at a clip, in one pass: where the camera is in every frame, and what moves over the lane."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from penult.adapters.caches import keypoint_cache, look_cache
from penult.adapters.caches.look_cache import FirstLook
from penult.adapters.files.lane_file import read_still
from penult.adapters.film import video
from penult.adapters.film.colour import reduced
from penult.adapters.pictures.background import STANDING_PX, Follower, Observation
from penult.adapters.pictures.changes import Changes
from penult.adapters.pictures.lane_marks import PICTURES, looked_for
from penult.adapters.pictures.movers import movement, profile_of
from penult.app.progress import Progress
from penult.core.checks.camera_place import MarksSeen, refuse_elsewhere
from penult.core.checks.compression import MOVEMENTS, TOLD_PX, Loss, hides_movement, loss_of, refuse_lost
from penult.core.moving_camera.camera_path import FollowedFrame, Following
from penult.errors import CalibrationError, PenultError, ViewError
from penult.model.analysis import Notice
from penult.model.arrays import Bools, Floats, Ints
from penult.model.calibration import Camera, LaneFit
from penult.model.clip import Clip
from penult.model.lane_profile import LaneProfile
from penult.model.method import METHOD

SEARCH_RATE_HZ = 30.0
"""Pictures a second in which the athlete is looked for: at 12 m/s they move 0.4 m between two, half a body."""

STANDING_HZ = 120.0
"""A camera that has not moved between two looks is looked at so often: a knock takes several hundredths of a second."""

SEARCH_WIDTH_PX = 480
"""Width of those pictures: a person of 1.8 m in a 12 m wide view is still 70 pixels tall."""

Grey = NDArray[np.uint8]
Pictures = Iterator[tuple[int, float, Grey]]
"""Index, capture time and grey picture of every frame."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Scan:
    """One camera for a still clip, or one for every frame, what the coach should know of it, what moves over the lane, and how much
    changes from picture to picture (t, 3; see `adapters.pictures.changes`)."""

    cameras: tuple[Camera, ...]
    profile: LaneProfile
    changes: Floats | None
    loss: Loss | None = None
    notices: tuple[Notice, ...] = ()
    marks: MarksSeen | None = None
    """Of a lane without a still: its marks, where they are seen in the clip."""

    def of(self, frame: Ints) -> tuple[Camera, ...]:
        """Return the cameras of a track's rows."""
        return self.cameras if len(self.cameras) == 1 else tuple(self.cameras[i] for i in frame.tolist())


def first_look(reading: video.FirstReading, fit: LaneFit, lane_path: Path, progress: Progress) -> tuple[Clip, Scan]:
    """Scan a clip while it is read for the first time; again from its start if it is not what it promised to be.

    What an earlier scan of the same clip with the same lane and still saw is taken as seen.

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
    clip = reading.expected
    if clip is None:
        return reading.clip(), scan(reading.path, reading.clip(), fit, lane_path, progress)
    watch = _Watch(clip, fit, lane_path)
    for key in (watch.key(of_any_lane=True), watch.key()) if watch.has_still else ():
        known = look_cache.read(key, len(clip.time_s))
        again = None if known is None else watch.seen_again(known, of_any_lane=key != watch.key())
        if again is not None and known is not None:
            return clip, watch.settled(again, watch.loss(reading.picture_bytes(), known.quantiser))
    try:
        found = watch.through(reading.grey(), progress)
    except PenultError as error:
        if isinstance(error, ViewError):
            # the coder may have made the view another one
            refuse_lost(watch.loss(reading.picture_bytes(), reading.quantiser()), TOLD_PX)
        reading.clip()
        if reading.was_as_expected:
            raise
    else:
        if reading.clip() and reading.was_as_expected:
            watch.keep(reading.quantiser())
            return reading.clip(), watch.settled(found, watch.loss(reading.picture_bytes(), reading.quantiser()))
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
    return _Watch(clip, fit, lane_path).through(video.grey_frames(clip_path, clip), progress)


class _Watch:
    """Follows the camera through all frames while small, stabilised pictures are searched for movement."""

    def __init__(self, clip: Clip, fit: LaneFit, lane_path: Path) -> None:
        self._clip, self._fit = clip, fit
        self._reduce = max(clip.size_px[0] // SEARCH_WIDTH_PX, 1)
        self._still = read_still(lane_path, fit.lane)
        self.has_still = self._still is not None
        self._follower: Follower | None = Follower(fit, self._still)
        self._following = Following(fit, has_still=self.has_still)
        grey = None if self._still is None else cv2.cvtColor(self._still, cv2.COLOR_RGB2GRAY)
        self._shown = None if grey is None else reduced(np.asarray(grey), self._reduce)
        self._every = max(int(1.01 * clip.capture_rate_hz / STANDING_HZ), 1)
        self._stands = False
        self._found: FollowedFrame | None = None
        self._changes = Changes()
        self._seen_changes: Floats | None = None
        self._masks: list[tuple[float, Grey]] = []
        self._searches = self._width = 0
        self._state: list[int] = []
        self._observed: list[Observation] = []
        every = np.linspace(0, len(clip.time_s) - 1, PICTURES).astype(int).tolist()
        self._wanted = frozenset() if self.has_still else frozenset(every)
        self._backdrops: list[Grey] = []

    def loss(self, sizes: Floats | None, quantiser: float | None) -> Loss | None:
        """Return what the coder lost in the pictures looked at so far, from their bytes and quantiser."""
        changes = self._seen_changes if self._seen_changes is not None else self._changes.result()
        if sizes is None or not len(changes):
            return None
        return loss_of(changes, sizes[: len(changes)], self._clip.size_px, 0, len(changes) - 1, quantiser)

    def settled(self, found: Scan, loss: Loss | None) -> Scan:
        """Return the scan with what the coder lost, and a camera that stands where that makes a standing one wander as well."""
        found = replace(found, loss=loss)
        if not hides_movement(loss) or not any(n.code in MOVEMENTS for n in found.notices):
            return found
        notices = tuple(n for n in found.notices if n.code not in MOVEMENTS)
        return replace(found, cameras=(self._fit.camera,), notices=notices)

    def key(self, *, of_any_lane: bool = False) -> str:
        """Return the name under which this look at this clip is kept, or one that is the same with any lane."""
        still = b"" if self._still is None else self._still.tobytes()
        # of the lane too, where the camera is not quite where it was: corners are looked for where its camera expects them
        lane = () if of_any_lane else (*self._fit.camera.parameters.tolist(), self._fit.camera.centre_px)
        times = self._clip.time_s.tobytes()
        key = keypoint_cache.key_of("first look", self._clip.sha256, _sha256(times), _sha256(still), lane, METHOD)
        return keypoint_cache.of_clip(key, self._clip.sha256)

    def through(self, pictures: Pictures, progress: Progress) -> Scan:
        """Look at every picture of the clip."""
        profile = profile_of(self._noted(movement(self._searched(pictures, progress))), *self._view())
        return self._scan(profile, self._changes.result())

    def seen_again(self, known: FirstLook, *, of_any_lane: bool = False) -> Scan | None:
        """Return the scan from what an earlier look saw, None where the lane's camera does not go with it.

        With another lane's look (`of_any_lane`) only where a look with this one would have been the same.
        """
        assert self._follower is not None
        found = [self._follower.seen_as(observed) for observed in known.observed]
        if not all(frame is not None and frame.shift.fits for frame in found):
            return None
        if of_any_lane and not (found[0] is not None and self._follower.stands(found[0], known.observed[0])):
            return None
        for index, (time_s, at) in enumerate(zip(self._clip.time_s.tolist(), known.state.tolist(), strict=True)):
            self._following.add(index, time_s, found[at] if at >= 0 else None)
        self._seen_changes = known.changes
        return self._scan(profile_of(known.masks(), *self._view()), known.changes)

    def keep(self, quantiser: float | None) -> None:
        """Keep what was seen for another lane file."""
        if not (self._masks and self._observed and len(self._masks) == self._searches):
            return
        look = FirstLook(
            time_s=np.array([time_s for time_s, _ in self._masks]),
            outlines=np.stack([packed for _, packed in self._masks]),
            width=self._width,
            state=np.array(self._state),
            observed=tuple(self._observed),
            changes=self._changes.result(),
            quantiser=quantiser,
        )
        look_cache.write(self.key(of_any_lane=self._stood_still()), look)

    def _stood_still(self) -> bool:
        """Whether nothing of the look depends on the lane: one view all along, which is the still's."""
        alone = len(self._observed) == 1 and min(self._state) == 0
        found = self._found
        return (
            alone
            and found is not None
            and self._follower is not None
            and self._follower.stands(found, self._observed[0])
        )

    def _view(self) -> tuple[Camera, int]:
        return self._fit.camera, self._reduce

    def _scan(self, profile: LaneProfile, changes: Floats) -> Scan:
        followed = self._following.result() if self._follower is not None else None
        cameras = followed.cameras if followed else (self._fit.camera,)
        marks = looked_for(self._backdrops, self._fit.lane) if len(cameras) == 1 else None
        refuse_elsewhere(marks)
        return Scan(
            cameras=cameras,
            profile=profile,
            changes=changes,
            notices=followed.notices if followed else (),
            marks=marks,
        )

    def _noted(self, masks: Iterator[tuple[float, Bools]]) -> Iterator[tuple[float, Bools]]:
        """Take note of movement, for another time, as long as it is not too much."""
        for time_s, mask in masks:
            self._searches, self._width = self._searches + 1, mask.shape[1]
            if self.has_still and self._searches * mask.size // 8 <= look_cache.MOST_BYTES:
                self._masks.append((time_s, np.packbits(mask, axis=1)))
            yield time_s, mask

    def _searched(self, pictures: Pictures, progress: Progress) -> Iterator[tuple[float, Grey]]:
        """Yield time and small picture, as the still's camera would have seen it."""
        next_s = -np.inf
        for index, time_s, grey in pictures:
            progress("looking for the athlete", index / len(self._clip.time_s))
            found = self._followed(index, time_s, grey)
            self._changes.add(grey)
            if index in self._wanted:
                self._backdrops.append(grey.copy())
            if time_s >= next_s - 1e-6:
                next_s = time_s + 1.0 / SEARCH_RATE_HZ
                yield time_s, self._search_picture(reduced(grey, self._reduce), found)

    def _search_picture(self, small: Grey, found: FollowedFrame | None) -> Grey:
        """Stabilise one picture; a frame that was not found shows nothing new."""
        if found is None and self._follower is not None and self._shown is not None:
            return self._shown
        to_still = found.homography_to_still if found is not None and found.shift_px > STANDING_PX else None
        self._shown = _stabilised(small, to_still, self._reduce, self._shown)
        return self._shown

    def _followed(self, index: int, time_s: float, grey: Grey) -> FollowedFrame | None:
        """Follow the camera into one frame."""
        if self._follower is None:
            return None
        found = self._found
        if index % self._every == 0 or not self._stands:
            try:
                found = self._follower.camera_of(grey)
            except CalibrationError:
                if self.has_still:
                    raise
                self._follower = None  # a bare background and no still: nothing to hold on to, nothing to compare with
                return None
            self._stands, self._found = found is not None and found is self._found, found
        self._following.add(index, time_s, found)
        observed = self._follower.observed
        if observed is not None and (not self._observed or observed is not self._observed[-1]):
            self._observed.append(observed)
        self._state.append(-1 if found is None else len(self._observed) - 1)
        return found


def _sha256(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


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
