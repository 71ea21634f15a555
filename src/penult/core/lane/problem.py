"""A lane's marks as a least-squares problem: residuals of marks, priors and the taped distance, and its solution. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import least_squares

from penult.core.lane import pinhole
from penult.core.lane.starts import starts
from penult.model.arrays import Floats
from penult.model.calibration import LaneFile

LOG_FOCAL_PRIOR = (0.0, 0.4)
"""Mean and SD of ln(focal length / longer side). Phones carry lenses of about 13 to 77 mm (35 mm film terms), video
crops them a little more: 0.45 to 2.2 times the longer side (16 to 80 mm) at two SD."""
K1_PRIOR_SD = 0.05
"""Phones straighten their pictures; what is left stays within about +-0.1 (two SD). Marks that reach into the corners
overrule it; marks that cannot bear a distortion leave k1 at 0, and this SD goes into every uncertainty."""
LENS_FOCAL_SD = 0.01
"""Focusing moves a phone's focal length by about 1 %, so a lens calibration fixes it to that."""
TAPE_SD_SHARE, TAPE_SD_LEAST_M = 0.01, 0.05
"""A distance paced out with a tape from the ground below the lens."""
_NOISE_DEGREES = 8.0
"""The stated pixel SD counts like this many residuals against those of the marks themselves."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
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
        """Return all nine camera parameters."""
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

    def only(self, rows: Sequence[int]) -> Problem:
        """Return the same with some of the marks."""
        return replace(self, xyz_m=self.xyz_m[list(rows)], xy_px=self.xy_px[list(rows)])

    @property
    def spare(self) -> int:
        """Degrees of freedom left."""
        priors = int(np.isfinite(self.prior_sd).sum()) + (self.distance_m is not None)
        return max(2 * len(self.xyz_m) + priors - len(self.free), 0)


def problem_of(lane: LaneFile) -> Problem:
    """Return a lane file's marks as a problem; without a lens, focal length and k1 are free against their priors."""
    width_px, height_px = lane.image_size_px
    base = np.zeros(pinhole.SIZE)
    mean, sd = np.zeros(pinhole.SIZE), np.full(pinhole.SIZE, np.nan)
    free: tuple[int, ...] = tuple(range(pinhole.K2))
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
    return Problem(
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


def best_of_starts(problem: Problem) -> Floats:
    """Return the best free values over several starts; a robust loss, so that one wild mark cannot steer."""
    fixed_focal = problem.prior_mean[pinhole.LOG_FOCAL] if pinhole.K1 not in problem.free else None
    found = [
        least_squares(
            problem.residuals, start[list(problem.free)], loss="soft_l1", f_scale=2.0, x_scale="jac", max_nfev=60
        )
        for start in starts(problem.xyz_m, problem.xy_px, problem.centre_px, problem.base, fixed_focal)
    ]
    return np.asarray(min(found, key=lambda fit: float(fit.cost)).x)


def solved(problem: Problem, start: Floats) -> Floats:
    """Return the plain least-squares free values from a start near them."""
    return np.asarray(least_squares(problem.residuals, start, x_scale="jac", max_nfev=100).x)


def misfit(problem: Problem, values: Floats) -> float:
    """Return the sum of squared residuals in units of their SD."""
    return float((problem.residuals(values) ** 2).sum())


def noise(squares: float, spare: float) -> float:
    """Return the variance factor of the residuals: theirs, steadied by the stated pixel SD."""
    return (squares + _NOISE_DEGREES) / (spare + _NOISE_DEGREES)


def noise_degrees(spare: float) -> float:
    """Return how many residuals stand behind `noise`."""
    return spare + _NOISE_DEGREES


def metres_per_px(parameters: Floats, xyz_m: Floats) -> float:
    """Return the metres that a pixel spans at a runway point (3,)."""
    return float(abs(pinhole.to_camera_m(parameters, xyz_m)[2]) / np.exp(parameters[pinhole.LOG_FOCAL]))


def slopes(problem: Problem, values: Floats) -> Floats:
    """Return the Jacobian of the residuals (central differences)."""
    columns = []
    for i in range(len(values)):
        nudge = np.zeros(len(values))
        nudge[i] = 1e-6
        columns.append((problem.residuals(values + nudge) - problem.residuals(values - nudge)) / 2e-6)
    return np.stack(columns, axis=1)
