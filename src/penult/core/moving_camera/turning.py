"""How a camera on its tripod has turned and zoomed since a picture of its panorama, from background seen in both. Pure.

Only four numbers: a turn and a change of the focal length (one centre: `panorama`). Robust by Tukey's biweight, for people and
things that were put down move on their own.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial.transform import Rotation

from penult.core.lane import pinhole
from penult.core.moving_camera.registration import LEAST_GROUND_SHARE, MOST_NOISE_PX, SYSTEMATIC_PX, ZOOM_PRIOR_SD
from penult.model.arrays import Bools, Floats, locked
from penult.model.panorama import Panorama

LEAST_POINTS = 12
MOST_TURN_SD_DEG = 0.01
"""A turn known less surely puts a toe beyond half a centimetre at 18 m (MEASURES section 4a: 0.02 degrees, two SD)."""

LEAST_GROUND = 8
"""Fewer points on the ground do not tell whether the tripod was moved."""

LEAST_SHARE = 0.25
"""Of the points must agree: else the turn was found on something that moves."""

FAR_EDGE_M = 1.5
"""The runway's far edge, with what lies on it (as in `background_points`)."""

_ROUNDS = 15
_TUKEY = 4.685  # 95 % efficiency on normal residuals (Holland and Welsch 1977)
_MEDIAN_OF_2D = 1.1774  # median length of a two-dimensional unit normal
_LEAST_NOISE_PX = 0.1
_CONVERGED = 1e-8
_PATCH_POINTS = 4.0
"""Corners whose windows overlap see the same pixels: so many count for one (17 px windows, corners 8 px apart)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Turn:
    """What a camera did since a picture of the panorama.

    Parameters
    ----------
    motion : (4,) float64
        Turn (rotation vector, the picture's camera axes) and change of ln(focal length).
    covariance : (4, 4) float64
    noise_px : float
        Spread of the points that agree.
    share : float
        Share of the points that agree.
    fits : bool
        Whether the two pictures show one place on one centre, well enough for a place to be read.
    """

    motion: Floats
    covariance: Floats
    noise_px: float
    share: float
    fits: bool

    def __post_init__(self) -> None:
        object.__setattr__(self, "motion", locked(self.motion))
        object.__setattr__(self, "covariance", locked(self.covariance))


def solved_turn(
    panorama: Panorama, here_px: Floats, there_px: Floats, start: Floats, ground: Bools | None = None
) -> Turn | None:
    """Return the motion that carries points of one picture of the panorama to where they are seen; None with too few.

    Parameters
    ----------
    panorama : Panorama
        For its lens.
    here_px, there_px : (n, 2) float64
        Points in the panorama's picture, and in the other one.
    start : (4,) float64
        A motion near the answer.
    ground : (n,) bool, optional
        Points on the ground near the runway (`on_ground`): they must agree too, or the tripod was moved.
    """
    if len(here_px) < LEAST_POINTS:
        return None
    rays = _rays(panorama, here_px)
    motion, noise_px = np.array(start), 8.0
    most_px = MOST_NOISE_PX * max(panorama.image_size_px) / 1920.0
    prior = np.diag([1e-9, 1e-9, 1e-9, ZOOM_PRIOR_SD**-2])
    for done in range(_ROUNDS):
        miss, slopes = _linear(panorama, rays, there_px, motion)
        lengths = np.linalg.norm(miss, axis=1)
        noise_px = max(_LEAST_NOISE_PX, float(np.median(lengths)) / _MEDIAN_OF_2D)
        if done >= 3:
            noise_px = min(noise_px, most_px)
        share = (lengths / (_TUKEY * noise_px)) ** 2
        weight = np.where(share < 1.0, (1.0 - share) ** 2, 0.0) / noise_px**2
        normal = np.einsum("n,nik,nil->kl", weight, slopes, slopes) + prior
        right = np.einsum("n,nik,ni->k", weight, slopes, miss) - prior @ motion
        step = np.linalg.solve(normal, right)
        motion = motion + step
        if done > 4 and np.abs(step).max() < _CONVERGED:
            break
    kept = weight > 0.05 / noise_px**2
    agrees = float(kept.mean())
    covariance = _PATCH_POINTS * np.asarray(np.linalg.inv(normal))
    turn_sd = np.degrees(np.sqrt(np.diag(covariance)[:2].max()))
    covariance[:3, :3] += (SYSTEMATIC_PX / np.exp(panorama.log_focal)) ** 2 * np.eye(3)
    stands = ground is None or ground.sum() < LEAST_GROUND or float(kept[ground].mean()) >= LEAST_GROUND_SHARE
    fits = stands and noise_px < 0.95 * most_px and agrees >= LEAST_SHARE and bool(turn_sd <= MOST_TURN_SD_DEG)
    return Turn(motion=motion, covariance=covariance, noise_px=noise_px, share=agrees, fits=fits)


def on_ground(panorama: Panorama, picture: int, xy_px: Floats) -> Bools:
    """Return which points (n, 2) of a picture of the panorama lie on the ground this side of the runway's far edge, (n,)."""
    along = _rays(panorama, xy_px) @ panorama.turns[picture]
    _, y, z = panorama.centre_m
    with np.errstate(divide="ignore", invalid="ignore"):
        depth_m = np.where(along[:, 1] < 0.0, z - along[:, 2] * y / along[:, 1], np.nan) * np.sign(z)
        return np.asarray(depth_m > -FAR_EDGE_M)


def homography_px(panorama: Panorama, motion: Floats) -> Floats:
    """Return the homography (3, 3) from a picture of the panorama to one after a motion, the lens's bend left out."""
    focal = float(np.exp(panorama.log_focal))
    cx, cy = panorama.centre_px
    lens = np.array([[focal, 0.0, cx], [0.0, focal, cy], [0.0, 0.0, 1.0]])
    zoomed = np.array([[focal * np.exp(motion[3]), 0.0, cx], [0.0, focal * np.exp(motion[3]), cy], [0.0, 0.0, 1.0]])
    return np.asarray(zoomed @ pinhole.turned(np.asarray(motion[:3])) @ np.linalg.inv(lens))


def motion_from(panorama: Panorama, turn: Floats, picture: int, zoom: float) -> Floats:
    """Return the motion (4,) from a picture of the panorama to a rotation (3, 3) from runway axes, and a zoom."""
    between = Rotation.from_matrix(turn @ panorama.turns[picture].T).as_rotvec()
    return np.array([*between, zoom])


def rotation_after(panorama: Panorama, picture: int, motion: Floats) -> Floats:
    """Return the rotation (3, 3) from runway axes to camera axes after a motion from a picture of the panorama."""
    return np.asarray(pinhole.turned(np.asarray(motion[:3])) @ panorama.turns[picture])


def nearest_picture(panorama: Panorama, turn: Floats) -> int:
    """Return the picture of the panorama that looks most nearly where a rotation (3, 3) looks."""
    return int(np.argmax(panorama.turns[:, 2] @ turn[2]))


def _rays(panorama: Panorama, xy_px: Floats) -> Floats:
    parameters = np.zeros(pinhole.SIZE)
    parameters[pinhole.LOG_FOCAL], parameters[pinhole.K1] = panorama.log_focal, panorama.k1
    flat = pinhole.straight(parameters, panorama.centre_px, xy_px)
    return np.column_stack([flat, np.ones(len(flat))])


def _linear(panorama: Panorama, rays: Floats, there_px: Floats, motion: Floats) -> tuple[Floats, Floats]:
    """Return misses (n, 2) and slopes (n, 2, 4); turns are composed on the left."""
    ahead = rays @ pinhole.turned(motion[:3]).T
    focal = float(np.exp(panorama.log_focal + motion[3]))
    depth = np.maximum(ahead[:, 2], 0.05)
    flat = ahead[:, :2] / depth[:, None]
    bend = 1.0 + panorama.k1 * (flat**2).sum(axis=1, keepdims=True)
    image = np.zeros((len(rays), 2, 3))
    image[:, 0, 0] = image[:, 1, 1] = focal / depth
    image[:, :, 2] = -focal * flat / depth[:, None]
    spun = np.zeros((len(rays), 3, 3))
    spun[:, 0, 1], spun[:, 0, 2], spun[:, 1, 2] = ahead[:, 2], -ahead[:, 1], ahead[:, 0]
    spun -= spun.transpose(0, 2, 1)
    expected = focal * flat * bend
    slopes = np.concatenate([image @ spun, expected[:, :, None]], axis=2)
    return np.asarray(there_px - expected - np.asarray(panorama.centre_px)), slopes
