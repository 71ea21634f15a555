"""One shoe on the surface: where the joints suggest it, its pictures made square, and what the pixels say."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from penult.model.analysis import Foot
from penult.model.arrays import Floats, locked

ROUGH_TOE_SD_M = 0.03
"""How well joints of usual noise place toe tip and heel, one SD (films with known truth: within 7 cm, 2.4 SD)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RoughContact:
    """A support as the joints show it; times off by up to about 25 ms, places by up to about 4 cm.

    Parameters
    ----------
    foot : {'left', 'right'}
        Which foot.
    start_s, end_s : float
        Capture time of touchdown and toe-off.
    toe_x_m, heel_x_m : float
        Front and rear edge of the shoe while it stands, along the run.
    y_m : float
        Height of the surface under the forefoot.
    z_m : float
        Depth of the foot (to the athlete's right), see `locate.HALF_WIDTH_M`.
    direction : int
        Sense in which the run shows in the patches: always +1, because patches are made along the run.
    toe_sd_m : float
        How well `toe_x_m` and `heel_x_m` are known, one SD.
    """

    foot: Foot
    start_s: float
    end_s: float
    toe_x_m: float
    heel_x_m: float
    y_m: float
    z_m: float
    direction: int = 1
    toe_sd_m: float = ROUGH_TOE_SD_M


@dataclass(frozen=True, slots=True, kw_only=True)
class ShoePatches:
    """Pictures of one support, made square onto the vertical plane z = `z_m`: the run goes to the right, up is up.

    Parameters
    ----------
    time_s : (n,) float64
        Capture time of each picture, rising.
    images : (n, h, w, 3) uint8
        RGB; first row highest.
    x_m : (w,) float64
        Place of each column, rising evenly.
    y_m : (h,) float64
        Height of each row, falling evenly.
    z_m : float
        Depth of the plane.
    slope_x, slope_y : float
        How far a point that lies 1 m to the right of the plane (z larger by 1 m) seems displaced on it along x and y:
        the obliqueness of the view here, for the shoe has a width and the depth of the foot is known to some cm only.
    """

    time_s: Floats
    images: NDArray[np.uint8]
    x_m: Floats
    y_m: Floats
    z_m: float
    slope_x: float = 0.0
    slope_y: float = 0.0

    def __post_init__(self) -> None:
        object.__setattr__(self, "time_s", locked(self.time_s))
        object.__setattr__(self, "images", _bytes(self.images))
        object.__setattr__(self, "x_m", locked(self.x_m))
        object.__setattr__(self, "y_m", locked(self.y_m))


@dataclass(frozen=True, slots=True, kw_only=True)
class ShoeContact:
    """What the pixels say of one support. Standard deviations, not u95.

    Parameters
    ----------
    touchdown_s, touchdown_sd_s, toe_off_s, toe_off_sd_s : float
        First and last instant at which any part of the shoe bears on the surface; NaN when not found.
    toe_x_m, toe_x_sd_m : float
        Toe tip while the forefoot is still; from the rough contact, with its larger SD, when the edge is not seen.
    heel_x_m : float or None
        Rear edge of the shoe while the heel is lowest; None when not seen.
    support_height_m, support_height_sd_m : float
        Surface under the forefoot; exactly 0 on the bare runway.
    foot_angle_touchdown_deg, foot_angle_touchdown_sd_deg : float
        Sole against the runway at touchdown, toe up positive; NaN when not found.
    quality : float
        0 to 1: how clearly the shoe stands out from the picture without it and comes to rest.
    toe_seen : bool
        True when the toe tip was found in the picture.
    reason : str
        Why times are missing; empty when they are there.
    touchdown_seen, toe_off_seen : bool
        False where the joints stand in for an instant that the pictures do not tell.
    """

    touchdown_s: float
    touchdown_sd_s: float
    toe_off_s: float
    toe_off_sd_s: float
    toe_x_m: float
    toe_x_sd_m: float
    heel_x_m: float | None
    support_height_m: float
    support_height_sd_m: float
    foot_angle_touchdown_deg: float
    foot_angle_touchdown_sd_deg: float
    quality: float
    toe_seen: bool
    reason: str = ""
    touchdown_seen: bool = True
    toe_off_seen: bool = True


def _bytes(images: Any) -> NDArray[np.uint8]:
    """Lock the pictures without copying megabytes that are already our own."""
    array: NDArray[np.uint8] = np.ascontiguousarray(images, dtype=np.uint8).view()
    array.flags.writeable = False
    return array
