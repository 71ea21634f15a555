"""A place filmed with one slow turn: pictures on one centre, and the cameras of all of them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from penult.model.arrays import Floats, Ints, locked


@dataclass(frozen=True, slots=True, kw_only=True)
class Matches:
    """Background points seen in two pictures of a sweep.

    Parameters
    ----------
    first, second : int
        Pictures.
    first_px, second_px : (n, 2) float64
        Where the points are in each.
    """

    first: int
    second: int
    first_px: Floats
    second_px: Floats

    def __post_init__(self) -> None:
        object.__setattr__(self, "first_px", locked(self.first_px))
        object.__setattr__(self, "second_px", locked(self.second_px))


@dataclass(frozen=True, slots=True, kw_only=True)
class Sighted:
    """Marks of known place seen in pictures of a sweep.

    Parameters
    ----------
    names : tuple of str
    picture : (m,) int64
        In which picture each was seen.
    pixel_px : (m, 2) float64
    runway_m : (m, 3) float64
        Place by the tape measure.
    """

    names: tuple[str, ...]
    picture: Ints
    pixel_px: Floats
    runway_m: Floats

    def __post_init__(self) -> None:
        object.__setattr__(self, "picture", locked(self.picture, np.int64))
        for name in ("pixel_px", "runway_m"):
            object.__setattr__(self, name, locked(getattr(self, name)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Panorama:
    """Pictures of one place on one centre.

    Parameters
    ----------
    centre_m : (3,) float64
        Place of the lens on the runway.
    log_focal : float
        Natural log of the focal length in pixels.
    k1 : float
        Radial distortion.
    turns : (n, 3, 3) float64
        Rotation from runway axes to camera axes of every picture.
    covariance : (5 + 3 n, 5 + 3 n) float64
        Of centre (3), log focal length, k1, and each picture's turn (3; rotation vector in its camera axes).
    image_size_px : (int, int)
        Width and height.
    reference : int
        The picture that looks most squarely at the runway: the lane's still.
    noise_px : float
        Spread of the background points.
    left_out : tuple of str
        Marks that disagree with all others.
    """

    centre_m: Floats
    log_focal: float
    k1: float
    turns: Floats
    covariance: Floats
    image_size_px: tuple[int, int]
    reference: int
    noise_px: float
    left_out: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        for name in ("centre_m", "turns", "covariance"):
            object.__setattr__(self, name, locked(getattr(self, name)))

    @property
    def centre_px(self) -> tuple[float, float]:
        """Principal point: the middle of the picture."""
        width, height = self.image_size_px
        return (width - 1) / 2.0, (height - 1) / 2.0
