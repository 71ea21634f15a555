"""How far focal length and distance can really go together before the marks object: a profile instead of a slope. Pure.

Marks that hold focal length and distance weakly (one row of cones, a board at the picture's edge) leave a bent valley of
cameras that fit nearly as well; the curvature at its lowest point tells too little of its length. The profile of the
misfit over the focal length (Venzon and Moolgavkar 1988, Applied Statistics 37:87-94, from memory) measures the length.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from penult.core.lane import pinhole
from penult.core.lane.problem import Problem, misfit, solved
from penult.model.arrays import Floats

LOOSE_ABOVE = 0.02
"""SD of ln(focal length) by curvature below which the valley is short and straight."""
FREE_ABOVE = 0.3
"""Above this the prior alone holds the focal length, and its curvature is the prior's own."""
_TWO_SDS = 4.0
_FARTHEST = 0.8
_HALVINGS = 4


def widened(problem: Problem, values: Floats, covariance: Floats) -> Floats:
    """Return the covariance (p, p) of the free values, widened along the focal length's valley where it is longer.

    Parameters
    ----------
    problem : Problem
        With the pixel SD that the marks show.
    values : (p,) float64
        Its solution.
    covariance : (p, p) float64
        From the curvature there.
    """
    if pinhole.LOG_FOCAL not in problem.free:
        return covariance
    row = problem.free.index(pinhole.LOG_FOCAL)
    sd = float(np.sqrt(covariance[row, row]))
    if not LOOSE_ABOVE < sd < FREE_ABOVE:
        return covariance
    way = covariance[:, row] / covariance[row, row]
    reach = max(_reach(problem, values, way, row, sign * sd) for sign in (1.0, -1.0))
    if reach <= sd:
        return covariance
    return covariance + (reach**2 - sd**2) * np.outer(way, way)


def _reach(problem: Problem, values: Floats, way: Floats, row: int, sd: float) -> float:
    """Return half the distance (in ln focal length) at which the best misfit has risen by as much as at two SD."""
    allowed = misfit(problem, values) + _TWO_SDS
    inner, outer, start = 0.0, 2.0 * sd, values
    while abs(outer) < _FARTHEST:
        cost, at = _held(problem, start + (outer - (start[row] - values[row])) * way, row)
        if cost > allowed:
            break
        inner, outer, start = outer, 1.5 * outer, at
    for _ in range(_HALVINGS):
        middle = 0.5 * (inner + outer)
        cost, at = _held(problem, start + (middle - (start[row] - values[row])) * way, row)
        inner, outer, start = (middle, outer, at) if cost <= allowed else (inner, middle, start)
    return 0.5 * abs(inner)


def _held(problem: Problem, start: Floats, row: int) -> tuple[float, Floats]:
    """Return the least misfit with the focal length held, and the values there."""
    free = tuple(p for i, p in enumerate(problem.free) if i != row)
    base = problem.full(start)
    held = replace(problem, base=base, free=free)
    others = solved(held, np.delete(start, row))
    return misfit(held, others), np.insert(others, row, start[row])
