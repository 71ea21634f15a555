"""A lane file's content, and the camera fitted to it."""

from __future__ import annotations

from dataclasses import dataclass

from penult.model.arrays import Floats, locked


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """A point whose place on the runway is known: pixel (2,) and runway place (3,) x forward, y up, z to the right."""

    name: str
    pixel_px: tuple[float, float]
    runway_m: tuple[float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Lens:
    """Intrinsics from a lens calibration: focal lengths, principal point, radial distortion (OpenCV's k1, k2)."""

    fx_px: float
    fy_px: float
    cx_px: float
    cy_px: float
    k1: float = 0.0
    k2: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class LaneFile:
    """The content of a `penult-calibration/1` file (all lengths in metres, pixels in the upright picture)."""

    image_size_px: tuple[int, int]
    marks: tuple[Mark, ...]
    pixel_sd_px: float = 1.0
    camera_distance_m: float | None = None
    lens: Lens | None = None
    board: bool = True
    still: str | None = None
    note: str = ""
    panorama: str | None = None
    measured_again: tuple[str, ...] = ()
    """Distances measured once more, such as '-8 to 1.5 = 9.50'."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Camera:
    """A pinhole camera with square pixels and radial distortion, and how well its parameters are known.

    Parameters
    ----------
    parameters : (9,) float64
        Rotation vector (3; runway axes to camera axes, OpenCV convention), translation in metres (3), natural log of
        the focal length in pixels (1), k1, k2.
    covariance : (9, 9) float64
        Of `parameters`; zero rows where a parameter was held fixed.
    image_size_px : (int, int)
        Width and height.
    centre_px : (float, float)
        Principal point.
    """

    parameters: Floats
    covariance: Floats
    image_size_px: tuple[int, int]
    centre_px: tuple[float, float]

    def __post_init__(self) -> None:
        object.__setattr__(self, "parameters", locked(self.parameters))
        object.__setattr__(self, "covariance", locked(self.covariance))


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkResidual:
    """How a mark sits with the fitted camera: residual in pixels and in centimetres on the runway, and left-out error."""

    name: str
    residual_px: float
    residual_cm: float
    left_out_cm: float
    disagrees: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class LaneFit:
    """A lane file with its camera; `depth_known` is False when the marks fix the run plane only."""

    lane: LaneFile
    camera: Camera
    residuals: tuple[MarkResidual, ...]
    rms_px: float
    depth_known: bool
    view_angle_deg: float
