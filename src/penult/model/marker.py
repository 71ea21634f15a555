"""Printed markers: where one stands, and one as it is seen."""

from __future__ import annotations

from dataclasses import dataclass

from penult.model.arrays import Floats, locked


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkerPlace:
    """Where a printed marker stands: the middle of its black square on the runway, in metres.

    `is_flat`: lies on the ground, its foot towards the camera; else it stands upright and square to the run.
    """

    number: int
    centre_m: tuple[float, float, float]
    side_m: float
    is_flat: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class SeenMarker:
    """A marker in a picture: corners (4, 2) in pixels, as seen top left, top right, bottom right, bottom left."""

    number: int
    corners_px: Floats

    def __post_init__(self) -> None:
        object.__setattr__(self, "corners_px", locked(self.corners_px))
