"""What a clip's frames, followed one by one, say together: filmed from the still's place, bumped, or moving. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from penult.core.lane import pinhole
from penult.core.lane.camera import project
from penult.core.moving_camera.registration import Shift, moved_camera
from penult.errors import ViewError
from penult.model.analysis import Notice
from penult.model.arrays import Floats, locked
from penult.model.calibration import Camera, LaneFit

LEAST_SHARE = 0.3
MOST_SHIFT_M = 0.4
"""A tripod set up again nearly at its place; from farther away the marks are another view's."""
MOST_ZOOM = 0.025
"""Focusing anew changes the focal length by 1 % or so; more is another zoom setting."""
_SAME_PX = 0.5
"""Less movement since the still than a mark is clicked to: the lane's own camera serves."""
_STEADY_PX = 0.25
"""Less movement within the clip than this is a camera that stands."""
_STRANGE_PX = 2.0
_BRIDGED_S = 0.1
_FULL_HD_PX = 1920.0


@dataclass(frozen=True, slots=True, kw_only=True)
class FollowedFrame:
    """One frame on the still.

    Parameters
    ----------
    camera : Camera
        In this frame.
    homography_to_still : (3, 3) float64
        Carries the frame's background to the still's pixels; good to a pixel or so where depth differs.
    matched_share : float
        Share of the still's background corners that lie inside this frame.
    shift_px : float
        RMS movement of the run plane in the picture since the still.
    shift : Shift
        The camera's motion itself.
    """

    camera: Camera
    homography_to_still: Floats
    matched_share: float
    shift_px: float
    shift: Shift

    def __post_init__(self) -> None:
        object.__setattr__(self, "homography_to_still", locked(self.homography_to_still))


@dataclass(frozen=True, slots=True, kw_only=True)
class FollowedClip:
    """Where the camera of a clip stood.

    Parameters
    ----------
    kind : {'same', 'moved', 'moving'}
        Filmed from exactly the still's place; from a place near it, standing; or a camera that moves in the clip.
    cameras : tuple of Camera
        One, or one for each frame of a moving camera (in the order in which frames were added).
    to_still : (1, 3, 3) or (t, 3, 3) float64
        Homographies from the frames' background to the still, one or one for each frame as `cameras`.
    matched_share, shift_px : (t,) float64
        Of each frame: see `FollowedFrame`; NaN where it was bridged from its neighbours.
    notices : tuple of Notice
    """

    kind: Literal["same", "moved", "moving"]
    cameras: tuple[Camera, ...]
    to_still: Floats
    matched_share: Floats
    shift_px: Floats
    notices: tuple[Notice, ...] = ()

    def __post_init__(self) -> None:
        for name in ("to_still", "matched_share", "shift_px"):
            object.__setattr__(self, name, locked(getattr(self, name)))

    def camera_of(self, row: int) -> Camera:
        """Return the camera of the frame that was added as `row`."""
        return self.cameras[0] if len(self.cameras) == 1 else self.cameras[row]


class Following:
    """Gathers followed frames in the order of the clip, gives up when the scene is lost, and judges at the end."""

    def __init__(self, fit: LaneFit, *, has_still: bool = True) -> None:
        self._lane_camera = fit.camera
        self._has_still = has_still
        self._scale = max(fit.camera.image_size_px) / _FULL_HD_PX
        self._frames: list[FollowedFrame | None] = []
        self._times_s: list[float] = []
        self._lost: tuple[int, float] | None = None

    def add(self, index: int, time_s: float, found: FollowedFrame | None) -> None:
        """Take the next frame: its index in the clip, its time, and where its camera was found (None: nowhere).

        Raises
        ------
        ViewError
            As soon as the scene has been out of the picture for longer than can be bridged, with the first such frame;
            or at once where less than 30 % of the still is in the picture.
        """
        self._frames.append(found)
        self._times_s.append(time_s)
        if found is None:
            self._lost = self._lost or (index, time_s)
            if time_s - self._lost[1] > _BRIDGED_S:
                raise self._lost_error(*self._lost, "its background is not found in the picture")
            return
        self._lost = None
        if found.matched_share < LEAST_SHARE:
            seen = (
                f"{100.0 * found.matched_share:.0f} % of it is in the picture, {100.0 * LEAST_SHARE:.0f} % are needed"
            )
            raise self._lost_error(index, time_s, seen)

    def result(self) -> FollowedClip:
        """Return the judgement over all frames.

        Raises
        ------
        ViewError
            If the clip was filmed from elsewhere.
        """
        if not any(f is not None for f in self._frames):
            raise self._lost_error(0, 0.0, "its background is not found in the picture")
        self._refuse_elsewhere()
        found = [f for f in self._frames if f is not None]
        places = np.array([project(f.camera, run_plane_m(self._lane_camera)) for f in _distinct(found)])
        weights = _counts(found)
        middle = np.median(places, axis=0)
        swing_px = np.sqrt(((places - middle) ** 2).sum(axis=2).mean(axis=1))
        within_px = float(np.sqrt(np.average(swing_px**2, weights=weights)))
        if within_px > _STEADY_PX * self._scale:
            return self._moving()
        return self._standing(_distinct(found))

    def _standing(self, found: Sequence[FollowedFrame]) -> FollowedClip:
        shift = _typical([f.shift for f in found])
        camera = moved_camera(self._lane_camera, shift)
        points_m = run_plane_m(self._lane_camera)
        off = project(camera, points_m) - project(self._lane_camera, points_m)
        shift_px = float(np.sqrt((off**2).sum(axis=1).mean()))
        if shift_px < _SAME_PX * self._scale or not self._has_still:
            return self._clip("same", (self._lane_camera,), np.eye(3)[None], ())
        text = (
            f"The camera was moved after the calibration: turned by {shift.turn_deg:.1f} degrees, "
            f"shifted by {100.0 * shift.shift_m:.0f} cm. It was solved again from the background."
        )
        middle = found[len(found) // 2]
        notice = Notice(code="camera-moved", text=text)
        return self._clip("moved", (camera,), middle.homography_to_still[None], (notice,))

    def _moving(self) -> FollowedClip:
        bridged = _bridged(self._frames, np.array(self._times_s), self._lane_camera)
        moves_px = max(f.shift_px for f in self._frames if f is not None)
        text = (
            f"The camera moves in this clip (the picture by up to {moves_px:.0f} px); it was followed frame by frame "
            "through the background."
        )
        notices = [Notice(code="camera-moving", text=text)]
        if not self._has_still:
            begun = "The lane file has no still: the clip is taken to begin as the lane was calibrated."
            notices.append(Notice(code="camera-assumed", text=begun))
        homographies = np.stack([f.homography_to_still for f in bridged])
        return self._clip("moving", tuple(f.camera for f in bridged), homographies, tuple(notices))

    def _clip(
        self,
        kind: Literal["same", "moved", "moving"],
        cameras: tuple[Camera, ...],
        to_still: Floats,
        notices: tuple[Notice, ...],
    ) -> FollowedClip:
        return FollowedClip(
            kind=kind,
            cameras=cameras,
            to_still=to_still,
            matched_share=np.array([np.nan if f is None else f.matched_share for f in self._frames]),
            shift_px=np.array([np.nan if f is None else f.shift_px for f in self._frames]),
            notices=notices,
        )

    def _lost_error(self, index: int, time_s: float, why: str) -> ViewError:
        if not any(f is not None for f in self._frames[:-1]):
            return ViewError(
                "the clip was not filmed from where the lane was calibrated",
                f"frame {index} ({time_s:.2f} s): {why}",
                next_step="use the lane file made for this camera place, or calibrate from a frame of this clip; for a phone that "
                "is turned after the athlete make a lane file from a sweep: penult calibrate SWEEP --places CSV --clicks CSV",
            )
        return ViewError(
            "the camera turns away from the calibrated scene",
            f"lost at frame {index} ({time_s:.2f} s): {why}",
            next_step="keep the runway's calibrated part in the picture; for a phone that is turned after the athlete make a lane "
            "file from a sweep: penult calibrate SWEEP --places CSV --clicks CSV",
        )

    def _refuse_elsewhere(self) -> None:
        found = [f for f in self._frames if f is not None]
        shift_m = float(np.median([f.shift.shift_m for f in found]))
        zoom = float(np.median([f.shift.motion[6] for f in found]))
        strange = np.mean([not f.shift.fits and f.shift_px > _STRANGE_PX * self._scale for f in found]) > 0.5
        if strange:
            detail = "the background has another shape than in the still (another place, zoom or lens)"
        elif shift_m > MOST_SHIFT_M:
            detail = f"the camera stands {shift_m:.1f} m from its place; up to {MOST_SHIFT_M:.1f} m can be bridged"
        elif abs(zoom) > MOST_ZOOM:
            detail = f"the picture is {100.0 * abs(zoom):.0f} % {'larger' if zoom > 0.0 else 'smaller'}: another zoom"
        else:
            return
        raise ViewError(
            "the clip was not filmed from where the lane was calibrated",
            detail,
            next_step="use the lane file made for this camera place, or calibrate from a frame of this clip",
        )


def _distinct(found: Sequence[FollowedFrame]) -> list[FollowedFrame]:
    """Return the frames without repeats: frames in which nothing moved share one record."""
    return [f for i, f in enumerate(found) if i == 0 or f is not found[i - 1]]


def _counts(found: Sequence[FollowedFrame]) -> Floats:
    starts = [i for i, f in enumerate(found) if i == 0 or f is not found[i - 1]]
    return np.diff([*starts, len(found)]).astype(np.float64)


def _typical(shifts: Sequence[Shift]) -> Shift:
    """Return the median turn and shift; the covariance stays that of one frame, whose faults all frames share."""
    return replace(shifts[len(shifts) // 2], motion=np.median([s.motion for s in shifts], axis=0))


def _bridged(frames: Sequence[FollowedFrame | None], times_s: Floats, lane_camera: Camera) -> list[FollowedFrame]:
    """Return every frame's camera; where it was not found, between its neighbours in time (or as its one neighbour).

    Cameras are not smoothed: followed frames scatter by a few hundredths of a pixel, a hand shakes by many pixels.
    """
    out: list[FollowedFrame] = []
    known = [(i, f) for i, f in enumerate(frames) if f is not None]
    for row, frame in enumerate(frames):
        first, before = next(((i, f) for i, f in reversed(known) if i <= row), known[0])
        last, after = next(((i, f) for i, f in known if i >= row), known[-1])
        if frame is not None or before is after:
            out.append(before)
            continue
        share = (times_s[row] - times_s[first]) / (times_s[last] - times_s[first])
        out.append(_between(before, after, float(share), lane_camera))
    return out


def _between(before: FollowedFrame, after: FollowedFrame, share: float, lane_camera: Camera) -> FollowedFrame:
    apart = after.shift.motion - before.shift.motion
    # a hand may have swung out and back in between: as far again as it went
    spread = before.shift.covariance + np.outer(apart, apart)
    shift = replace(before.shift, motion=before.shift.motion + share * apart, covariance=spread)
    blend = (1.0 - share) * before.homography_to_still + share * after.homography_to_still
    return replace(before, camera=moved_camera(lane_camera, shift), shift=shift, homography_to_still=blend)


def run_plane_m(camera: Camera) -> Floats:
    """Return a grid of run-plane points (n, 3) that the camera sees: where movement of the picture matters."""
    width_px, height_px = camera.image_size_px
    grid = np.array([(x * width_px, y * height_px) for x in (0.1, 0.37, 0.63, 0.9) for y in (0.3, 0.7)])
    flat = pinhole.straight(camera.parameters, camera.centre_px, grid)
    along = np.column_stack([flat, np.ones(len(flat))]) @ pinhole.rotation(camera.parameters)
    lens_m = pinhole.centre_m(camera.parameters)
    with np.errstate(divide="ignore"):
        reach = -lens_m[2] / along[:, 2]
    seen = np.isfinite(reach) & (reach > 0.0)
    return np.asarray((lens_m + reach[:, None] * along)[seen])
