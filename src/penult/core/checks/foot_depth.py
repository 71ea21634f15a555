"""How far from its usual line a foot was set down, where it is seen aslant: read from how far before the hips it lands.

Seen square, a foot's own depth moves nothing along the run. Seen along a line of sight with the tangent t to the square, a foot
that stands d deeper than assumed is read d t out of place. The hips do not share that: they are the same for both feet. A body
sets its feet down alike from step to step, left and right; what goes up and down between the two sides, and grows with the
tangent, is depth.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from penult.model.analysis import Analysis
from penult.model.arrays import Floats
from penult.model.measured import Measured, Measures

FOOT_DEPTH_SD_M = 0.025
"""How far a foot is set down from its own mean line, one SD: 2.3 and 2.5 cm for the right and the left foot of two whole run-ups
with known truth."""

WIDTH_SD_M = 0.03
"""How far the mean line of an athlete's feet lies from the assumed one, to either side alike, one SD: 1.5 and 3 cm in films of feet
near the line and set straight (`core.lane.aside`); runners of one speed differ by as much (common practice, no source)."""

BEND_SD_M = 0.015
"""By how much the way from hips to toe at touchdown bends from step to step, one SD. An athlete who goes from 0 to 0.4 m
exponentially, within three times four steps, bends it by 2 cm at first (closed form) and by millimetres later."""

STRIDE_SD_M = 0.02
"""How far one touchdown is from its neighbours', one SD, hips found in the picture included: 1 to 1.5 cm in whole run-ups with
known truth; real steps are taken to be less even (no source)."""

SIDES_SD_M = 0.01
"""How much farther before the hips one foot may land than the other, half of the difference, one SD (no source)."""

PLANTS_FROM = -1
"""From the penultimate on feet are set down otherwise than in the run: they tell nothing of it."""

FEWEST = 6
"""Fewer running touchdowns do not tell a bend from a width: three of either foot."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Footing:
    """One contact: its number, +1 for the right foot and -1 for the left, the tangent of its line of sight to the square (positive
    where the foot lies behind the camera along the run), and the measured way from hips to toe, NaN where it was not measured.
    """

    number: int
    side: int
    tangent: float
    ahead_m: float


def foot_depths(footings: Sequence[Footing]) -> tuple[Floats, Floats] | None:
    """Return how much deeper each foot stands than assumed (n,), and its SD (n,); None where too few steps tell it.

    Depth is counted to the athlete's right, as z is. Linear least squares with priors (Gelman et al. 2013, section 14.8) over
    the smooth way from hips to toe, what the sides differ in it, the width of the stance, and each foot's own depth.
    """
    runs = [i for i, f in enumerate(footings) if f.number < PLANTS_FROM and np.isfinite(f.ahead_m)]
    n, m = len(footings), len(runs)
    if m < FEWEST:
        return None
    size = m + 2 + n  # smooth way, sides, width, depth of each foot about its line
    side = np.array([f.side for f in footings], dtype=float)
    tangent = np.array([f.tangent for f in footings])
    normal, right = np.zeros((size, size)), np.zeros(size)

    def told(row: Floats, value: float, sd: float) -> None:
        normal[...] += np.outer(row, row) / sd**2
        right[...] += row * value / sd**2

    for k, i in enumerate(runs):  # measured = way + sides - tangent x depth
        row = np.zeros(size)
        row[k], row[m] = 1.0, side[i]
        row[m + 1], row[m + 2 + i] = -tangent[i] * side[i], -tangent[i]
        told(row, footings[i].ahead_m, STRIDE_SD_M)
    for k in range(m - 2):
        row = np.zeros(size)
        row[k : k + 3] = 1.0, -2.0, 1.0
        told(row, 0.0, BEND_SD_M)
    for at, sd in ((m, SIDES_SD_M), (m + 1, WIDTH_SD_M), *((m + 2 + i, FOOT_DEPTH_SD_M) for i in range(n))):
        row = np.zeros(size)
        row[at] = 1.0
        told(row, 0.0, sd)
    covariance = np.linalg.inv(normal)
    found = covariance @ right
    depths = np.zeros((n, size))
    depths[:, m + 1] = side
    depths[np.arange(n), m + 2 + np.arange(n)] = 1.0
    return depths @ found, np.sqrt(np.einsum("ij,jk,ik->i", depths, covariance, depths))


def with_depths(
    analysis: Analysis, tangents: Mapping[int, float], oblique: frozenset[int]
) -> tuple[Analysis, dict[int, float]]:
    """Return the analysis with the feet of oblique contacts where they stand, and every contact's SD of depth by number.

    Parameters
    ----------
    analysis : Analysis
    tangents : mapping
        By contact: as in `Footing`.
    oblique : frozenset of int
        Contacts that are seen aslant: the others stay as they are.
    """
    footings = [
        Footing(
            number=c.number,
            side=1 if c.foot == "right" else -1,
            tangent=tangents[c.number],
            ahead_m=_ahead_m(c.measures),
        )
        for c in sorted(analysis.contacts, key=lambda c: c.number)
        if c.number in tangents and c.foot_sure
    ]
    found = foot_depths(footings)
    if found is None:
        return analysis, {}
    sds = {f.number: float(sd) for f, sd in zip(footings, found[1], strict=True)}
    shift_m = {f.number: f.tangent * float(z) for f, z in zip(footings, found[0], strict=True) if f.number in oblique}
    return analysis.changed(lambda part, number, measures: _shifted(part, number, measures, shift_m)), sds


def _ahead_m(measures: Measures) -> float:
    ahead = measures.get("touchdown_distance_m")
    return ahead.value if isinstance(ahead, Measured) else math.nan


_ENDS: dict[tuple[str, str], tuple[tuple[int, float], ...]] = {
    ("contacts", "toe_x_m"): ((0, 1.0),),
    ("contacts", "touchdown_distance_m"): ((0, 1.0),),
    ("contacts", "touchdown_distance_mass_centre_m"): ((0, 1.0),),
    ("steps", "step_length_m"): ((0, 1.0), (-1, -1.0)),
    ("phases", "distance_m"): ((1, 1.0), (0, -1.0)),
    ("phases", "hop_from_board_m"): ((1, 1.0),),
    ("takeoff", "toe_to_board_m"): ((0, -1.0),),
}
"""Which feet's places a measure is made of: (number counted from its own, factor)."""


def _shifted(part: str, number: int | None, measures: Measures, shift_m: Mapping[int, float]) -> Measures:
    out = dict(measures)
    for (where, name), feet in _ENDS.items():
        m = measures.get(name)
        if where == part and isinstance(m, Measured):
            by = sum(factor * shift_m.get((number or 0) + offset, 0.0) for offset, factor in feet)
            out[name] = dataclasses.replace(m, value=m.value + by)
    return out
