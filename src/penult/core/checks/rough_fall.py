"""How fast the body falls between supports, from joints alone: enough to tell a clock from one twice as fast. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from penult.core.joints.body import mass_centre, segment_table
from penult.core.joints.supports import Support
from penult.core.numeric.fits import SAG_M_PER_S2
from penult.model.arrays import Floats, Ints
from penult.model.track import RunwayTrack

TRIMMED = 0.15
"""Share of each flight left out at either end: rough supports begin and end some hundredths of a second off."""

LEAST_ROWS = 5


def rough_fall(track: RunwayTrack, supports: Sequence[Support]) -> tuple[float, float]:
    """Return the fall of the mass centre in all flights together and its u95, m/s2 on the track's own clock; NaN without one.

    One parabola for all flights, each with its own start and speed (least squares); what running flights err by together
    (`SAG_M_PER_S2`, on a right clock) counts as a share of the fall.
    """
    centre_m = mass_centre(track.xy_m, segment_table(None))[:, 1]
    rows = [_flight(track.time_s, centre_m, a.end_s, b.start_s) for a, b in pairwise(supports)]
    if supports:
        rows.append(_last(track.time_s, centre_m, supports[-1]))
    flights = [(track.time_s[r], centre_m[r]) for r in rows if len(r) >= LEAST_ROWS]
    if not flights:
        return float("nan"), float("nan")
    total = sum(len(t) for t, _ in flights)
    design, heights = np.zeros((total, 2 * len(flights) + 1)), np.concatenate([y for _, y in flights])
    at = 0
    for i, (time_s, _) in enumerate(flights):
        t = time_s - time_s.mean()
        block = slice(at, at + len(t))
        design[block, 2 * i], design[block, 2 * i + 1], design[block, -1] = 1.0, t, -(t**2) / 2.0
        at += len(t)
    found, *_ = np.linalg.lstsq(design, heights, rcond=None)
    left = heights - design @ found
    spare = max(total - design.shape[1], 1)
    spread = np.linalg.pinv(design.T @ design)[-1, -1] * float(left @ left) / spare
    # neighbouring joints err alike: a third of the samples count
    u95 = 2.0 * float(np.hypot(np.sqrt(3.0 * spread), SAG_M_PER_S2 / 9.81 * abs(found[-1])))
    return float(found[-1]), u95


def _flight(time_s: Floats, height_m: Floats, start_s: float, end_s: float) -> Ints:
    room = TRIMMED * (end_s - start_s)
    return np.flatnonzero((time_s >= start_s + room) & (time_s <= end_s - room) & np.isfinite(height_m))


def _last(time_s: Floats, height_m: Floats, support: Support) -> Ints:
    """Rows after the last support, for as long again as four supports: a flight after take-off, if there is one."""
    long_s = support.end_s - support.start_s
    return _flight(time_s, height_m, support.end_s + 0.2 * long_s, support.end_s + 3.0 * long_s)
