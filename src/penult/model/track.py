"""The athlete's joints over time: in pixels, then in runway metres. Two types, so that they cannot be mixed."""

from __future__ import annotations

from dataclasses import dataclass

from penult.model.arrays import Bools, Floats, Ints, locked
from penult.model.calibration import Camera


@dataclass(frozen=True, slots=True, kw_only=True)
class PixelTrack:
    """Joints in the upright picture.

    Parameters
    ----------
    frame : (t,) int64
        Index of each row's frame in the clip.
    time_s : (t,) float64
        Capture time.
    xy_px : (t, k, 2) float64
        In the order of `skeleton.JOINTS`; NaN where there is no sample.
    score : (t, k) float64
        The model's own visibility, 0 to 1; close to 1 for hidden joints too, so never a gate by itself.
    filled : (t, k) bool
        True where the value was put in by cleaning.
    """

    frame: Ints
    time_s: Floats
    xy_px: Floats
    score: Floats
    filled: Bools

    def __post_init__(self) -> None:
        object.__setattr__(self, "frame", locked(self.frame, int))
        object.__setattr__(self, "time_s", locked(self.time_s))
        object.__setattr__(self, "xy_px", locked(self.xy_px))
        object.__setattr__(self, "score", locked(self.score))
        object.__setattr__(self, "filled", locked(self.filled, bool))


@dataclass(frozen=True, slots=True, kw_only=True)
class RunwayTrack:
    """Joints on the runway: `xy_m` (t, k, 2) x forward and y up, each joint at its own depth `z_m` (k,)."""

    frame: Ints
    time_s: Floats
    xy_m: Floats
    z_m: Floats
    filled: Bools

    def __post_init__(self) -> None:
        object.__setattr__(self, "frame", locked(self.frame, int))
        object.__setattr__(self, "time_s", locked(self.time_s))
        object.__setattr__(self, "xy_m", locked(self.xy_m))
        object.__setattr__(self, "z_m", locked(self.z_m))
        object.__setattr__(self, "filled", locked(self.filled, bool))


@dataclass(frozen=True, slots=True, kw_only=True)
class Motion:
    """Everything that pictures and pages draw: the cleaned joints in both frames, hip and mass-centre paths, cameras.

    Parameters
    ----------
    pixels : PixelTrack
        Cleaned joints in the picture.
    runway : RunwayTrack
        The same joints on the runway.
    hip_m : (t, 2) float64
        Mid-hip: x and height above the runway.
    mass_centre_m : (t, 2) float64
        Whole-body centre of mass; NaN where the body is not wholly in the picture.
    cameras : tuple of Camera
        One for a still camera, else one for every row of the track (same order).
    """

    pixels: PixelTrack
    runway: RunwayTrack
    hip_m: Floats
    mass_centre_m: Floats
    cameras: tuple[Camera, ...]

    def __post_init__(self) -> None:
        object.__setattr__(self, "hip_m", locked(self.hip_m))
        object.__setattr__(self, "mass_centre_m", locked(self.mass_centre_m))

    def camera_of(self, row: int) -> Camera:
        """Return the camera of a track row."""
        return self.cameras[0] if len(self.cameras) == 1 else self.cameras[row]
