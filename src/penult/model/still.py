"""An annotated still of a result, as pages set it beside another."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class StillPicture:
    """A picture of one instant of one contact.

    Parameters
    ----------
    contact : int
        Number of the contact.
    instant : str
        'touchdown', 'lowest' or 'toe_off'.
    jpeg : bytes
        The picture.
    size_px : (int, int)
        Width and height.
    metres_per_px : float
        In the plane of the run.
    ground_y_px : float
        Row of the runway's surface.
    hip_px : (float, float)
        Column and row of the mid-hip.
    direction : str
        Of the run, as filmed.
    """

    contact: int
    instant: str
    jpeg: bytes
    size_px: tuple[int, int]
    metres_per_px: float
    ground_y_px: float
    hip_px: tuple[float, float]
    direction: str
