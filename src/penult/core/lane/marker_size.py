"""How large the black squares of printed markers are, told from where their middles stand. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from penult.core.lane.camera import at_depth
from penult.core.lane.fit import fit_lane
from penult.model.arrays import Floats
from penult.model.calibration import LaneFile, Mark

_CORNERS = 4


def side_seen_m(lane: LaneFile) -> float:
    """Return the median side of upright markers in the picture, by a camera that is fitted to their middles alone.

    Parameters
    ----------
    lane : LaneFile
        Its marks are the corners of markers, four in a row each, as `core.lane.markers.marks_of` gives them.

    Raises
    ------
    CalibrationError
        If the middles alone give no camera.
    HorizonError
        If a marker lies past the vanishing line of its plane.
    """
    markers = [lane.marks[i : i + _CORNERS] for i in range(0, len(lane.marks), _CORNERS)]
    camera = fit_lane(replace(lane, marks=tuple(_middle(corners) for corners in markers))).camera
    upright = [corners for corners in markers if np.ptp([m.runway_m[2] for m in corners]) == 0.0]
    sides = [_side(at_depth(camera, [m.pixel_px for m in c], c[0].runway_m[2])) for c in upright]
    return float(np.median(sides)) if sides else float("nan")


def _middle(corners: Sequence[Mark]) -> Mark:
    """Return a marker's middle: where its diagonals cross, which holds in every view."""
    a, b, c, d = (np.array([*m.pixel_px, 1.0]) for m in corners)
    x, y, w = np.cross(np.cross(a, c), np.cross(b, d))
    place = np.mean([m.runway_m for m in corners], axis=0)
    return Mark(
        name=corners[0].name,
        pixel_px=(float(x / w), float(y / w)),
        runway_m=(float(place[0]), float(place[1]), float(place[2])),
    )


def _side(corners_m: Floats) -> float:
    return float(np.linalg.norm(corners_m - np.roll(corners_m, 1, axis=0), axis=1).mean())
