"""Each frame of a turning camera laid on the panorama of its tripod (OpenCV), always directly on one of its pictures.

Nothing drifts: corners of the panorama's picture that looks most nearly the same way are looked for in the frame by
optical flow. A frame that is found nowhere is told as such; the next one is looked for in the whole panorama again.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from penult.adapters.pictures.sweep import Grey, evened, features, flowed, full, grown, matched_homography, shift_to
from penult.core.moving_camera.panorama import turned_camera
from penult.core.moving_camera.turning import (
    LEAST_POINTS,
    Turn,
    homography_px,
    motion_from,
    nearest_picture,
    on_ground,
    rotation_after,
    solved_turn,
)
from penult.model.arrays import Floats
from penult.model.calibration import Camera
from penult.model.panorama import Panorama
from penult.model.sweep_picture import Key

_NEAR_TURN = 0.03
"""Radians a frame at most: three times the fastest pan of a run (60 degrees a second at 60 Hz)."""


_EVERY = 2
"""Half of the corners, some 250, know a turn to 0.002 degrees: the other half costs as much time again."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PannedFrame:
    """One frame on the panorama: which picture it was laid on, and how the camera had turned since."""

    picture: int
    turn: Turn
    rotation: Floats

    def camera(self, panorama: Panorama) -> Camera:
        """Return the camera of this frame."""
        return turned_camera(panorama, self.picture, np.asarray(self.turn.motion), np.asarray(self.turn.covariance))


class PannedFollower:
    """Follows a turning camera, frame after frame.

    Parameters
    ----------
    panorama : Panorama
    keys : sequence of Key
        Its pictures.
    factor : int
        By how much they are reduced.
    """

    def __init__(self, panorama: Panorama, keys: Sequence[Key], factor: int) -> None:
        self.panorama, self._keys, self._factor = panorama, keys, factor
        self._last: PannedFrame | None = None
        self._spin = np.eye(3)

    def frame_of(self, grey: Grey) -> PannedFrame | None:
        """Return where the camera looks in a frame (full-size grey picture), None where the place is not found in it."""
        small = evened(grey, self._factor)
        found = None
        if self._last is not None:
            found = self._laid(small, self._spin @ self._last.rotation, self._last.turn.motion[3])
            if found is None:
                found = self._laid(small, self._last.rotation, self._last.turn.motion[3])
        if found is None:
            found = self._anywhere(small)
        if found is not None and self._last is not None:
            spin = found.rotation @ self._last.rotation.T
            near = np.arccos(np.clip((np.trace(spin) - 1.0) / 2.0, -1.0, 1.0)) < _NEAR_TURN
            self._spin = spin if near else np.eye(3)
        else:
            self._spin = np.eye(3)
        self._last = found
        return found

    def _laid(self, small: Grey, rotation: Floats, zoom: float) -> PannedFrame | None:
        """Return the frame laid on the nearest picture, from a rotation near the truth."""
        picture = nearest_picture(self.panorama, rotation)
        start = motion_from(self.panorama, rotation, picture, float(zoom))
        return self._solved(small, picture, start)

    def _solved(self, small: Grey, picture: int, start: Floats) -> PannedFrame | None:
        key, motion, turn = self._keys[picture], start, None
        for _ in range(2):  # a start some pixels off leaves flow a remainder to find: the second time hardly any
            here, there = flowed(key, small, self._small(homography_px(self.panorama, motion)), _EVERY)
            if len(here) < LEAST_POINTS:
                return None
            here_px, there_px = full(here, self._factor), full(there, self._factor)
            turn = solved_turn(self.panorama, here_px, there_px, motion, on_ground(self.panorama, picture, here_px))
            if turn is None:
                return None
            moved = float(np.abs(turn.motion - motion).max()) * float(np.exp(self.panorama.log_focal))
            motion = np.array(turn.motion)
            if moved < 2.0 * self._factor:
                break
        if turn is None or not turn.fits:
            return None
        return PannedFrame(picture=picture, turn=turn, rotation=rotation_after(self.panorama, picture, motion))

    def _anywhere(self, small: Grey) -> PannedFrame | None:
        """Return the frame laid on the picture of which most features are found in it."""
        points, words = features(small)
        best: tuple[int, int, Floats] | None = None
        for i, key in enumerate(self._keys):
            rough = matched_homography(key, points, words)
            if rough is not None and (best is None or rough[1] > best[0]):
                best = (rough[1], i, rough[0])
        if best is None:
            shifted = self._shifted(small)
            if shifted is None:
                return None
            best = (0, *shifted)
        _, picture, homography = best
        here, there = flowed(self._keys[picture], small, homography)
        start = solved_turn(self.panorama, full(here, self._factor), full(there, self._factor), np.zeros(4))
        if start is None or not start.fits:
            return None
        return self._laid(small, rotation_after(self.panorama, picture, np.asarray(start.motion)), start.motion[3])

    def _shifted(self, small: Grey) -> tuple[int, Floats] | None:
        """Return the picture on which the frame lies best after a mere shift, and the homography: where features are all alike."""
        shifts = [shift_to(key, small) for key in self._keys]
        for picture in sorted(range(len(shifts)), key=lambda i: -shifts[i][1])[:3]:
            found = grown(self._keys[picture], small, shifts[picture][0])
            if found is not None:
                return picture, found
        return None

    def _small(self, homography: Floats) -> Floats:
        """Return a homography of full-size pixels for the reduced pictures."""
        f = self._factor
        up = np.array([[f, 0.0, (f - 1) / 2.0], [0.0, f, (f - 1) / 2.0], [0.0, 0.0, 1.0]])
        return np.asarray(np.linalg.inv(up) @ homography @ up)
