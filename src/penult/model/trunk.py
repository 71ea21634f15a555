"""Pictures of the trunk in one flight, and the motion that they show."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from penult.model.arrays import Floats, Ints, locked


@dataclass(frozen=True, slots=True, kw_only=True)
class TrunkWindow:
    """One flight, or stride: rows of the track, and the path along which the pictures of the trunk are cut.

    Parameters
    ----------
    rows : (n,) int64
        Rows of the joints' track.
    time_s : (n,) float64
        Their times.
    path_m : (n, 2) float64
        Middle of the trunk as the joints show it, made straight in x and a parabola of known g in y.
    z_m : float
        Depth of the trunk's near surface, where the pictures are made square.
    centre_z_m : float
        Depth of the trunk's middle.
    lens_m : (3,) float64
        Place of the lens at the flight.
    length_m : float
        Mid-shoulder to mid-hip.
    is_stride : bool
        Whether it goes from one support into the next, and not through one flight only.
    """

    rows: Ints
    time_s: Floats
    path_m: Floats
    z_m: float
    centre_z_m: float
    lens_m: Floats
    length_m: float
    is_stride: bool = False

    def __post_init__(self) -> None:
        object.__setattr__(self, "rows", locked(self.rows, int))
        for name in ("time_s", "path_m", "lens_m"):
            object.__setattr__(self, name, locked(getattr(self, name)))


@dataclass(frozen=True, slots=True, kw_only=True)
class TrunkPatches:
    """The pictures of one flight, (n, h, w, 3) uint8, on columns `x_m` (w,) and rows `y_m` (h,) about the window's path.

    `index` (n,) says which of the window's rows each picture belongs to.
    """

    window: TrunkWindow
    index: Ints
    images: NDArray[np.uint8]
    x_m: Floats
    y_m: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class TrunkMotion:
    """How the trunk moves against its window's path, for every row of the window.

    Parameters
    ----------
    window : TrunkWindow
    shift_m : (n, 2) float64
        Of the trunk's middle, mean zero.
    turn_rad : (n,) float64
        In the plane of the run, counter-clockwise in x and y, mean zero.
    jitter_m : float
        Scatter of the shift about a smooth curve, one SD.
    reason : str
        Why the pictures cannot be used; then shift and turn are empty.
    """

    window: TrunkWindow
    shift_m: Floats
    turn_rad: Floats
    jitter_m: float = 0.0
    reason: str = ""
