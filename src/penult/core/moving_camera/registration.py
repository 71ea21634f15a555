"""How a camera has turned, shifted and refocused since the calibration still, from background seen in both pictures.

Each point's uncertain distance enters its residual's weight along the line on which the point would slide, so that
points of unknown distance fix the turn and ground points the shift (rigid two-view motion: Hartley and Zisserman 2004,
section 9.5). Robust by Tukey's biweight; a first guess from random small samples (Fischler and Bolles 1981). Pure.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial.transform import Rotation

from penult.core.lane import pinhole
from penult.core.moving_camera.background_points import BackgroundPoints, sighted
from penult.model.arrays import Bools, Floats, locked
from penult.model.calibration import Camera

SHIFT_PRIOR_SD_M = 0.2
"""A knocked tripod, one set down again on its marks, a swaying hand: a few centimetres to a few decimetres."""
ZOOM_PRIOR_SD = 0.01
"""Focusing anew changes a phone's focal length by about 1 %."""
SYSTEMATIC_PX = 0.1
"""What registration misses as a whole, however many corners agree (compression, interpolation); carried as a turn."""
MOST_NOISE_PX = 1.5
"""In a full-HD picture: a scene that fits no better is another scene, not a blurred one."""
LEAST_GROUND_SHARE = 0.25
"""Of the ground's corners must agree, or the turn was found on the far background alone."""
_LEAST_NOISE_PX = 0.1
_LEAST_POINTS = 8
_TUKEY = 4.685  # 95 % efficiency on normal residuals (Holland and Welsch 1977)
_MEDIAN_OF_2D = 1.1774  # median length of a two-dimensional unit normal
_SIZE = 7  # turn (3), shift (3), change of ln(focal length)
_PRIOR = np.diag([1e-9, 1e-9, 1e-9, *[SHIFT_PRIOR_SD_M**-2] * 3, ZOOM_PRIOR_SD**-2])
_ROUNDS = 25
_SETTLING = 4  # rounds in which a start some pixels off may still count as noise
_CONVERGED = 1e-7
_FEW = 100
_SAMPLES = 250
_SAMPLE_ROUNDS = 5
_ROUGH_PX = 4.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Shift:
    """What a camera did since the still.

    Parameters
    ----------
    motion : (7,) float64
        Turn (rotation vector) and shift in metres, both in the still's camera axes, and change of ln(focal length).
    covariance : (7, 7) float64
        Of `motion`, for the still's camera as it is.
    per_parameter : (7, 9) float64
        How `motion` would change with that camera's parameters.
    agrees : (n,) bool
        The points that it rests on.
    noise_px : float
        Their spread.
    fits : bool
        False where the two pictures do not show one rigid scene.
    """

    motion: Floats
    covariance: Floats
    per_parameter: Floats
    agrees: Bools
    noise_px: float
    fits: bool

    def __post_init__(self) -> None:
        for name in ("motion", "covariance", "per_parameter"):
            object.__setattr__(self, name, locked(getattr(self, name)))
        object.__setattr__(self, "agrees", locked(self.agrees, bool))

    @property
    def turn_deg(self) -> float:
        """Return the angle of the turn."""
        return float(np.degrees(np.linalg.norm(self.motion[:3])))

    @property
    def shift_m(self) -> float:
        """Return the length of the shift."""
        return float(np.linalg.norm(self.motion[3:6]))


def solved_shift(scene: BackgroundPoints, seen_px: Floats, start: Floats | None = None) -> Shift | None:
    """Return the motion that carries the still's points to where they are seen, or None with fewer than 8 points.

    Parameters
    ----------
    scene : BackgroundPoints
    seen_px : (n, 2) float64
        The points in the other picture; NaN where lost.
    start : (7,) float64, optional
        A motion near the answer, such as a neighbour's; none begins at rest.
    """
    usable = np.asarray(np.isfinite(seen_px).all(axis=1))
    if usable.sum() < _LEAST_POINTS:
        return None
    part = _Part(scene, usable, seen_px[usable])
    solved = part.converged(np.zeros(_SIZE) if start is None else np.array(start))
    agrees = np.zeros(len(usable), dtype=np.bool_)
    agrees[usable] = solved.weight > 0.05
    covariance = np.asarray(np.linalg.inv(solved.normal), dtype=np.float64)
    covariance[:3, :3] += (SYSTEMATIC_PX / part.focal_px) ** 2 * np.eye(3)
    ground = scene.on_ground & usable
    on_ground = float(agrees[ground].mean()) if ground.sum() >= _LEAST_POINTS else 1.0
    return Shift(
        motion=solved.motion,
        covariance=covariance,
        per_parameter=part.per_parameter(solved),
        agrees=agrees,
        noise_px=solved.noise_px,
        fits=solved.noise_px < 0.95 * part.most_px and on_ground >= LEAST_GROUND_SHARE,
    )


def guessed_motion(scene: BackgroundPoints, seen_px: Floats, rng: np.random.Generator) -> Floats | None:
    """Return the motion (7,) on which most point pairs agree, many of them wrong; None where too few do.

    Small samples are drawn half from the ground, half from elsewhere, so that a far background in the majority cannot
    outvote the ground that fixes the shift.
    """
    usable = np.asarray(np.isfinite(seen_px).all(axis=1))
    if usable.sum() < _LEAST_POINTS:
        return None
    part = _Part(scene, usable, seen_px[usable])
    ground = np.flatnonzero(scene.on_ground[usable])
    other = np.flatnonzero(~scene.on_ground[usable])
    halves = [half for half in (ground, other) if len(half) >= 4] or [np.arange(usable.sum())]
    best, best_votes = None, float(_LEAST_POINTS)
    for _ in range(_SAMPLES):
        picked = np.concatenate([rng.choice(half, 4 // len(halves), replace=False) for half in halves])
        motion = part.picked(picked).settled(_SAMPLE_ROUNDS)
        agree = part.lengths_px(motion, _ROUGH_PX) < _ROUGH_PX * 2.0
        # one vote a half, so that the larger half cannot decide alone
        votes = float(sum(np.sqrt(agree[half].sum()) for half in halves)) ** 2 / len(halves)
        if votes > best_votes:
            best, best_votes = motion, votes
    return best


def predicted_px(scene: BackgroundPoints, motion: Floats) -> Floats:
    """Return where the scene's points (n, 2) should be seen after a motion."""
    ahead = _ahead(scene.rays, scene.nearness_per_m, motion)
    parameters = scene.camera.parameters.copy()
    parameters[pinhole.LOG_FOCAL] += motion[6]
    with np.errstate(divide="ignore", invalid="ignore"):
        flat = np.where(ahead[:, 2:] > 0.05, ahead[:, :2] / ahead[:, 2:], np.nan)
    return pinhole.bent_px(parameters, scene.camera.centre_px, flat)


def _ahead(rays: Floats, nearness: Floats, motion: Floats) -> Floats:
    """Return points in the turned camera's axes, scaled by their nearness in the still."""
    return np.asarray((rays - nearness[:, None] * motion[3:6]) @ pinhole.turned(motion[:3]).T)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Solved:
    """A converged motion and its last step: weights (n,), slopes (n, 2, 7) plain and whitened, normal matrix."""

    motion: Floats
    weight: Floats
    slopes: Floats
    across: Floats
    normal: Floats
    noise_px: float


class _Part:
    """The usable points of one picture, and the iteratively re-weighted Gauss-Newton over them."""

    def __init__(self, scene: BackgroundPoints, usable: Bools, seen_px: Floats) -> None:
        self.camera = scene.camera
        self.points_px, self.seen_px = scene.points_px[usable], seen_px
        self.rays, self.near = scene.rays[usable], scene.nearness_per_m[usable]
        self.near_sd = scene.nearness_sd_per_m[usable]
        self.focal_px = float(np.exp(self.camera.parameters[pinhole.LOG_FOCAL]))
        self.seen = pinhole.straight(self.camera.parameters, self.camera.centre_px, seen_px) * self.focal_px
        self.most_px = MOST_NOISE_PX * max(self.camera.image_size_px) / 1920.0

    def picked(self, rows: Floats) -> _Part:
        """Return the same for some of the points."""
        few = object.__new__(_Part)
        few.camera, few.focal_px, few.most_px = self.camera, self.focal_px, self.most_px
        for name in ("points_px", "seen_px", "rays", "near", "near_sd", "seen"):
            setattr(few, name, getattr(self, name)[rows])
        return few

    def settled(self, rounds: int) -> Floats:
        """Return the plain least-squares motion after a few rounds."""
        motion = np.zeros(_SIZE)
        for _ in range(rounds):
            miss, slopes, slide = self._linear(motion)
            across = _whitened(slopes, slide, _ROUGH_PX) / _ROUGH_PX**2
            motion = motion + _step(across, slopes, miss, motion)[0]
        return motion

    def lengths_px(self, motion: Floats, noise_px: float) -> Floats:
        """Return how far each point misses (n,), in pixels across the line of its own uncertainty."""
        miss, _, slide = self._linear(motion)
        lean = slide / np.sqrt(noise_px**2 + (slide**2).sum(axis=1, keepdims=True))
        return np.asarray(np.sqrt(np.maximum((miss**2).sum(axis=1) - (miss * lean).sum(axis=1) ** 2, 0.0)))

    def converged(self, motion: Floats) -> _Solved:
        noise_px = 8.0
        for done in range(_ROUNDS):
            miss, slopes, slide = self._linear(motion)
            whole = self.lengths_px(motion, noise_px)
            noise_px = max(_LEAST_NOISE_PX, float(np.median(whole)) / _MEDIAN_OF_2D)
            if done >= _SETTLING:
                noise_px = min(noise_px, self.most_px)
            share = (whole / (_TUKEY * noise_px)) ** 2
            weight = np.where(share < 1.0, (1.0 - share) ** 2, 0.0)
            across = _whitened(slopes, slide, noise_px) * (weight[:, None, None] / noise_px**2)
            step, normal = _step(across, slopes, miss, motion)
            motion = motion + step
            if done > _SETTLING + 1 and np.abs(step).max() < _CONVERGED:
                break
        return _Solved(motion=motion, weight=weight, slopes=slopes, across=across, normal=normal, noise_px=noise_px)

    def per_parameter(self, solved: _Solved) -> Floats:
        """Return the (7, 9) change of the motion with the parameters of the still's camera (implicit differentiation).

        It is smooth over the picture: about a hundred points give it.
        """
        few = slice(None, None, max(1, len(self.near) // _FEW))
        across = solved.across[few]
        normal = np.tensordot(across, solved.slopes[few], axes=([0, 1], [0, 1])) + _PRIOR
        change = np.zeros((_SIZE, pinhole.SIZE))
        for i in np.flatnonzero(np.diag(self.camera.covariance) > 0.0):
            nudge = np.zeros(pinhole.SIZE)
            nudge[i] = 1e-5
            apart = self._miss_px(solved.motion, nudge, few) - self._miss_px(solved.motion, -nudge, few)
            change[:, i] = np.linalg.solve(normal, np.tensordot(across, apart / 2e-5, axes=([0, 1], [0, 1])))
        return change

    def _miss_px(self, motion: Floats, nudge: Floats, few: slice) -> Floats:
        parameters = self.camera.parameters + nudge
        rays, near, _, _ = sighted(parameters, self.camera.centre_px, self.points_px[few])
        ahead = _ahead(rays, near, motion)
        seen = pinhole.straight(parameters, self.camera.centre_px, self.seen_px[few])
        return np.asarray((seen - np.exp(motion[6]) * ahead[:, :2] / ahead[:, 2:]) * self.focal_px)

    def _linear(self, motion: Floats) -> tuple[Floats, Floats, Floats]:
        """Return misses (n, 2), slopes (n, 2, 7) and the slide of each point with the SD of its nearness (n, 2)."""
        turn = pinhole.turned(motion[:3])
        ahead = _ahead(self.rays, self.near, motion)
        focal_px = self.focal_px * np.exp(motion[6])
        x, y, w = ahead[:, 0], ahead[:, 1], np.maximum(ahead[:, 2], 0.05)
        flat = focal_px * np.stack([x / w, y / w], axis=1)
        image = np.zeros((len(x), 2, 3))
        image[:, 0, 0] = image[:, 1, 1] = focal_px / w
        image[:, :, 2] = -flat / w[:, None]
        spun = np.zeros((len(x), 3, 3))  # d(ahead) / d(turn): -[ahead]x, turns composed on the left
        spun[:, 0, 1], spun[:, 0, 2], spun[:, 1, 2] = ahead[:, 2], -ahead[:, 1], ahead[:, 0]
        spun -= spun.transpose(0, 2, 1)
        pushed = -self.near[:, None, None] * (image @ turn)
        slopes = np.concatenate([image @ spun, pushed, flat[:, :, None]], axis=2)
        slide = -(image @ (turn @ motion[3:6])) * self.near_sd[:, None]
        return self.seen - flat, slopes, slide


def _whitened(slopes: Floats, slide: Floats, noise_px: float) -> Floats:
    """Return slopes times noise^2 (noise^2 I + slide slide^T)^-1, by Sherman and Morrison."""
    lean = slide / np.sqrt(noise_px**2 + (slide**2).sum(axis=1, keepdims=True))
    return np.asarray(slopes - lean[:, :, None] * (lean[:, None, :] @ slopes))


def _step(across: Floats, slopes: Floats, miss: Floats, motion: Floats) -> tuple[Floats, Floats]:
    """Return the Gauss-Newton step (7,) and its normal matrix (7, 7), the prior within."""
    normal = np.tensordot(across, slopes, axes=([0, 1], [0, 1])) + _PRIOR
    right = np.tensordot(across, miss, axes=([0, 1], [0, 1])) - _PRIOR @ motion
    return np.asarray(np.linalg.solve(normal, right), dtype=np.float64), normal


def moved_camera(camera: Camera, shift: Shift) -> Camera:
    """Return the still's camera after a motion; both uncertainties are carried, and how they go together."""
    values = np.concatenate([camera.parameters, shift.motion])
    nudges = 1e-6 * np.eye(len(values))
    slopes = ((_moved(values + nudges) - _moved(values - nudges)) / 2e-6).T
    of_motion = slopes[:, pinhole.SIZE :]
    of_lane = slopes[:, : pinhole.SIZE] + of_motion @ shift.per_parameter
    return Camera(
        parameters=_moved(values[None])[0],
        covariance=of_lane @ camera.covariance @ of_lane.T + of_motion @ shift.covariance @ of_motion.T,
        image_size_px=camera.image_size_px,
        centre_px=camera.centre_px,
    )


def _moved(values: Floats) -> Floats:
    """Return camera parameters (n, 9) after motions, both in rows of 16."""
    turn = Rotation.from_rotvec(values[:, 9:12])
    moved = values[:, : pinhole.SIZE].copy()
    moved[:, :3] = pinhole.nearer_turn((turn * Rotation.from_rotvec(values[:, :3])).as_rotvec(), values[:, :3])
    # a lens that moves by s (camera axes) sees every point moved by -s
    moved[:, 3:6] = turn.apply(values[:, 3:6] - values[:, 12:15])
    moved[:, pinhole.LOG_FOCAL] += values[:, 15]
    return moved
