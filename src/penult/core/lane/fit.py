"""Marks of known place -> one camera with its covariance, and which marks disagree with the others.

Weighted least squares over all marks (Hartley and Zisserman 2004, section 7.2) with Gaussian priors where marks may be
silent. Pure: records in, records out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from penult.core.lane import pinhole
from penult.core.lane.faults import check_marks
from penult.core.lane.focal_range import widened
from penult.core.lane.problem import Problem, best_of_starts, metres_per_px, noise, problem_of, slopes, solved
from penult.core.lane.wrong_marks import sift
from penult.errors import CalibrationError
from penult.model.arrays import Floats
from penult.model.calibration import Camera, LaneFile, LaneFit, MarkResidual

_REFUSE_ABOVE_CM = 5.0
_REFUSE_ABOVE_SDS = 5.0
_DEPTH_KNOWN_SD = 0.1


def fit_lane(lane: LaneFile) -> LaneFit:
    """Return the one pinhole camera that fits a lane file's marks best, with its covariance and every mark's residual.

    Radial distortion k1 is always estimated, against a prior (`lane_problem.K1_PRIOR_SD`): marks that bear it decide
    it, others leave it at zero with the prior's spread in the covariance. So it is with focal length
    (`LOG_FOCAL_PRIOR`) for marks in one plane: the plane's mapping is fixed by the marks, the distance stays
    uncertain, `depth_known` is False. Marks weigh against the priors with the scatter that they show.

    Parameters
    ----------
    lane : LaneFile

    Returns
    -------
    LaneFit
        Marks that disagree with the rest are named; where it is beyond doubt which, they are left out of the camera.

    Raises
    ------
    CalibrationError
        If the marks are too few, in a line, given twice or outside the picture, or do not fit together at all.
    """
    check_marks(lane)
    problem = problem_of(lane)
    robust = best_of_starts(problem)
    sifted = sift(problem, robust, lane.marks)
    final, values = _weighed(problem.only(sifted.kept), robust)
    camera = _camera(lane, final, values)
    named = sifted.named | (set(range(len(lane.marks))) - set(sifted.kept))
    residuals = _mark_residuals(lane, camera, sifted.left_out_cm, named)
    _refuse_misfit(final.sd_px / lane.pixel_sd_px, residuals, sifted.kept)
    axis = pinhole.rotation(camera.parameters)[2]
    return LaneFit(
        lane=lane,
        camera=camera,
        residuals=residuals,
        rms_px=float(np.sqrt(np.mean([residuals[i].residual_px ** 2 for i in sifted.kept]))),
        depth_known=_distance_sd(camera) < _DEPTH_KNOWN_SD,
        view_angle_deg=float(np.degrees(np.arctan2(abs(axis[0]), abs(axis[2])))),
    )


def _weighed(problem: Problem, start: Floats) -> tuple[Problem, Floats]:
    """Return the problem with the pixel SD that its marks show, and its solution."""
    stated_px = problem.sd_px
    values = solved(problem, start)
    for _ in range(2):
        marks = (problem.residuals(values)[: 2 * len(problem.xyz_m)] * problem.sd_px / stated_px) ** 2
        shown_px = stated_px * float(np.sqrt(noise(float(marks.sum()), problem.spare)))
        problem = replace(problem, sd_px=shown_px)
        values = solved(problem, values)
    return problem, values


def _camera(lane: LaneFile, problem: Problem, values: Floats) -> Camera:
    jacobian = slopes(problem, values)
    curvature = np.asarray(np.linalg.pinv(jacobian.T @ jacobian, rcond=1e-14, hermitian=True), dtype=np.float64)
    inner = widened(problem, values, curvature)
    covariance = np.zeros((pinhole.SIZE, pinhole.SIZE))
    covariance[np.ix_(problem.free, problem.free)] = inner
    return Camera(
        parameters=problem.full(values),
        covariance=covariance,
        image_size_px=lane.image_size_px,
        centre_px=problem.centre_px,
    )


def _mark_residuals(
    lane: LaneFile, camera: Camera, left_out_cm: Floats, named: set[int] | frozenset[int]
) -> tuple[MarkResidual, ...]:
    rows = []
    for i, mark in enumerate(lane.marks):
        place_m = np.array(mark.runway_m)
        off_px = pinhole.clamped_px(camera.parameters, camera.centre_px, place_m) - np.array(mark.pixel_px)
        residual_px = float(np.hypot(*off_px))
        rows.append(
            MarkResidual(
                name=mark.name,
                residual_px=residual_px,
                residual_cm=100.0 * residual_px * metres_per_px(camera.parameters, place_m),
                left_out_cm=float(left_out_cm[i]),
                disagrees=i in named,
            )
        )
    return tuple(rows)


def _refuse_misfit(sds: float, residuals: tuple[MarkResidual, ...], kept: Sequence[int]) -> None:
    """Refuse marks whose scatter is many times the stated one, and matters."""
    rms_cm = float(np.sqrt(np.mean([residuals[i].residual_cm ** 2 for i in kept])))
    if rms_cm < _REFUSE_ABOVE_CM or sds < _REFUSE_ABOVE_SDS:
        return
    worst = sorted(residuals, key=lambda r: -r.residual_cm)[:4]
    raise CalibrationError(
        f"the marks do not fit together: they miss the best camera by {rms_cm:.0f} cm",
        *(f"mark {r.name!r} misses by {r.residual_cm:.0f} cm ({r.residual_px:.0f} px)" for r in worst),
        next_step="check what was typed for these marks (metres; x along the run, y up, z to the athlete's right)",
    )


def _distance_sd(camera: Camera) -> float:
    """Return the relative SD of the lens's distance from the run plane."""
    slope = np.empty(pinhole.SIZE)
    for i in range(pinhole.SIZE):
        nudge = np.zeros(pinhole.SIZE)
        nudge[i] = 1e-6
        ends = [pinhole.centre_m(camera.parameters + s * nudge)[2] for s in (1.0, -1.0)]
        slope[i] = (ends[0] - ends[1]) / 2e-6
    distance_m = abs(float(pinhole.centre_m(camera.parameters)[2]))
    return float(np.sqrt(slope @ camera.covariance @ slope)) / max(distance_m, 1e-6)
