"""Withhold what a turned camera cannot tell: angles far from square to the run, places where nothing of known place is seen."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from penult.core.checks.withheld import without_angles, without_places
from penult.core.lane.camera import NO_ANGLES_VIEW_DEG, view_angle_deg
from penult.model.analysis import Analysis
from penult.model.arrays import Floats
from penult.model.calibration import Camera

UNPLACED_SD = 0.01
"""Radians: a camera whose turn is known no better was not found on the panorama; those that were are known 20 times better."""

UNPLACED = "the picture shows nothing of known place there"


def is_placed(camera: Camera) -> bool:
    """Tell whether a frame's camera is known: a frame that was not found carries a neighbour's with a wide covariance."""
    return bool(np.sqrt(np.diag(camera.covariance)[:3].max()) < UNPLACED_SD)


def without_turned(
    analysis: Analysis, cameras: Sequence[Camera], time_s: Floats, spans: Sequence[tuple[int, float, float]]
) -> Analysis:
    """Return the analysis without angles of contacts seen more than 20 degrees from square, and without unknown places.

    Parameters
    ----------
    analysis : Analysis
    cameras : sequence of Camera
        One, or one a row.
    time_s : (t,) float64
        Of the rows.
    spans : sequence of (number, touchdown, toe-off)
        Of the contacts, on the same clock.
    """
    oblique: dict[int, float] = {}
    unplaced: set[int] = set()
    for number, start, end in spans:
        rows = np.flatnonzero((time_s >= start) & (time_s <= end))
        if not len(rows):
            rows = np.array([int(np.abs(time_s - (start + end) / 2.0).argmin())])
        here = [cameras[0] if len(cameras) == 1 else cameras[i] for i in rows.tolist()]
        angle = float(np.median([view_angle_deg(c) for c in here]))
        if angle > NO_ANGLES_VIEW_DEG:
            oblique[number] = angle
        if not all(map(is_placed, here)):
            unplaced.add(number)
    if oblique:
        analysis = without_angles(
            analysis,
            {
                n: f"the camera is turned by {a:.0f} degrees from square there; angles need {NO_ANGLES_VIEW_DEG:.0f} or less"
                for n, a in oblique.items()
            },
        )
    return without_places(analysis, unplaced, UNPLACED) if unplaced else analysis
