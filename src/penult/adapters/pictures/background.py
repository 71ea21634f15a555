"""A clip's still background registered on the calibration still (OpenCV), so that the camera is known in every frame.

Corners of the still are looked for in each frame by optical flow, always directly against the still, so that nothing
drifts; people and things that were put down or taken away drop out of the robust solution (`core.follow`). A frame in
which nothing has moved since the last solved one costs a check of a hundred corners.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from penult.core.lane.camera import project
from penult.core.moving_camera.background_points import BackgroundPoints, scene_of
from penult.core.moving_camera.camera_path import FollowedClip, FollowedFrame, Following, run_plane_m
from penult.core.moving_camera.registration import Shift, guessed_motion, moved_camera, predicted_px, solved_shift
from penult.errors import CalibrationError
from penult.model.arrays import Bools, Floats, Image
from penult.model.calibration import Camera, LaneFit
from penult.model.clip import Frame

Grey = NDArray[np.uint8]

_WORK_WIDTH_PX = 1000  # corners are followed in a picture of about this width: half of full HD
_CELLS = (16, 10)
_CORNERS_A_CELL = 3
_BORDER_PX = 9
_BLUR_PX = 41
_CONTRAST = 40.0
_CHECKED = 120
_UNMOVED_PX = 0.1
_NEAR_PX = 5.0  # in the small picture: what flow finds from a still that has hardly moved
_AGAIN_PX = 3.0
STANDING_PX = 0.5
"""A picture shifted by less than this against the still needs no warping for the search, at an eighth of its resolution."""
_LEAST_AGREE = 12
_LEAST_AGREE_SHARE = 0.2
_WINDOW_PX = (17, 17)
_STOP = (cv2.TERM_CRITERIA_COUNT | cv2.TERM_CRITERIA_EPS, 20, 0.01)


@dataclass(frozen=True, slots=True, kw_only=True)
class Observation:
    """Where the still's corners are in one frame, and the motion from which the solution sets out.

    Parameters
    ----------
    seen : (n, 2) float64
        Pixels of the small picture, NaN where lost.
    start : (7,) float64
    """

    seen: Floats
    start: Floats


class Follower:
    """Follows the camera of one clip, frame after frame.

    Parameters
    ----------
    fit : LaneFit
        The camera of the still.
    still : Image or None
        RGB. None takes the first frame for the still: the clip is then said to begin as it was calibrated.
    """

    def __init__(self, fit: LaneFit, still: Image | None) -> None:
        self._lane_camera = fit.camera
        self._factor = max(1, round(fit.camera.image_size_px[0] / _WORK_WIDTH_PX))
        self._plane_m = run_plane_m(fit.camera)
        self._still: _Still | None = None
        self._last: FollowedFrame | None = None
        self.observed: Observation | None = None
        """What the last frame found rests on."""
        self._solved_small: Grey | None = None
        if still is not None:
            self._begin(self._small(still))

    def camera_of(self, frame: Image | Grey, mask: Bools | None = None) -> FollowedFrame | None:
        """Return where the camera is in a frame, or None if the still's background is not found in it.

        Parameters
        ----------
        frame : (height, width, 3) or (height, width) uint8
        mask : (height, width) bool, optional
            True where something moves: corners there are not looked at.

        Raises
        ------
        CalibrationError
            If the frame is not of the lane's picture size.
        """
        small = self._small(frame)
        if self._still is None:
            self._begin(small)
        if self._unmoved(small):
            return self._last
        # where the last frame was, then where the still was, then anywhere
        start = np.zeros(7) if self._last is None else self._last.shift.motion
        best = self._solved(small, start, mask)
        if (
            best is None
            or not best[0].shift.fits
            or (self._last is None and best[0].shift_px > _NEAR_PX * self._factor)
        ):
            guess = self._guessed(small)
            again = None if guess is None else self._solved(small, guess, mask)
            best = again if _better(again, best) else best
        self._last, self.observed = (None, None) if best is None else best
        self._solved_small = small
        return self._last

    def seen_as(self, observed: Observation) -> FollowedFrame | None:
        """Return where the camera is in a frame in which the still's corners were seen at another time."""
        if self._still is None or observed.seen.shape != self._still.points.shape:
            return None
        return self._frame(observed)

    def stands(self, found: FollowedFrame, observed: Observation) -> bool:
        """Whether a frame shows the still's view so nearly that another lane's marks lead to the same look at it.

        Then the still's corners were looked for where they are in the still, and nothing was looked for a second time.
        """
        assert self._still is not None
        places = [predicted_px(self._still.scene, motion) for motion in (found.shift.motion, observed.start)]
        return (
            not observed.start.any()
            and found.shift.fits
            and found.shift_px <= STANDING_PX
            and float(np.abs(places[0] - places[1]).max()) <= _AGAIN_PX
        )

    def _begin(self, small: Grey) -> None:
        self._still = _Still(small, self._factor, self._lane_camera)

    def _small(self, frame: Image | Grey) -> Grey:
        width, height = self._lane_camera.image_size_px
        if frame.shape[:2] != (height, width):
            raise CalibrationError(
                "the picture does not fit the lane file",
                f"it was made for {width} x {height} px; the picture is {frame.shape[1]} x {frame.shape[0]} px",
                next_step="calibrate from this camera setting, or use the lane file made for it",
            )
        grey = cv2.cvtColor(frame, cv2.COLOR_RGB2GRAY) if frame.ndim == 3 else frame
        return _evened(_shrunk(np.asarray(grey, dtype=np.uint8), self._factor))

    def _unmoved(self, small: Grey) -> bool:
        """Return True if the corners sit where they sat in the last solved frame."""
        if self._last is None or self.observed is None or self._solved_small is None:
            return False
        # all that were seen, not those alone that agree under this lane: whether a camera moved is no matter of the lane
        known = np.flatnonzero(np.isfinite(self.observed.seen[:, 0]))
        before = self.observed.seen[known[:: max(1, len(known) // _CHECKED)]]
        off = (_flow(self._solved_small, small, before, before, levels=1) - before) * self._factor
        off = off[np.isfinite(off[:, 0])]
        if len(off) < 0.7 * len(before):
            return False
        return bool(np.hypot(*np.median(off, axis=0)) < _UNMOVED_PX and np.median(np.abs(off)) < 3.0 * _UNMOVED_PX)

    def _solved(self, small: Grey, motion: Floats, hidden: Bools | None) -> _Solved:
        """Return the frame's camera from a motion near it; twice over, because a better motion finds more corners."""
        still = self._still
        assert still is not None
        observed = Observation(seen=_flowed(still, small, motion, hidden), start=motion)
        shift = solved_shift(still.scene, still.full(observed.seen), motion)
        if (
            shift is not None
            and np.abs(predicted_px(still.scene, shift.motion) - predicted_px(still.scene, motion)).max() > _AGAIN_PX
        ):
            observed = Observation(seen=_flowed(still, small, shift.motion, hidden), start=shift.motion)
            shift = None
        frame = self._frame(observed, shift)
        return None if frame is None else (frame, observed)

    def _frame(self, observed: Observation, shift: Shift | None = None) -> FollowedFrame | None:
        """Return the frame's camera from where the corners were seen; `shift` if it is solved already."""
        still, seen = self._still, observed.seen
        assert still is not None
        shift = shift or solved_shift(still.scene, still.full(seen), observed.start)
        if shift is None or shift.agrees.sum() < max(_LEAST_AGREE, _LEAST_AGREE_SHARE * np.isfinite(seen[:, 0]).sum()):
            return None
        exact, _ = cv2.findHomography(still.full(seen[shift.agrees]), still.full(still.points[shift.agrees]), 0)
        if exact is None:
            return None
        camera = moved_camera(self._lane_camera, shift)
        miss = project(camera, self._plane_m) - project(self._lane_camera, self._plane_m)
        places = predicted_px(still.scene, shift.motion)
        inside = (places >= 0.0) & (places < np.asarray(camera.image_size_px))
        return FollowedFrame(
            camera=camera,
            homography_to_still=np.asarray(exact, dtype=np.float64),
            matched_share=float(inside.all(axis=1).mean()),
            shift_px=float(np.sqrt(np.nanmean((miss**2).sum(axis=1)))),
            shift=shift,
        )

    def _guessed(self, small: Grey) -> Floats | None:
        """Return a first motion from features matched over the whole picture, or None."""
        still = self._still
        assert still is not None
        keys, words = still.orb.detectAndCompute(small, None)
        if words is None or still.words is None or len(keys) < _LEAST_AGREE:
            return None
        pairs = cv2.BFMatcher(cv2.NORM_HAMMING).knnMatch(words, still.words, k=2)
        good = [p[0] for p in pairs if len(p) == 2 and p[0].distance < 0.8 * p[1].distance]
        if len(good) < _LEAST_AGREE:
            return None
        here = np.array([keys[m.queryIdx].pt for m in good], dtype=np.float64)
        scene = scene_of(self._lane_camera, still.full(still.key_points[[m.trainIdx for m in good]]))
        return guessed_motion(scene, still.full(here), np.random.default_rng(len(good)))


_Solved = tuple[FollowedFrame, Observation] | None


def _better(again: _Solved, found: _Solved) -> bool:
    """Return True if a second solution is to be preferred: it fits, or more corners agree."""
    if again is None or found is None:
        return again is not None
    return (again[0].shift.fits, again[0].shift.agrees.sum()) > (found[0].shift.fits, found[0].shift.agrees.sum())


class _Still:
    """The still's corners, their lines of sight, and its features."""

    def __init__(self, small: Grey, factor: int, camera: Camera) -> None:
        self.small = small
        self.factor = factor
        self.points = _corners(small)
        self.orb = cv2.ORB.create(nfeatures=2500, fastThreshold=8)
        keys, self.words = self.orb.detectAndCompute(small, None)
        self.key_points = np.array([k.pt for k in keys], dtype=np.float64).reshape(-1, 2)
        if len(self.points) < 4 * _LEAST_AGREE:
            raise CalibrationError(
                "the calibration still shows too little to hold on to",
                f"{len(self.points)} corners found in it",
                next_step="film so that walls, benches, lines or trees stand behind the runway",
            )
        self.scene: BackgroundPoints = scene_of(camera, self.full(self.points))

    def full(self, points: Floats) -> Floats:
        """Return full-size pixels of points in the small picture (pixel centres at whole numbers in both)."""
        return np.asarray(points * self.factor + (self.factor - 1) / 2.0)

    def reduced(self, points: Floats) -> Floats:
        """Return pixels of the small picture: `full` undone."""
        return np.asarray((points - (self.factor - 1) / 2.0) / self.factor)


def _shrunk(grey: Grey, factor: int) -> Grey:
    if factor == 1:
        return grey
    height, width = grey.shape[0] // factor, grey.shape[1] // factor
    whole = grey[: height * factor, : width * factor]
    return np.asarray(cv2.resize(whole, (width, height), interpolation=cv2.INTER_AREA), dtype=np.uint8)


def _evened(grey: Grey) -> Grey:
    """Return the picture without its slow shades and at one contrast, so that a cloud or another exposure is no motion."""
    smooth = cv2.blur(grey, (_BLUR_PX, _BLUR_PX))
    gain = _CONTRAST / max(float(np.std(grey[::4, ::4].astype(np.float32) - smooth[::4, ::4])), 1.0)
    return np.asarray(cv2.addWeighted(grey, gain, smooth, -gain, 128.0), dtype=np.uint8)


def _corners(small: Grey) -> Floats:
    """Return corners (n, 2) spread over the whole picture, cell by cell."""
    height, width = small.shape
    points: list[Floats] = []
    for row in range(_CELLS[1]):
        for column in range(_CELLS[0]):
            top, bottom = row * height // _CELLS[1], (row + 1) * height // _CELLS[1]
            left, right = column * width // _CELLS[0], (column + 1) * width // _CELLS[0]
            found = cv2.goodFeaturesToTrack(small[top:bottom, left:right], _CORNERS_A_CELL, 0.05, 8.0)
            if found is not None:
                points.append(found[:, 0].astype(np.float64) + np.array([left, top]))
    every = np.concatenate(points) if points else np.empty((0, 2))
    return every[_within(every, (width, height))]


def _within(points: Floats, size: tuple[int, int]) -> Bools:
    inner = (points >= _BORDER_PX) & (points < np.asarray(size) - _BORDER_PX)
    return np.asarray(inner.all(axis=1))


def _flowed(still: _Still, small: Grey, motion: Floats, hidden: Bools | None) -> Floats:
    """Return where the still's corners are in the small frame (n, 2); NaN where they are outside, hidden or lost.

    The frame is first laid over the still, so that flow has only a remainder to find, whatever the turn between them.
    """
    height, width = small.shape
    stays = not motion.any()
    expected = still.full(still.points) if stays else predicted_px(still.scene, motion)
    guess = still.points if stays else still.reduced(expected)
    inside = _within(guess, (width, height))
    if hidden is not None:
        rows = np.clip(np.nan_to_num(expected).round().astype(int), 0, np.array(hidden.shape[::-1]) - 1)
        inside &= ~hidden[rows[:, 1], rows[:, 0]]
    seen = np.full_like(still.points, np.nan)
    if inside.sum() < _LEAST_AGREE:
        return seen
    if stays:
        found = _flow(still.small, small, still.points[inside], still.points[inside], levels=2)
        found[~_within(found, (width, height))] = np.nan
        seen[inside] = found
        return seen
    exact, _ = cv2.findHomography(guess[inside], still.points[inside], 0)
    if exact is None:
        return seen
    to_still = np.asarray(exact, dtype=np.float64)
    laid = cv2.warpPerspective(small, to_still, (width, height), flags=cv2.INTER_LINEAR)
    found = _flow(still.small, laid, still.points[inside], _carried(guess[inside], to_still), levels=2)
    found = _carried(found, np.asarray(np.linalg.inv(to_still), dtype=np.float64))
    found[~_within(found, (width, height))] = np.nan
    seen[inside] = found
    return seen


def _flow(before: Grey, after: Grey, points: Floats, guess: Floats, *, levels: int) -> Floats:
    """Return where points (n, 2) of one picture are in another, from a guess near them; NaN where lost."""
    moved, state, _ = cv2.calcOpticalFlowPyrLK(
        before,
        after,
        points[:, None].astype(np.float32),
        guess[:, None].astype(np.float32),
        winSize=_WINDOW_PX,
        maxLevel=levels,
        criteria=_STOP,
        flags=cv2.OPTFLOW_USE_INITIAL_FLOW,
    )
    return np.where(state == 0, np.nan, np.asarray(moved[:, 0], dtype=np.float64))


def _carried(points: Floats, homography: Floats) -> Floats:
    whole = np.column_stack([points, np.ones(len(points))]) @ homography.T
    return np.asarray(whole[:, :2] / whole[:, 2:])


def follow_clip(fit: LaneFit, still: Image | None, frames: Iterable[Frame]) -> FollowedClip:
    """Return how the camera of a whole clip sits to its calibration still; see `core.moving_camera.camera_path.Following`."""
    follower, following = Follower(fit, still), Following(fit, has_still=still is not None)
    for frame in frames:
        following.add(frame.index, frame.time_s, follower.camera_of(frame.image))
    return following.result()
