"""Withhold what a turned camera cannot tell: angles far from square to the run, places where nothing of known place is seen."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping, Sequence

import numpy as np

from penult.core.checks.foot_depth import FOOT_DEPTH_SD_M, with_depths
from penult.core.checks.withheld import without_angles, without_places
from penult.core.lane.camera import NO_ANGLES_VIEW_DEG, position_m, view_angle_deg
from penult.model.analysis import Analysis
from penult.model.arrays import Floats
from penult.model.calibration import Camera
from penult.model.measured import Measured, Measures

UNPLACED_SD, UNPLACED_TIMES = 0.01, 5.0
"""Radians, and how many times the best known turn of the clip: a camera whose turn is known no better than both was not found on
the panorama; those that were are known 20 times better. The turn of a hand-held phone goes together with its place, so that
it alone is known to 0.01 or 0.02 in every frame, and the runway in the picture to millimetres all the same."""

SWAY_M_PER_S, EVENED_M_PER_S = 0.12, 0.05
"""How far the speed of a step seen along 45 degrees is off, one SD, alone and evened with its neighbours: a body sways and turns
about its long axis with every step, which moves its joints in depth, to one side and then to the other. A whole run-up with
known truth, 16 steps seen from 9 to 63 degrees from square: 0.13 and 0.05 m/s times the tangent."""

LINGERS_S = 0.0025
"""How far a toe-off seen along 45 degrees is off besides, one SD: few pixels show a toe aslant that leaves the ground. Nine
contacts of a whole run-up with known truth, 20 to 35 m away: 4.5 ms RMS at a tangent of 1.3 on average, 3 to 20 stated."""

UNPLACED = "the picture shows nothing of known place there"


def turn_sd_rad(camera: Camera) -> float:
    """Return how well a camera's turn is known, one SD about its worst axis."""
    return float(np.sqrt(np.diag(camera.covariance)[:3].max()))


def is_placed(camera: Camera, best_rad: float) -> bool:
    """Tell whether a frame's camera is known: one that was not found carries a neighbour's with a wide covariance.

    `best_rad` is the turn's SD of the clip's best known camera.
    """
    return turn_sd_rad(camera) < max(UNPLACED_SD, UNPLACED_TIMES * best_rad)


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
    best_rad = min(map(turn_sd_rad, cameras))
    oblique: dict[int, float] = {}
    unplaced: set[int] = set()
    tangents: dict[int, float] = {}
    for number, start, end in spans:
        rows = np.flatnonzero((time_s >= start) & (time_s <= end))
        if not len(rows):
            rows = np.array([int(np.abs(time_s - (start + end) / 2.0).argmin())])
        here = [cameras[0] if len(cameras) == 1 else cameras[i] for i in rows.tolist()]
        angle = float(np.median([view_angle_deg(c) for c in here]))
        if angle > NO_ANGLES_VIEW_DEG:
            oblique[number] = angle
        if not all(is_placed(c, best_rad) for c in here):
            unplaced.add(number)
        elif (tangent := _tangent(analysis, number, here[0])) is not None:
            tangents[number] = tangent
    if oblique:
        analysis = without_angles(
            analysis,
            {
                n: f"the camera is turned by {a:.0f} degrees from square there; angles need {NO_ANGLES_VIEW_DEG:.0f} or less"
                for n, a in oblique.items()
            },
        )
        analysis = _aslant(analysis, tangents, frozenset(oblique))
    return without_places(analysis, unplaced, UNPLACED) if unplaced else analysis


def _tangent(analysis: Analysis, number: int, camera: Camera) -> float | None:
    """Return how far a foot's place moves along the run for every metre that it stands deeper (to the athlete's right)."""
    contact = analysis.contact(number)
    toe = contact.measures.get("toe_x_m") if contact else None
    if not isinstance(toe, Measured):
        return None
    x, _, z = position_m(camera)
    return float((toe.value - x) / -z)


def _aslant(analysis: Analysis, tangents: Mapping[int, float], oblique: frozenset[int]) -> Analysis:
    """Return the analysis with feet, times and speeds of oblique contacts as far as they can be told aslant."""
    analysis, sds = with_depths(analysis, tangents, oblique)
    slide_m = {n: 2.0 * sds.get(n, FOOT_DEPTH_SD_M) * abs(tangents.get(n, 0.0)) for n in oblique}
    analysis = analysis.changed(lambda part, number, measures: _widened(part, number, measures, slide_m))
    analysis = analysis.changed(lambda part, number, measures: _lingering(part, number, measures, tangents, oblique))
    analysis = _times_apart(analysis, oblique)
    analysis = _made_of_lengths(analysis, oblique)
    return _evened(analysis, {n: abs(tangents.get(n, 0.0)) for n in oblique})


def _lingering(
    part: str, number: int | None, measures: Measures, tangents: Mapping[int, float], oblique: frozenset[int]
) -> Measures:
    """Return measures with toe-offs of oblique contacts as unsure as few pixels make them."""
    m = measures.get("toe_off_s")
    if part != "contacts" or number not in oblique or not isinstance(m, Measured):
        return measures
    u95 = math.hypot(m.u95, 2.0 * LINGERS_S * abs(tangents.get(number, 0.0)))
    return {**measures, "toe_off_s": dataclasses.replace(m, u95=u95)}


def _made_of_lengths(analysis: Analysis, oblique: frozenset[int]) -> Analysis:
    """Return the analysis with what is made of the lengths of oblique steps made of them anew, and as sure as they are."""
    lengths = {s.number: m for s in analysis.steps if isinstance(m := s.measures.get("step_length_m"), Measured)}

    def change(part: str, number: int | None, measures: Measures) -> Measures:
        own = None if part != "steps" or number is None else lengths.get(number)
        if number is None or own is None or not oblique & {number - 2, number - 1, number}:
            return measures
        out = dict(measures)
        time, before = measures.get("step_time_s"), lengths.get(number - 1)
        for name, by in (("step_length_over_time_m_per_s", time), ("step_length_ratio", before)):
            m = measures.get(name)
            if isinstance(m, Measured) and isinstance(by, Measured):
                value = own.value / by.value
                u95 = abs(value) * math.hypot(own.u95 / own.value, by.u95 / by.value)
                out[name] = dataclasses.replace(m, value=value, u95=u95)
        return out

    return analysis.changed(change)


def _widened(part: str, number: int | None, measures: Measures, slide_m: Mapping[int, float]) -> Measures:
    """Return measures with the slide of the feet in the u95 of places and of lengths between them."""
    at = 0 if number is None else number
    ends = {
        ("contacts", "toe_x_m"): (at,),
        ("steps", "step_length_m"): (at - 1, at),
        ("phases", "distance_m"): (at, at + 1),
        ("phases", "hop_from_board_m"): (at + 1,),
        ("takeoff", "toe_to_board_m"): (at,),
    }
    out = dict(measures)
    for (where, name), touched in ends.items():
        m = measures.get(name)
        if part == where and isinstance(m, Measured):
            extra = math.hypot(*(slide_m.get(n, 0.0) for n in touched))
            out[name] = dataclasses.replace(m, u95=math.hypot(m.u95, extra))
    return out


def _evened(analysis: Analysis, tangents: Mapping[int, float]) -> Analysis:
    """Return the analysis with the speeds of oblique steps evened over a step and its two neighbours, 1 : 2 : 1.

    What sways from one side to the other changes its sign from step to step, and cancels; a steady change of speed stays. The
    first and the last step have no two neighbours: they stay as they are, and less sure.
    """
    name = "step_speed_m_per_s"
    known = {s.number: m for s in analysis.steps if isinstance(m := s.measures.get(name), Measured)}

    def change(part: str, number: int | None, measures: Measures) -> Measures:
        own = None if number is None else known.get(number)
        if part != "steps" or number is None or own is None or number not in tangents:
            return measures
        sides = [known.get(number - 1), known.get(number + 1)]
        value, sway = own.value, SWAY_M_PER_S
        if sides[0] is not None and sides[1] is not None and number < 0:
            value, sway = (sides[0].value + 2.0 * own.value + sides[1].value) / 4.0, EVENED_M_PER_S
        u95 = math.hypot(own.u95, 2.0 * sway * tangents[number])
        return {**measures, name: dataclasses.replace(own, value=value, u95=u95)}

    return analysis.changed(change)


def _times_apart(analysis: Analysis, oblique: frozenset[int]) -> Analysis:
    """Return the analysis with durations of oblique contacts as unsure as both their ends: few pixels show them aslant.

    Elsewhere part of the error of all instants is common and cancels; a toe that leaves late in few pixels (5 ms on average, 30 m
    away and 60 degrees from square) says nothing of the touchdown that follows.
    """
    ends = {
        (c.number, name): m.u95
        for c in analysis.contacts
        for name in ("touchdown_s", "toe_off_s")
        if isinstance(m := c.measures.get(name), Measured)
    }

    def change(part: str, number: int | None, measures: Measures) -> Measures:
        if number is None or number not in oblique or part not in ("contacts", "steps"):
            return measures
        name, first = ("contact_time_s", number) if part == "contacts" else ("flight_time_s", number - 1)
        last = (number, "toe_off_s" if part == "contacts" else "touchdown_s")
        begun = (first, "touchdown_s" if part == "contacts" else "toe_off_s")
        m = measures.get(name)
        if not isinstance(m, Measured) or begun not in ends or last not in ends:
            return measures
        u95 = max(m.u95, math.hypot(ends[begun], ends[last]))
        return {**measures, name: dataclasses.replace(m, u95=u95)}

    return analysis.changed(change)
