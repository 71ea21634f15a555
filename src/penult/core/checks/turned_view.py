"""Withhold what a turned camera cannot tell: angles far from square to the run, places where nothing of known place is seen."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping, Sequence

import numpy as np

from penult.core.checks.withheld import without_angles, without_places
from penult.core.lane.camera import NO_ANGLES_VIEW_DEG, position_m, view_angle_deg
from penult.model.analysis import Analysis
from penult.model.arrays import Floats
from penult.model.calibration import Camera
from penult.model.measured import Measured, Measures

UNPLACED_SD = 0.01
"""Radians: a camera whose turn is known no better was not found on the panorama; those that were are known 20 times better."""

FOOT_DEPTH_SD_M = 0.025
"""How far a foot is set down from its usual line, one SD: 2.3 and 2.5 cm for the right and the left foot of two whole run-ups with
known truth. Seen square it moves no place along the run; beyond 20 degrees it is counted into the toe's."""

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
    slide_m: dict[int, float] = {}
    for number, start, end in spans:
        rows = np.flatnonzero((time_s >= start) & (time_s <= end))
        if not len(rows):
            rows = np.array([int(np.abs(time_s - (start + end) / 2.0).argmin())])
        here = [cameras[0] if len(cameras) == 1 else cameras[i] for i in rows.tolist()]
        angle = float(np.median([view_angle_deg(c) for c in here]))
        if angle > NO_ANGLES_VIEW_DEG:
            oblique[number] = angle
            slide_m[number] = _slide_m(analysis, number, here[0])
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
    if slide_m:
        analysis = analysis.changed(lambda part, number, measures: _widened(part, number, measures, slide_m))
    return without_places(analysis, unplaced, UNPLACED) if unplaced else analysis


def _slide_m(analysis: Analysis, number: int, camera: Camera) -> float:
    """Return by how much a foot's own depth moves its place along the run, u95: depth times the tangent of the line of sight."""
    contact = analysis.contact(number)
    toe = contact.measures.get("toe_x_m") if contact else None
    if not isinstance(toe, Measured):
        return 0.0
    x, _, z = position_m(camera)
    return 2.0 * FOOT_DEPTH_SD_M * abs(float((toe.value - x) / z))


def _widened(part: str, number: int | None, measures: Measures, slide_m: Mapping[int, float]) -> Measures:
    """Return measures with the slide of the feet in the u95 of places and of lengths between them."""
    if number is None:
        return measures
    ends = {
        ("contacts", "toe_x_m"): (number,),
        ("steps", "step_length_m"): (number - 1, number),
        ("phases", "distance_m"): (number, number + 1),
    }
    out = dict(measures)
    for (where, name), touched in ends.items():
        m = measures.get(name)
        if part == where and isinstance(m, Measured):
            extra = math.hypot(*(slide_m.get(n, 0.0) for n in touched))
            out[name] = dataclasses.replace(m, u95=math.hypot(m.u95, extra))
    return out
