"""Marks of known place -> one camera with its covariance, and which marks disagree with the others.

Weighted least squares over all marks (Hartley and Zisserman 2004, section 7.2), Gaussian priors where marks may be
silent, and the mean-shift outlier test on leave-one-out refits (Cook and Weisberg 1982, section 2.2.2). Pure: records
in, records out.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import least_squares
from scipy.stats import f as f_distribution

from penult.core import pinhole
from penult.core.lane_faults import check_marks
from penult.core.lane_starts import starts
from penult.errors import CalibrationError
from penult.model.arrays import Floats
from penult.model.calibration import Camera, LaneFile, LaneFit, MarkResidual

LOG_FOCAL_PRIOR = (0.0, 0.5)
"""Mean and SD of ln(focal length / longer side). Phones carry lenses of about 13 to 77 mm (35 mm film terms), video
crops them a little more: 0.37 to 2.7 times the longer side at two SD."""
K1_PRIOR_SD = 0.05
"""Phones straighten their pictures; what is left stays within about +-0.1 (two SD). Marks that reach into the corners
overrule it; marks that cannot bear a distortion leave k1 at 0, and this SD goes into every uncertainty."""
LENS_FOCAL_SD = 0.01
"""Focusing moves a phone's focal length by about 1 %, so a lens calibration fixes it to that."""
TAPE_SD_SHARE, TAPE_SD_LEAST_M = 0.01, 0.05
"""A distance paced out with a tape from the ground below the lens."""
_NOISE_DEGREES = 8.0
"""The stated pixel SD counts like this many residuals against those of the marks themselves."""
_NAME_BELOW = 0.01
"""A mark is named when marks like the others would look so bad in fewer than one file in a hundred."""
_NAME_ABOVE_CM = 1.5
_TELLS_APART = 9.21
"""Drop in chi-square, 2 degrees of freedom, at 1 %: less than this between two suspects and it may be either."""
_REFUSE_ABOVE_CM = 5.0
_REFUSE_ABOVE_SDS = 5.0
_DEPTH_KNOWN_SD = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class _Problem:
    """Marks as arrays, the priors, and which parameters are free."""

    xyz_m: Floats
    xy_px: Floats
    sd_px: float
    centre_px: tuple[float, float]
    base: Floats
    free: tuple[int, ...]
    prior_mean: Floats
    prior_sd: Floats
    distance_m: float | None

    def full(self, free_values: Floats) -> Floats:
        parameters = self.base.copy()
        parameters[list(self.free)] = free_values
        return parameters

    def residuals(self, free_values: Floats) -> Floats:
        """Return residuals in units of their SD: marks, then priors, then the taped distance."""
        parameters = self.full(free_values)
        off = (pinhole.clamped_px(parameters, self.centre_px, self.xyz_m) - self.xy_px).ravel() / self.sd_px
        known = np.isfinite(self.prior_sd)
        parts = [off, ((parameters - self.prior_mean) / self.prior_sd)[known]]
        if self.distance_m is not None:
            sd_m = max(TAPE_SD_SHARE * self.distance_m, TAPE_SD_LEAST_M)
            parts.append(np.array([(abs(pinhole.centre_m(parameters)[2]) - self.distance_m) / sd_m]))
        return np.concatenate(parts)

    def without(self, row: int) -> _Problem:
        return replace(self, xyz_m=np.delete(self.xyz_m, row, axis=0), xy_px=np.delete(self.xy_px, row, axis=0))

    @property
    def spare(self) -> int:
        """Degrees of freedom left."""
        priors = int(np.isfinite(self.prior_sd).sum()) + (self.distance_m is not None)
        return max(2 * len(self.xyz_m) + priors - len(self.free), 0)


def fit_lane(lane: LaneFile) -> LaneFit:
    """Return the one pinhole camera that fits a lane file's marks best, with its covariance and every mark's residual.

    Radial distortion k1 is always estimated, against a prior (`K1_PRIOR_SD`): marks that bear it decide it, others
    leave it at zero with the prior's spread in the covariance. So it is with focal length (`LOG_FOCAL_PRIOR`) for
    marks in one plane: the plane's mapping is fixed by the marks, the distance stays uncertain, `depth_known` is False.

    Parameters
    ----------
    lane : LaneFile

    Returns
    -------
    LaneFit
        Marks that disagree with the rest are named; where it is one mark beyond doubt it is left out of the camera.

    Raises
    ------
    CalibrationError
        If the marks are too few, in a line, given twice or outside the picture, or do not fit together at all.
    """
    check_marks(lane)
    problem = _problem(lane)
    best = _best(problem)
    kept, suspects, left_out = _sift(problem, best)
    final = _take(problem, kept)
    best = _solved(final, best)
    camera = _camera(lane, final, best)
    residuals = _mark_residuals(lane, camera, left_out, suspects | (set(range(len(lane.marks))) - set(kept)))
    rms_px = float(np.sqrt(np.mean([residuals[i].residual_px ** 2 for i in kept])))
    _refuse_misfit(final, best, residuals, kept)
    axis = pinhole.rotation(camera.parameters)[2]
    return LaneFit(
        lane=lane,
        camera=camera,
        residuals=residuals,
        rms_px=rms_px,
        depth_known=_distance_sd(camera) < _DEPTH_KNOWN_SD,
        view_angle_deg=float(np.degrees(np.arctan2(abs(axis[0]), abs(axis[2])))),
    )


def _problem(lane: LaneFile) -> _Problem:
    width_px, height_px = lane.image_size_px
    base = np.zeros(pinhole.SIZE)
    mean, sd = np.zeros(pinhole.SIZE), np.full(pinhole.SIZE, np.nan)
    free: tuple[int, ...] = (*range(pinhole.K1), pinhole.K1)
    centre_px = ((width_px - 1) / 2.0, (height_px - 1) / 2.0)
    if lane.lens is None:
        mean[pinhole.LOG_FOCAL] = np.log(max(lane.image_size_px)) + LOG_FOCAL_PRIOR[0]
        sd[pinhole.LOG_FOCAL], sd[pinhole.K1] = LOG_FOCAL_PRIOR[1], K1_PRIOR_SD
    else:
        lens = lane.lens
        mean[pinhole.LOG_FOCAL] = 0.5 * np.log(lens.fx_px * lens.fy_px)
        sd[pinhole.LOG_FOCAL] = LENS_FOCAL_SD
        base[pinhole.K1], base[pinhole.K2] = lens.k1, lens.k2
        free, centre_px = tuple(range(pinhole.K1)), (lens.cx_px, lens.cy_px)
    return _Problem(
        xyz_m=np.array([m.runway_m for m in lane.marks], dtype=np.float64),
        xy_px=np.array([m.pixel_px for m in lane.marks], dtype=np.float64),
        sd_px=lane.pixel_sd_px,
        centre_px=centre_px,
        base=base,
        free=free,
        prior_mean=mean,
        prior_sd=sd,
        distance_m=lane.camera_distance_m,
    )


def _take(problem: _Problem, kept: list[int]) -> _Problem:
    return replace(problem, xyz_m=problem.xyz_m[kept], xy_px=problem.xy_px[kept])


def _best(problem: _Problem) -> Floats:
    """Return the best free values over several starts; a robust loss first, so that one wild mark cannot steer."""
    fixed_focal = problem.prior_mean[pinhole.LOG_FOCAL] if pinhole.K1 not in problem.free else None
    found = [
        least_squares(
            problem.residuals, start[list(problem.free)], loss="soft_l1", f_scale=2.0, x_scale="jac", max_nfev=60
        )
        for start in starts(problem.xyz_m, problem.xy_px, problem.centre_px, problem.base, fixed_focal)
    ]
    return np.asarray(min(found, key=lambda fit: float(fit.cost)).x)


def _solved(problem: _Problem, start: Floats) -> Floats:
    return np.asarray(least_squares(problem.residuals, start, x_scale="jac", max_nfev=100).x)


def _misfit(problem: _Problem, values: Floats) -> float:
    return float((problem.residuals(values) ** 2).sum())


def _noise(misfit: float, spare: float) -> float:
    """Return the variance factor of the residuals: theirs, steadied by the stated pixel SD."""
    return (misfit + _NOISE_DEGREES) / (spare + _NOISE_DEGREES)


def _sift(problem: _Problem, robust: Floats) -> tuple[list[int], set[int], Floats]:
    """Return the marks to keep, suspects that cannot be told apart, and each mark's left-out error (cm)."""
    kept = list(range(len(problem.xyz_m)))
    left_out_cm = np.full(len(kept), np.nan)
    while len(kept) >= 5:
        now = _take(problem, kept)
        misfit = _misfit(now, _solved(now, robust))
        smaller = [now.without(i) for i in range(len(kept))]
        values = [_solved(p, robust) for p in smaller]
        gains = misfit - np.array([_misfit(p, v) for p, v in zip(smaller, values, strict=True)])
        for row, mark in enumerate(kept):
            left_out_cm[mark] = 100.0 * _miss_m(problem, values[row], mark)
        worst = int(np.argmax(gains))
        noise = _noise(misfit - gains[worst], now.spare - 2)
        chance = len(kept) * float(f_distribution.sf(gains[worst] / 2.0 / noise, 2, now.spare - 2 + _NOISE_DEGREES))
        if chance > _NAME_BELOW or left_out_cm[kept[worst]] < _NAME_ABOVE_CM:
            return kept, set(), left_out_cm
        alike = {kept[i] for i in np.flatnonzero(gains > gains[worst] - _TELLS_APART * noise)}
        if len(alike) > 1 or len(kept) - 1 < max(5, 0.7 * len(problem.xyz_m)):
            return kept, alike, left_out_cm
        kept.remove(kept[worst])
    return kept, set(), left_out_cm


def _miss_m(problem: _Problem, values: Floats, mark: int) -> float:
    """Return how far a mark's place lies from where its pixel says, in metres at the mark's own distance."""
    parameters = problem.full(values)
    off_px = pinhole.clamped_px(parameters, problem.centre_px, problem.xyz_m[mark]) - problem.xy_px[mark]
    return float(np.hypot(*off_px) * _metres_per_px(parameters, problem.xyz_m[mark]))


def _metres_per_px(parameters: Floats, xyz_m: Floats) -> float:
    return float(abs(pinhole.to_camera_m(parameters, xyz_m)[2]) / np.exp(parameters[pinhole.LOG_FOCAL]))


def _camera(lane: LaneFile, problem: _Problem, values: Floats) -> Camera:
    """Return the camera; priors keep their own weight, marks the noise that they show."""
    slopes = np.asarray(least_squares(problem.residuals, values, jac="3-point", x_scale="jac", max_nfev=1).jac, float)
    marks = 2 * len(problem.xyz_m)
    weight = np.ones(len(slopes))
    weight[:marks] = 1.0 / _noise(_misfit(problem, values), problem.spare)
    inner = np.linalg.pinv(slopes.T @ (weight[:, None] * slopes), rcond=1e-14, hermitian=True)
    covariance = np.zeros((pinhole.SIZE, pinhole.SIZE))
    covariance[np.ix_(problem.free, problem.free)] = inner
    return Camera(
        parameters=problem.full(values),
        covariance=covariance,
        image_size_px=lane.image_size_px,
        centre_px=problem.centre_px,
    )


def _mark_residuals(lane: LaneFile, camera: Camera, left_out_cm: Floats, named: set[int]) -> tuple[MarkResidual, ...]:
    rows = []
    for i, mark in enumerate(lane.marks):
        place_m = np.array(mark.runway_m)
        off_px = pinhole.clamped_px(camera.parameters, camera.centre_px, place_m) - np.array(mark.pixel_px)
        residual_px = float(np.hypot(*off_px))
        rows.append(
            MarkResidual(
                name=mark.name,
                residual_px=residual_px,
                residual_cm=100.0 * residual_px * _metres_per_px(camera.parameters, place_m),
                left_out_cm=float(left_out_cm[i]),
                disagrees=i in named,
            )
        )
    return tuple(rows)


def _refuse_misfit(problem: _Problem, values: Floats, residuals: tuple[MarkResidual, ...], kept: list[int]) -> None:
    rms_cm = float(np.sqrt(np.mean([residuals[i].residual_cm ** 2 for i in kept])))
    sds = float(np.sqrt(_noise(_misfit(problem, values), problem.spare)))
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
