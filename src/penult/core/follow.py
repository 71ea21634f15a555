"""How a camera has turned and shifted since the calibration still, from background points seen in both pictures.

A background point's pixel in the still gives its line of sight but not its distance. Every point therefore carries an
inverse distance with its own spread: ground near the runway is known to lie at y = 0; what stands behind it may be
anywhere out to the horizon. The spread enters each residual's weight along the line on which the point would slide, so
that points of unknown distance fix the turn and ground points the shift (after Hartley and Zisserman 2004, section
9.3.2; weights as in JCGM 101 for an uncertain input). Robust by Tukey's biweight. Pure.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial.transform import Rotation

from penult.core import pinhole
from penult.model.arrays import Bools, Floats, locked
from penult.model.calibration import Camera

SHIFT_PRIOR_SD_M = 0.2
"""A knocked tripod, one set down again on its marks, a swaying hand: a few centimetres to a few decimetres."""
GROUND_SD_SHARE = 0.02
"""Of the inverse distance of ground near the runway: 2 cm of unevenness under a lens 1.2 m up."""
BEHIND_SD_SHARE = 0.3
_GROUND_BEHIND_M = 1.5  # the runway's far edge, with what lies on it
_LEAST_SD_PX = 0.1
SYSTEMATIC_PX = 0.1
"""What registration misses as a whole, however many corners agree (compression, interpolation); carried as a turn."""
_MOST_SD_PX = 2.0
"""Of a full-HD picture (scaled with others): a scene that fits no better is another scene, not a blurred one."""
_TUKEY = 4.685  # 95 % efficiency on normal residuals (Holland and Welsch 1977)
_MEDIAN_OF_2D = 1.1774  # median length of a two-dimensional unit normal
_ROUNDS = 25
_CONVERGED = 1e-7
_FEW = 100
_PRIOR = np.diag([1e-9, 1e-9, 1e-9, *[SHIFT_PRIOR_SD_M**-2] * 3])  # in radians and metres
_SETTLING = 4  # rounds in which a start some pixels off may still count as noise


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """Background points of the still.

    Parameters
    ----------
    camera : Camera
        Of the still.
    points_px : (n, 2) float64
        In the still.
    rays : (n, 3) float64
        Lines of sight in the still's camera axes, third component 1.
    nearness_per_m, nearness_sd_per_m : (n,) float64
        Inverse distance along the optical axis, and its SD.
    """

    camera: Camera
    points_px: Floats
    rays: Floats
    nearness_per_m: Floats
    nearness_sd_per_m: Floats

    def __post_init__(self) -> None:
        for name in ("points_px", "rays", "nearness_per_m", "nearness_sd_per_m"):
            object.__setattr__(self, name, locked(getattr(self, name)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Shift:
    """A camera's turn (rotation vector) and shift (metres), both in the still's camera axes.

    `covariance` (6, 6) is of turn then shift for the still's camera as it is, `per_parameter` (6, 9) how both would
    change with that camera's parameters; `agrees` (n,) are the points it rests on, `noise_px` their spread; `fits` is
    False where that spread is as wide as it may be: the pictures do not show one rigid scene.
    """

    turn_rad: Floats
    shift_m: Floats
    covariance: Floats
    per_parameter: Floats
    agrees: Bools
    noise_px: float
    fits: bool = True

    def __post_init__(self) -> None:
        for name in ("turn_rad", "shift_m", "covariance", "per_parameter"):
            object.__setattr__(self, name, locked(getattr(self, name)))
        object.__setattr__(self, "agrees", locked(self.agrees, bool))


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
        The camera's turn and shift themselves.
    """

    camera: Camera
    homography_to_still: Floats
    matched_share: float
    shift_px: float
    shift: Shift

    def __post_init__(self) -> None:
        object.__setattr__(self, "homography_to_still", locked(self.homography_to_still))


def scene_of(camera: Camera, points_px: Floats) -> Scene:
    """Return what is known of background points (n, 2) in the picture of `camera`: rays and inverse distances."""
    rays, nearness, spread = _sighted(camera.parameters, camera.centre_px, points_px)
    return Scene(camera=camera, points_px=points_px, rays=rays, nearness_per_m=nearness, nearness_sd_per_m=spread)


def _sighted(parameters: Floats, centre_px: tuple[float, float], points_px: Floats) -> tuple[Floats, Floats, Floats]:
    """Return rays (n, 3), inverse distances (n,) and their SD (n,) of points in the still."""
    flat = pinhole.straight(parameters, centre_px, points_px)
    rays = np.column_stack([flat, np.ones(len(flat))])
    level = pinhole.rotation(parameters)
    along, lens_m = rays @ level, pinhole.centre_m(parameters)
    run_m = abs(float(lens_m[2])) / max(abs(float(level[2, 2])), 0.3)
    ground = np.maximum(-along[:, 1] / max(float(lens_m[1]), 0.1), 0.0)  # 0 above the horizon
    beyond_m = -np.sign(lens_m[2]) * (lens_m[2] + along[:, 2] / np.maximum(ground, 1e-9))
    near = (ground > 0.0) & (beyond_m < _GROUND_BEHIND_M)
    # behind the runway a thing stands somewhere between the runway and where its line of sight meets the ground
    nearest = np.maximum(1.0 / run_m, ground)
    middle = np.where(near, ground, 0.5 * (ground + nearest))
    behind = np.maximum(BEHIND_SD_SHARE * (nearest - ground), GROUND_SD_SHARE * nearest)
    return rays, middle, np.where(near, GROUND_SD_SHARE * ground, behind)


def solved_shift(scene: Scene, seen_px: Floats, start: Shift | None = None) -> Shift | None:
    """Return the turn and shift that carry the still's points to where they are seen, or None with fewer than 8.

    Parameters
    ----------
    scene : Scene
    seen_px : (n, 2) float64
        The points in the other picture; NaN where lost.
    start : Shift, optional
        A neighbour's solution.
    """
    usable = np.asarray(np.isfinite(seen_px).all(axis=1))
    if usable.sum() < 8:
        return None
    part = _Part(scene, usable, seen_px[usable])
    pose = np.zeros(6) if start is None else np.concatenate([start.turn_rad, start.shift_m])
    solved = part.converged(pose)
    agrees = np.zeros(len(usable), dtype=np.bool_)
    agrees[usable] = solved.weight > 0.05
    covariance = np.asarray(np.linalg.inv(solved.normal), dtype=np.float64)
    covariance[:3, :3] += (SYSTEMATIC_PX / part.focal_px) ** 2 * np.eye(3)
    return Shift(
        turn_rad=solved.pose[:3],
        shift_m=solved.pose[3:],
        covariance=covariance,
        per_parameter=part.per_parameter(solved),
        agrees=agrees,
        noise_px=solved.noise_px,
        fits=solved.noise_px < 0.95 * part.most_px,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Solved:
    """A converged pose and what its last step rested on: weights (n,), slopes (n, 2, 6) plain and whitened, normal matrix."""

    pose: Floats
    weight: Floats
    slopes: Floats
    across: Floats
    normal: Floats
    noise_px: float


class _Part:
    """The usable points of one picture, and the iteratively re-weighted Gauss-Newton over them."""

    def __init__(self, scene: Scene, usable: Bools, seen_px: Floats) -> None:
        self.camera = scene.camera
        self.points_px, self.seen_px = scene.points_px[usable], seen_px
        self.rays, self.near = scene.rays[usable], scene.nearness_per_m[usable]
        self.near_sd = scene.nearness_sd_per_m[usable]
        self.focal_px = float(np.exp(self.camera.parameters[pinhole.LOG_FOCAL]))
        self.seen = pinhole.straight(self.camera.parameters, self.camera.centre_px, seen_px) * self.focal_px
        self.most_px = _MOST_SD_PX * max(self.camera.image_size_px) / 1920.0

    def converged(self, pose: Floats) -> _Solved:
        noise_px = 8.0
        for done in range(_ROUNDS):
            miss, slopes, slide = self._linear(pose)
            # weight matrix of noise^2 I + slide slide^T (Sherman-Morrison)
            lean = slide / np.sqrt(noise_px**2 + (slide**2).sum(axis=1, keepdims=True))
            whole = np.maximum((miss**2).sum(axis=1) - (miss * lean).sum(axis=1) ** 2, 0.0)
            noise_px = max(_LEAST_SD_PX, float(np.sqrt(np.median(whole))) / _MEDIAN_OF_2D)
            if done >= _SETTLING:
                noise_px = min(noise_px, self.most_px)
            share = whole / (_TUKEY * noise_px) ** 2
            weight = np.where(share < 1.0, (1.0 - share) ** 2, 0.0)
            across = slopes - lean[:, :, None] * (lean[:, None, :] @ slopes)
            across *= weight[:, None, None] / noise_px**2
            normal = np.tensordot(across, slopes, axes=([0, 1], [0, 1])) + _PRIOR
            step = np.linalg.solve(normal, np.tensordot(across, miss, axes=([0, 1], [0, 1])) - _PRIOR @ pose)
            pose = pose + step
            if done > _SETTLING + 1 and np.abs(step).max() < _CONVERGED:
                break
        return _Solved(pose=pose, weight=weight, slopes=slopes, across=across, normal=normal, noise_px=noise_px)

    def per_parameter(self, solved: _Solved) -> Floats:
        """Return the (6, 9) change of the pose with the parameters of the still's camera (implicit differentiation).

        It is smooth over the picture: about a hundred points give it.
        """
        few = slice(None, None, max(1, len(self.near) // _FEW))
        across = solved.across[few]
        normal = np.tensordot(across, solved.slopes[few], axes=([0, 1], [0, 1])) + _PRIOR
        change = np.zeros((6, pinhole.SIZE))
        for i in np.flatnonzero(np.diag(self.camera.covariance) > 0.0):
            nudge = np.zeros(pinhole.SIZE)
            nudge[i] = 1e-5
            apart = self._miss_px(solved.pose, nudge, few) - self._miss_px(solved.pose, -nudge, few)
            change[:, i] = np.linalg.solve(normal, np.tensordot(across, apart / 2e-5, axes=([0, 1], [0, 1])))
        return change

    def _miss_px(self, pose: Floats, nudge: Floats, few: slice) -> Floats:
        parameters = self.camera.parameters + nudge
        rays, near, _ = _sighted(parameters, self.camera.centre_px, self.points_px[few])
        ahead = (rays - near[:, None] * pose[3:]) @ pinhole.turned(pose[:3]).T
        seen = pinhole.straight(parameters, self.camera.centre_px, self.seen_px[few])
        return np.asarray((seen - ahead[:, :2] / ahead[:, 2:]) * self.focal_px)

    def _linear(self, pose: Floats) -> tuple[Floats, Floats, Floats]:
        """Return misses (n, 2), slopes (n, 2, 6) and the slide of each point with its inverse distance's SD (n, 2)."""
        turn = pinhole.turned(pose[:3])
        ahead = (self.rays - self.near[:, None] * pose[3:]) @ turn.T
        x, y, w = ahead[:, 0], ahead[:, 1], np.maximum(ahead[:, 2], 0.05)
        zero = np.zeros_like(x)
        flat = self.focal_px * np.stack([x / w, y / w], axis=1)
        image = self.focal_px * np.stack(
            [np.stack([1 / w, zero, -x / w**2], axis=1), np.stack([zero, 1 / w, -y / w**2], axis=1)], axis=1
        )
        spun = np.zeros((len(x), 3, 3))  # d(ahead) / d(turn): -[ahead]x, turns composed on the left
        spun[:, 0, 1], spun[:, 0, 2], spun[:, 1, 2] = ahead[:, 2], -ahead[:, 1], ahead[:, 0]
        spun -= spun.transpose(0, 2, 1)
        slopes = np.concatenate([image @ spun, -self.near[:, None, None] * (image @ turn)], axis=2)
        slide = -(image @ (turn @ pose[3:])) * self.near_sd[:, None]
        return self.seen - flat, slopes, slide


def moved_camera(camera: Camera, shift: Shift) -> Camera:
    """Return the still's camera after a turn and shift; both uncertainties are carried, and how they go together."""
    motion = np.concatenate([shift.turn_rad, shift.shift_m])
    values = np.concatenate([camera.parameters, motion])
    slopes = np.empty((pinhole.SIZE, len(values)))
    for i in range(len(values)):
        nudge = np.zeros(len(values))
        nudge[i] = 1e-6
        ahead, behind = values + nudge, values - nudge
        slopes[:, i] = (_moved(ahead) - _moved(behind)) / 2e-6
    of_lane = slopes[:, : pinhole.SIZE] + slopes[:, pinhole.SIZE :] @ shift.per_parameter
    of_motion = slopes[:, pinhole.SIZE :]
    return Camera(
        parameters=_moved(values),
        covariance=of_lane @ camera.covariance @ of_lane.T + of_motion @ shift.covariance @ of_motion.T,
        image_size_px=camera.image_size_px,
        centre_px=camera.centre_px,
    )


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


def _moved(values: Floats) -> Floats:
    """Return camera parameters (9) after a turn and shift, given all three in one vector (15)."""
    parameters, turn, shift_m = values[: pinhole.SIZE], Rotation.from_rotvec(values[9:12]), values[12:15]
    moved = parameters.copy()
    moved[:3] = (turn * Rotation.from_rotvec(np.array(parameters[:3]))).as_rotvec()
    # a lens that moves by s (camera axes) sees every point moved by -s
    moved[3:6] = turn.apply(parameters[3:6] - shift_m)
    return moved
