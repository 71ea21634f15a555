"""What moves over the lane, before anybody is called an athlete."""

from __future__ import annotations

from dataclasses import dataclass

from penult.model.arrays import Floats, locked


@dataclass(frozen=True, slots=True, kw_only=True)
class LaneProfile:
    """Moving foreground over the lane.

    Parameters
    ----------
    time_s : (n,) float64
        Sampled times.
    x_m : (w,) float64
        Centres of the lane's bins.
    cover : (n, w) float64
        Share of a standing body's height covered by foreground, 0 to 1.
    ground_z_m : (n, w) float64
        Depth at which the lowest foreground pixel would touch the runway; NaN without foreground.
    """

    time_s: Floats
    x_m: Floats
    cover: Floats
    ground_z_m: Floats

    def __post_init__(self) -> None:
        for name in ("time_s", "x_m", "cover", "ground_z_m"):
            object.__setattr__(self, name, locked(getattr(self, name)))
